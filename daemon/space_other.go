//go:build !linux

package daemon

// freeBytes is what this user may still write at a path; it is not known here.
func freeBytes(string) (uint64, bool) { return 0, false }
