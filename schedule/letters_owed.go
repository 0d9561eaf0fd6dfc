package schedule

import "time"

// Letters works out the letters that are owed at an instant: what each person
// is to be told now, within their hours, and was not to be told before the mail
// room opened. What was owed already is among them, for as long as its matter
// stands: its key tells.
func Letters(s *Snapshot, m MailRoom, now time.Time) []Letter {
	return nil
}
