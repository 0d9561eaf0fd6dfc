package schedule

import "time"

// Picture is a photograph that belongs to an entry, as it is kept: made smaller,
// turned upright, and with nothing in it but what is seen.
type Picture struct {
	ID            string // UUIDv7
	Clock         string // Clock.Slug
	Entry         string // Entry.ID
	At            time.Time
	Words         string // what stands in its place for those who do not see it
	Width, Height int    // of JPEG, in pixels
	JPEG          []byte // 1600 pixels at the longer side at most
	Small         []byte // 320 at most
}
