//go:build failpoint

package failpoint

import (
	"os"
	"strconv"
	"strings"
	"sync"
	"syscall"
)

var points struct {
	sync.Mutex
	hits map[string]int
}

// Hit kills this process at the point and hit that ENDSHAKE_FAILPOINT
// names, like "inward-stored:3". Tests build with it; what ships is without.
func Hit(name string) {
	want, at, ok := strings.Cut(os.Getenv("ENDSHAKE_FAILPOINT"), ":")
	if !ok || want != name {
		return
	}
	points.Lock()
	defer points.Unlock()
	if points.hits == nil {
		points.hits = map[string]int{}
	}
	points.hits[name]++
	if n, err := strconv.Atoi(at); err == nil && n == points.hits[name] {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {} // nothing more is done
	}
}
