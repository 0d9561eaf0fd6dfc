// Package export writes and reads the export file: a fleet with its logs and
// pictures as JSON Lines, each line an object of one member, whose name is the kind
// of the line. The first is the head, the last the foot with the counts and the
// SHA-256 of all that stands before it, so that a file that was cut is told.
// deploy/EXPORTFILE.md describes every line, deploy/export.schema.json too.
package export

import (
	"encoding/json"
	"time"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// Format is the number of the format; it goes up where an older reader would read
// a file wrongly.
const Format = 1

// Kinds are the kinds of line, in the order in which they stand in a file; entries
// and pictures come clock by clock.
var Kinds = []string{"head", "site", "person", "clock", "declined", "erased", "lesson", "round", "entry", "picture", "foot"}

// Line is one line: just one of its members is given.
type Line struct {
	Head     *Head           `json:"head,omitempty"`
	Site     json.RawMessage `json:"site,omitempty"`   // as in a fleet file
	Person   json.RawMessage `json:"person,omitempty"` // as in a fleet file
	Clock    json.RawMessage `json:"clock,omitempty"`  // as in a fleet file
	Declined *Declined       `json:"declined,omitempty"`
	Erased   *Erased         `json:"erased,omitempty"`
	Lesson   *Lesson         `json:"lesson,omitempty"`
	Round    *Round          `json:"round,omitempty"`
	Entry    *Entry          `json:"entry,omitempty"`
	Picture  *Picture        `json:"picture,omitempty"`
	Foot     *Foot           `json:"foot,omitempty"`
}

// Head is the first line.
type Head struct {
	Format  int            `json:"format"`
	Program string         `json:"program"`
	At      time.Time      `json:"at"`
	Whole   bool           `json:"whole"` // all that there is, and not a part for one reader
	Counts  map[string]int `json:"counts"`
}

// Declined is a kind of letter that a person will have no more.
type Declined struct {
	Person string              `json:"person"`
	Letter schedule.NoticeKind `json:"letter"`
	At     time.Time           `json:"at"`
}

// Erased is the number of somebody who was erased.
type Erased struct {
	Number int       `json:"number"`
	At     time.Time `json:"at"`
}

// Lesson is what the fleet taught, as this program keeps it: its figures are for
// it alone.
type Lesson struct {
	Version int              `json:"version"`
	Taught  schedule.Learned `json:"taught"`
}

// Round is what was decided by hand of a round: a visit that is set, or ruled out.
type Round struct {
	Kind   schedule.MarkKind `json:"kind"`
	Site   string            `json:"site,omitempty"`   // empty: every site
	Person string            `json:"person,omitempty"` // empty: everybody
	Day    schedule.Date     `json:"day"`
	// Tasks are what a visit that was kept or moved is to do; none: whatever may be done.
	Tasks []schedule.TaskRef `json:"tasks,omitempty"`
	Why   string             `json:"why,omitempty"`
	By    string             `json:"by,omitempty"`
	At    time.Time          `json:"at"`
}

// Entry is a line of a clock's log as programs read it, with its key.
type Entry struct {
	api.Entry
	Key string `json:"key,omitempty"`
}

// Picture is a picture of an entry. The two are JPEG in base64.
type Picture struct {
	ID     string    `json:"id"`
	Entry  string    `json:"entry"`
	Clock  string    `json:"clock"`
	At     time.Time `json:"at"`
	Words  string    `json:"words"`
	Width  int       `json:"widthPixels"`
	Height int       `json:"heightPixels"`
	JPEG   []byte    `json:"jpeg"`
	Small  []byte    `json:"small"`
}

// Foot is the last line.
type Foot struct {
	Counts map[string]int `json:"counts"`
	SHA256 string         `json:"sha256"` // of every byte between the head and this line
}
