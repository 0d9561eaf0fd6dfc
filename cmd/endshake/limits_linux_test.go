package main

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// under runs the program under a limit of the shell's, like "-f 20".
func under(t *testing.T, limit string, args ...string) *exec.Cmd {
	t.Helper()
	c := exec.Command("sh", append([]string{"-c", "ulimit " + limit + ` && exec "$@"`, "sh", os.Args[0]}, args...)...)
	c.Env = append(os.Environ(), "ENDSHAKE_TEST_AS_PROGRAM=1")
	return c
}

// D05: files may grow no further. What was acknowledged stays, what is refused is
// refused with a sentence and not by a signal, and it works again without the limit.
func TestFileSizeLimit(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	if status, _, stderr := program(t, "fleet", "load", "--database="+dir, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	log := func(note string) []string {
		return []string{"log", "noted", "moot-hall", "--database=" + dir, "--note=" + note}
	}
	if status, _, stderr := program(t, log("before")...); status != 0 {
		t.Fatal(stderr)
	}
	out, err := under(t, "-f 16", log("too much")...).CombinedOutput() // 8 or 16 kB
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != 1 || !strings.HasPrefix(string(out), "endshake: ") || strings.Contains(string(out), "goroutine ") {
		t.Errorf("%v: %s; want status 1 and a sentence", err, out)
	}
	t.Logf("it says %s", out)
	if status, _, stderr := program(t, log("after")...); status != 0 {
		t.Errorf("without the limit: %s", stderr)
	}
	s, err := db.OpenExisting(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.CheckPages(t.Context()); err != nil {
		t.Error(err)
	}
	var notes []string
	entries, err := s.Entries(t.Context(), "moot-hall")
	for _, e := range entries {
		if e.Kind == schedule.Noted {
			notes = append(notes, e.Note)
		}
	}
	if got := strings.Join(notes, ", "); err != nil || got != "before, after" {
		t.Errorf("the log holds %q, %v", got, err)
	}
}

// D07: a folder that cannot be written is said at the start, with a status that is not
// nothing.
func TestReadOnlyFolder(t *testing.T) {
	dir := dbtest.SmallDisk(t, 4<<20)
	if status, _, stderr := program(t, "fleet", "load", "--database="+dir, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	status, _, stderr := program(t, "serve", "--database="+dir, "--listen=127.0.0.1:0")
	if status != 1 || !strings.Contains(stderr, "cannot be written (read-only file system): give it to whoever runs this service") || strings.Count(stderr, "\n") != 1 {
		t.Errorf("status %d, %s", status, stderr)
	}
	status, stdout, stderr := program(t, "backup", "--database="+dir, "--backups="+dir)
	if status != 1 || !strings.Contains(stderr, "read-only file system") {
		t.Errorf("a backup: status %d, %s%s", status, stdout, stderr)
	}
	// Looking changes nothing, and so can be done.
	if _, stdout, _ := program(t, "check", "--database="+dir); !strings.Contains(stdout, "ok    database") {
		t.Errorf("a look: %s", stdout)
	}
}

// D08: more connections than there are descriptors. The service waits instead of
// turning in a circle, and answers again once there are some.
func TestDescriptorsRunOut(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	if status, _, stderr := program(t, "fleet", "load", "--database="+dir, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	l.Close()
	c := under(t, "-n 64", "serve", "--database="+dir, "--listen="+addr)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = c.Process.Kill(); _ = c.Wait() }()
	ready := func() bool {
		client := http.Client{Timeout: 2 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
		r, err := client.Get("http://" + addr + "/readyz")
		if err != nil {
			return false
		}
		r.Body.Close()
		return r.StatusCode == http.StatusOK
	}
	until := func(what string, done func() bool) {
		t.Helper()
		for range 600 {
			if done() {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
		t.Fatalf("%s: not in 30 s", what)
	}
	until("ready", ready)
	var held []net.Conn
	for range 120 {
		conn, err := net.DialTimeout("tcp", addr, time.Second)
		if err != nil {
			break
		}
		held = append(held, conn)
	}
	until("no descriptors left", func() bool {
		open, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", c.Process.Pid))
		return err == nil && len(open) >= 60
	})
	before := cpuTicks(t, c.Process.Pid)
	time.Sleep(2 * time.Second)
	// 100 ticks a second: one that turned in a circle would have used most of 200.
	if used := cpuTicks(t, c.Process.Pid) - before; used > 100 {
		t.Errorf("it used %d hundredths of a second of two while it had nothing to do", used)
	}
	for _, conn := range held {
		conn.Close()
	}
	until("ready again", ready)
}

// cpuTicks is the time that a process has used, in hundredths of a second (proc(5)).
func cpuTicks(t *testing.T, pid int) int {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	fields := strings.Fields(string(b[strings.LastIndex(string(b), ")"):]))
	user, err1 := strconv.Atoi(fields[12])
	system, err2 := strconv.Atoi(fields[13])
	if err1 != nil || err2 != nil {
		t.Fatalf("%v, %v", err1, err2)
	}
	return user + system
}
