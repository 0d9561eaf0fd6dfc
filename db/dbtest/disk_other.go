//go:build !linux

package dbtest

import "testing"

// SmallDisk gives a folder that is a disk of its own, see Need.
func SmallDisk(t testing.TB, bytes int) string {
	t.Helper()
	Need(t, "a small disk to fill can be mounted on Linux alone")
	return ""
}
