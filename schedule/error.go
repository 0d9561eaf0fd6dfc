package schedule

import (
	"errors"
	"fmt"
)

// Code sorts the errors that a person can mend.
type Code string

// The codes.
const (
	Invalid   Code = "invalid"   // mend the input
	NotFound  Code = "not found" // there is no such thing
	Conflict  Code = "conflict"  // it does not fit what is logged already
	Forbidden Code = "forbidden" // it is there, and not for whoever asks
	Doubtful  Code = "doubtful"  // asked back: send it again with Detail.Sure if it is right as written
)

// Error is an error that a person can mend: one sentence that says what, where
// and how. Any other error is internal: logged, never shown.
type Error struct {
	Code    Code
	Field   string // the form field or JSON path at fault; may be empty
	Message string
}

// Error returns the sentence.
func (e *Error) Error() string { return e.Message }

// CodeOf returns the code of an error a person can mend, and "" for others.
func CodeOf(err error) Code {
	var e *Error
	if errors.As(err, &e) {
		return e.Code
	}
	return ""
}

func invalid(field, format string, args ...any) error {
	return &Error{Invalid, field, fmt.Sprintf(format, args...)}
}

func notFound(field, format string, args ...any) error {
	return &Error{NotFound, field, fmt.Sprintf(format, args...)}
}

func conflict(field, format string, args ...any) error {
	return &Error{Conflict, field, fmt.Sprintf(format, args...)}
}

func forbidden(format string, args ...any) error {
	return &Error{Forbidden, "", fmt.Sprintf(format, args...)}
}

func askBack(field, format string, args ...any) error {
	return &Error{Doubtful, field, fmt.Sprintf(format, args...)}
}
