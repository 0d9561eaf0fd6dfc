//go:build failpoint

package failpoint

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

var points struct {
	sync.Mutex
	hits map[string]int
}

// errMade is what Fail gives where a test wants an error.
var errMade = errors.New("a failure that a test asked for")

// Hit does at the point and hit that ENDSHAKE_FAILPOINT names what stands there:
// "K12:3" kills this process at the third hit of K12, "K12:3:panic" panics and
// "K12:3:sleep=2s" waits; "K12:3+:panic" does so at the third and each that
// follows. Tests build with it; what ships is without.
func Hit(name string) { _ = Fail(name) }

// Fail is Hit at a point that can also be made to fail: "K13:1:err".
func Fail(name string) error {
	parts := strings.Split(os.Getenv("ENDSHAKE_FAILPOINT"), ":")
	if len(parts) < 2 || parts[0] != name || !struck(name, parts[1]) {
		return nil
	}
	what := "kill"
	if len(parts) > 2 {
		what = parts[2]
	}
	what, length, _ := strings.Cut(what, "=")
	switch what {
	case "kill":
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {} // nothing more is done
	case "panic":
		panic("a panic that a test asked for, at " + name)
	case "sleep":
		d, err := time.ParseDuration(length)
		if err != nil {
			panic(err)
		}
		fmt.Fprintln(os.Stderr, "asleep at", name)
		time.Sleep(d)
	case "err":
		return errMade
	default:
		panic("ENDSHAKE_FAILPOINT: " + what + " is nothing that a point can do")
	}
	return nil
}

// struck counts a hit, and reports whether it is one that is meant.
func struck(name, at string) bool {
	points.Lock()
	defer points.Unlock()
	if points.hits == nil {
		points.hits = map[string]int{}
	}
	points.hits[name]++
	first, every := strings.CutSuffix(at, "+")
	n, err := strconv.Atoi(first)
	return err == nil && (points.hits[name] == n || every && points.hits[name] > n)
}

// Now is the time as the program takes it: moved on by ENDSHAKE_CLOCK, like 45m,
// so that a test need not wait for a lease to run out.
func Now() time.Time {
	d, _ := time.ParseDuration(os.Getenv("ENDSHAKE_CLOCK"))
	return time.Now().Add(d)
}
