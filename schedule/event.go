package schedule

import (
	"crypto/sha256"
	"fmt"
)

// EventUID names a task in every calendar that shows it (RFC 5545 3.8.4.7): the
// same task on the same train, bearing or line of a clock has the same one, so
// that a later letter, or the feed, moves its event where the date has moved.
// It tells nothing of the clock (RFC 7986 5.3).
func EventUID(clock string, kind TaskKind, subject string) string {
	sum := sha256.Sum256([]byte(clock + "\x00" + string(kind) + "\x00" + subject))
	return fmt.Sprintf("%x@endshake", sum[:16])
}
