package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"
)

// hello is the least that serves: the floor of BenchmarkIdle.
const hello = `package main

import (
	"fmt"
	"net"
	"net/http"
)

func main() {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		panic(err)
	}
	fmt.Printf("address=http://%s\n", l.Addr())
	panic(http.Serve(l, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "hello") })))
}
`

// BenchmarkIdle leaves the service alone, on a store with the small fleet of
// deploy, beside a bare server of net/http: the memory that each holds, and how
// often each woke in twenty seconds, with what it did then.
func BenchmarkIdle(b *testing.B) {
	dir := b.TempDir()
	build := func(name string, args ...string) string {
		out := filepath.Join(dir, name)
		cmd := exec.Command("go", append([]string{"build", "-o", out}, args...)...)
		if text, err := cmd.CombinedOutput(); err != nil {
			b.Fatalf("build %s: %v: %s", name, err, text)
		}
		return out
	}
	source := filepath.Join(dir, "hello.go")
	if err := os.WriteFile(source, []byte(hello), 0o600); err != nil {
		b.Fatal(err)
	}
	bare, ours := build("hello", source), build("endshake", ".")
	data := filepath.Join(dir, "data")
	if text, err := exec.Command(ours, "fleet", "load", "--database="+data, fleetFile).CombinedOutput(); err != nil {
		b.Fatalf("load: %v: %s", err, text)
	}
	floor := 0.0
	for _, x := range []struct {
		name string
		cmd  *exec.Cmd
	}{
		{"baseline a bare server", exec.Command(bare)},
		{"endshake serve", exec.Command(ours, "serve", "--database="+data, "--listen=127.0.0.1:0")},
	} {
		b.Run(x.name, func(b *testing.B) {
			wait := running(b, x.cmd)
			time.Sleep(5 * time.Second) // what it does at its start is done
			before := awake(b, x.cmd.Process.Pid)
			time.Sleep(20 * time.Second)
			after := awake(b, x.cmd.Process.Pid)
			if floor == 0 {
				floor = after.rss
			}
			b.ReportMetric(after.rss/1e3, "MB")
			b.ReportMetric(after.rss/floor, "of-bare")
			b.ReportMetric(after.switches-before.switches, "wakes")
			b.ReportMetric((after.ticks-before.ticks)*10, "cpu-ms")
			b.ReportMetric(0, "ns/op")
			wait()
		})
	}
}

var served = regexp.MustCompile(`^address=http://|msg=ready address=http://`)

// running starts a program and waits until it says where it serves.
func running(b *testing.B, cmd *exec.Cmd) (stop func()) {
	r, w, err := os.Pipe()
	if err != nil {
		b.Fatal(err)
	}
	cmd.Stdout, cmd.Stderr = w, w
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	lines := bufio.NewScanner(r)
	for lines.Scan() && !served.MatchString(lines.Text()) {
	}
	go func() {
		for lines.Scan() { // that it never waits for a reader
		}
	}()
	return func() { _ = cmd.Process.Kill(); _ = cmd.Wait(); _ = w.Close(); _ = r.Close() }
}

// usage is what /proc says of a process: memory in kB, voluntary switches of all its
// threads, and hundredths of a second of the processor.
type usage struct{ rss, switches, ticks float64 }

var (
	rssLine    = regexp.MustCompile(`VmRSS:\s+(\d+) kB`)
	switchLine = regexp.MustCompile(`(?m)^voluntary_ctxt_switches:\s+(\d+)`)
	statLine   = regexp.MustCompile(`^\d+ \(.*\) \S+(?: \S+){10} (\d+) (\d+)`)
)

func awake(b *testing.B, pid int) (u usage) {
	b.Helper()
	number := func(path string, re *regexp.Regexp) (sum float64) {
		text, err := os.ReadFile(path)
		m := re.FindSubmatch(text)
		if err != nil || m == nil {
			b.Fatalf("read %s: %v", path, err)
		}
		for _, x := range m[1:] {
			n, _ := strconv.ParseFloat(string(x), 64)
			sum += n
		}
		return sum
	}
	at := fmt.Sprintf("/proc/%d/", pid)
	u.rss, u.ticks = number(at+"status", rssLine), number(at+"stat", statLine)
	threads, err := filepath.Glob(at + "task/*/status")
	if err != nil || len(threads) == 0 {
		b.Fatal("no threads: ", err)
	}
	for _, t := range threads {
		u.switches += number(t, switchLine)
	}
	return u
}
