package db

import (
	"errors"
	"fmt"
	"os"
)

// errHeld is the error of a file that another process holds.
var errHeld = errors.New("held by another")

// HoldFile keeps other services off an embedded database until release is called
// or the process ends: two of them would each do the work, on one file. Commands
// go on beside it. On a server it does nothing: services share that.
func (s *Store) HoldFile() (release func() error, err error) {
	if s.file == "" {
		return func() error { return nil }, nil
	}
	f, err := os.OpenFile(s.file+".serving", os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("the file beside %s that says that it is served cannot be opened (%w): give its folder to whoever runs this service", s.file, reason(err))
	}
	if err := lockFile(f); err != nil {
		f.Close()
		if errors.Is(err, errHeld) {
			return nil, fmt.Errorf("another endshake serves %s already: stop that one, or move the data to PostgreSQL, which several can share", s.file)
		}
		return nil, fmt.Errorf("%s.serving cannot be locked (%w): put the data on a local disk", s.file, err)
	}
	return f.Close, nil
}
