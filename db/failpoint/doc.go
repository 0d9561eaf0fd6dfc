// Package failpoint names the points at which tests kill the program, make it
// fail, or have it wait. What becomes of each stands in cmd/endshake/kill_test.go.
package failpoint
