package mail

import (
	"fmt"
	"time"

	"endshake/schedule"
)

// Check reports what is wrong with the sender that letters are to carry.
func (c Composer) Check() error {
	if _, err := schedule.ParseMail(c.From); err != nil {
		return fmt.Errorf("the sender cannot be used: %w", err)
	}
	return nil
}

// Unwritable is the notice of a letter that could not be composed. It is
// refused from the start, so that the mail room shows it with the reason.
func Unwritable(l schedule.Letter, id string, now time.Time, err error) schedule.Notice {
	return schedule.Notice{
		ID: id, Key: l.Key, Kind: l.Kind, Person: l.Person.Slug, Occurrence: l.Occurrence,
		Title: clean(string(l.Kind)) + " that could not be written", To: l.Person.Email,
		State: schedule.Refused, Created: now, NextTry: now, Reply: clip(clean(err.Error()), maxReply),
	}
}
