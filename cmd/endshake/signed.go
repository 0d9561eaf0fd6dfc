package main

import (
	"errors"
	"slices"
	"strconv"

	"endshake/schedule"
)

// signedFlags are the flags of log whose figure may be below nothing.
var signedFlags = []string{"--error", "--left", "--nut", "--grams", "--celsius", "--corrector"}

// joinSigned puts a figure below nothing to its flag, "--error", "-75" to
// "--error=-75", which would otherwise be taken for flags of one letter.
func joinSigned(args []string) []string {
	var out []string
	for i := 0; i < len(args); i++ {
		if args[i] == "--" {
			return append(out, args[i:]...)
		}
		if i+1 < len(args) && slices.Contains(signedFlags, args[i]) && len(args[i+1]) > 1 && args[i+1][0] == '-' {
			_, err := strconv.ParseFloat(args[i+1], 64)
			if args[i] == "--error" || args[i] == "--left" {
				_, _, err = schedule.ParseDialError(args[i+1])
				err = twoWays(err) // of which the refusal says what to write
			}
			if err == nil {
				out = append(out, args[i]+"="+args[i+1])
				i++
				continue
			}
		}
		out = append(out, args[i])
	}
	return out
}

// twoWays is no error for an error of the hands that can be read in two ways.
func twoWays(err error) error {
	var e *schedule.Error
	if errors.As(err, &e) && e.Code == schedule.Doubtful {
		return nil
	}
	return err
}
