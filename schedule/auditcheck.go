package schedule

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// AuditCheck is what a look at every row of the audit found. Each row carries
// the SHA-256 over the one before and what it says itself.
type AuditCheck struct {
	At      time.Time
	Rows    int64  // looked at, from the first
	Emptied int64  // of them, because the person they spoke of was erased
	Broken  int64  // the first row that does not fit; 0: all do
	Why     string // what is wrong with it
	Head    string // SHA-256 of the last row that fits, in hex; not kept
}

// Sound reports whether every row fits those before it.
func (c AuditCheck) Sound() bool { return c.Broken == 0 }

// Sentence says what was found, and when.
func (c AuditCheck) Sentence(zone *time.Location) string {
	on := DateOf(c.At, zone).Words()
	if !c.Sound() {
		return fmt.Sprintf("Row %d does not fit those before it (%s), looked at %s: somebody changed the database beside this service; compare it with a backup.", c.Broken, c.Why, on)
	}
	out := "Every row fits those before it, looked at " + on
	if c.Emptied > 0 {
		out += "; of " + Count(int(c.Emptied), "row", "rows") + " the words are gone with the person they spoke of"
	}
	return out + "."
}

// Erasure is that somebody was erased. Their short name is never given again.
type Erasure struct {
	Person string    `json:"person"` // the short name that they had
	Number int       `json:"number"` // what they are called since: 1, 2, 3 ...
	At     time.Time `json:"at"`
}

// The parts of what stands in the place of the name of somebody who was erased.
const erasedBefore, erasedAfter = "person ", ", erased"

// Name is what stands in the place of their name: "person 12, erased".
func (e Erasure) Name() string { return erasedBefore + strconv.Itoa(e.Number) + erasedAfter }

// IsErased reports whether a name is that of somebody who was erased.
func IsErased(name string) bool {
	number := strings.TrimSuffix(strings.TrimPrefix(name, erasedBefore), erasedAfter)
	n, err := strconv.Atoi(number)
	return err == nil && n > 0 && Erasure{Number: n}.Name() == name
}
