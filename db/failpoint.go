//go:build failpoint

package db

import (
	"os"
	"strconv"
	"strings"
	"sync"
	"syscall"
)

var failpoints struct {
	sync.Mutex
	hits map[string]int
}

// failpoint kills this process at the point and hit that ENDSHAKE_FAILPOINT
// names, like "inward-stored:3". Tests build with it; what ships is without.
func failpoint(name string) {
	want, at, ok := strings.Cut(os.Getenv("ENDSHAKE_FAILPOINT"), ":")
	if !ok || want != name {
		return
	}
	failpoints.Lock()
	defer failpoints.Unlock()
	if failpoints.hits == nil {
		failpoints.hits = map[string]int{}
	}
	failpoints.hits[name]++
	if n, err := strconv.Atoi(at); err == nil && n == failpoints.hits[name] {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {} // nothing more is done
	}
}
