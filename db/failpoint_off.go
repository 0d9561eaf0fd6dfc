//go:build !failpoint

package db

// failpoint does nothing in what ships.
func failpoint(string) {}
