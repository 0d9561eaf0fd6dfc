//go:build !linux

package dbtest

import (
	"fmt"
	"os/exec"
)

func serverUser(string) (func(*exec.Cmd) *exec.Cmd, error) {
	return nil, fmt.Errorf("%w (a private one is started on Linux only)", errNoPostgres)
}

func startBound(*exec.Cmd) (<-chan struct{}, error) { return nil, errNoPostgres }
