package schedule

// Wishes are how a person wants their mail. The zero value fits all.
type Wishes struct {
	Not  []NoticeKind `json:"not,omitempty"`  // kinds that are not wanted
	Day  int          `json:"day,omitempty"`  // of the month, 1 to 28, for monthly letters; 0: the first
	Hour int          `json:"hour,omitempty"` // of the day, 1 to 23, from which letters come; 0: 7
	// Quiet are hours of the person's own day in which no letter is sent, like
	// 22 to 6; equal: none.
	QuietFrom int `json:"quietFrom,omitempty"`
	QuietTo   int `json:"quietTo,omitempty"`
}
