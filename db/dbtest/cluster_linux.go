package dbtest

import (
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"runtime"
	"strconv"
	"syscall"
)

// serverUser gives what makes a command run as somebody that the server agrees
// to be: it refuses root, so there it is the user postgres, who is given dir.
func serverUser(dir string) (func(*exec.Cmd) *exec.Cmd, error) {
	attr := syscall.SysProcAttr{Pdeathsig: syscall.SIGINT}
	if os.Geteuid() == 0 {
		u, err := user.Lookup("postgres")
		if err != nil {
			return nil, fmt.Errorf("as root the server needs the user postgres: %w", err)
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		if err := os.Chown(dir, uid, gid); err != nil {
			return nil, err
		}
		attr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
	return func(c *exec.Cmd) *exec.Cmd {
		c.Dir = dir
		c.Env = []string{"PATH=" + os.Getenv("PATH"), "LC_ALL=C.UTF-8"}
		c.SysProcAttr = &attr
		return c
	}, nil
}

// startBound starts a server that ends with this process, even when that is
// killed; exited is closed when it has ended. The death signal is bound to the
// thread that started it, so that thread is kept.
func startBound(c *exec.Cmd) (exited <-chan struct{}, err error) {
	started, ended := make(chan error), make(chan struct{})
	go func() {
		runtime.LockOSThread()
		err := c.Start()
		started <- err
		if err == nil {
			c.Wait()
		}
		close(ended)
	}()
	return ended, <-started
}
