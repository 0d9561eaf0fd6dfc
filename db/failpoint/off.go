//go:build !failpoint

package failpoint

import "time"

// Hit does nothing in what ships.
func Hit(string) {}

// Fail never fails in what ships.
func Fail(string) error { return nil }

// Now is the time.
func Now() time.Time { return time.Now() }
