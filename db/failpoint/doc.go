// Package failpoint names the points at which tests kill the program.
package failpoint
