package main

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
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
	said, err := os.Create(filepath.Join(t.TempDir(), "said"))
	if err != nil {
		t.Fatal(err)
	}
	defer said.Close()
	c.Stdout, c.Stderr = said, said
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
	// It rests twice as long after each connection that it cannot take, up to a second:
	// one that turned in a circle would never say so, or begin anew each time.
	rest := regexp.MustCompile(`Accept error: .*too many open files.*retrying in (\w+)`)
	tries := func() (all []string) {
		text, err := os.ReadFile(said.Name())
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range rest.FindAllStringSubmatch(string(text), -1) {
			all = append(all, m[1])
		}
		return all
	}
	until("resting for a second", func() bool { return slices.Contains(tries(), "1s") })
	all := tries()
	n := slices.Index(all, "1s")
	begun := len(slices.DeleteFunc(slices.Clone(all[:n]), func(rest string) bool { return rest != "5ms" }))
	if n > 8*begun || begun > len(held)+1 { // anew once it took one
		t.Errorf("it tried %d times before it rested for a second, beginning %d times: %q", n, begun, all)
	}
	for _, conn := range held {
		conn.Close()
	}
	until("ready again", ready)
}
