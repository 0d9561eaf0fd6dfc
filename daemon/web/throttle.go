package web

import (
	"sync"
	"time"
)

const (
	// failFor is how long a wrong password counts against a name and against an
	// address; a name gives failFree of them, to each address and to all, and an
	// address failMost.
	failFor  = 15 * time.Minute
	failFree = 5
	failMost = 30
	// longestWait is the most that a name makes anybody wait: it is never locked,
	// or whoever knows it could lock its holder out (judgement, no source).
	longestWait = time.Minute
	// mostWrong is how many keys are remembered.
	mostWrong = 4096
)

// failures remembers the wrong tries of late, by what they were of.
type failures struct {
	mu sync.Mutex
	of map[string][]time.Time
	// wait says how long to wait, from the tries of late, oldest first.
	wait func(late []time.Time, now time.Time) time.Duration
}

// growing doubles the wait with each wrong try beyond those that are free.
func growing(late []time.Time, now time.Time) time.Duration {
	n := len(late) - failFree
	if n < 0 {
		return 0
	}
	wait := min(longestWait, time.Second<<min(n, 10))
	return late[len(late)-1].Add(wait).Sub(now)
}

// most is a number that are free, and then none until the first is forgotten.
func most(n int, of time.Duration) func([]time.Time, time.Time) time.Duration {
	return func(late []time.Time, now time.Time) time.Duration {
		if len(late) < n {
			return 0
		}
		return late[len(late)-n].Add(of).Sub(now)
	}
}

// take counts a try as wrong until right is told otherwise; where it must wait
// instead, it is not counted. A clock that is set back lets nobody wait longer.
func (f *failures) take(key string, within time.Duration, now time.Time) (wait time.Duration) {
	f.mu.Lock()
	defer f.mu.Unlock()
	late := f.late(key, within, now)
	if wait = f.wait(late, now); wait > 0 {
		return wait
	}
	if f.of == nil || len(f.of) >= mostWrong && f.of[key] == nil {
		f.forget(within, now)
	}
	f.of[key] = append(late, now)
	return 0
}

// late are the tries of a key that count.
func (f *failures) late(key string, within time.Duration, now time.Time) (late []time.Time) {
	for _, t := range f.of[key] {
		if now.Sub(t).Abs() < within {
			late = append(late, t)
		}
	}
	return late
}

// number is how many tries of a key count.
func (f *failures) number(key string, within time.Duration, now time.Time) int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.late(key, within, now))
}

// forget drops what counts no more; where that makes no room, all of it.
func (f *failures) forget(within time.Duration, now time.Time) {
	kept := map[string][]time.Time{}
	for k, list := range f.of {
		if now.Sub(list[len(list)-1]).Abs() < within {
			kept[k] = list
		}
	}
	if len(kept) >= mostWrong {
		kept = map[string][]time.Time{}
	}
	f.of = kept
}

// right takes back that a try was wrong: all: the earlier ones of its key too.
func (f *failures) right(key string, all bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	list := f.of[key]
	if all || len(list) <= 1 {
		delete(f.of, key)
		return
	}
	f.of[key] = list[:len(list)-1]
}
