package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"time"

	"github.com/google/uuid"

	"endshake/daemon/mail"
	"endshake/schedule"
)

// LettersJob is the name under which it is kept when mail was first switched on,
// and counted how often letters were looked for.
const LettersJob = "letters"

const (
	// lettersAtOnce is how many notices one transaction owes: a kill while many
	// are written loses no more than these, and they are written again.
	lettersAtOnce = 50
	// unwrittenWait is how long a letter that could not be written waits until
	// it is tried again.
	unwrittenWait = 6 * time.Hour
	// mostStopped bounds how many stopped mailboxes are asked for.
	mostStopped = 10000
)

// outbox is the part of the store that keeps which letters are owed.
type outbox interface {
	Begin(ctx context.Context, job, owner string, now time.Time) (at time.Time, first bool, err error)
	KnownKeys(ctx context.Context, keys []string) (map[string]bool, error)
	Owe(ctx context.Context, now time.Time, notices []schedule.Notice) (added int, err error)
}

// mailFacts is the part of the store that tells who wants no mail, who gets
// none, and what did not arrive.
type mailFacts interface {
	Declined(ctx context.Context) ([]schedule.Decline, error)
	Mailboxes(ctx context.Context, limit int) ([]schedule.Mailbox, error)
	Trouble(ctx context.Context, since, now time.Time) (schedule.Trouble, error)
}

// composer writes a letter as a message: mail.Composer.
type composer interface {
	Compose(l schedule.Letter, id string, now time.Time) (schedule.Notice, error)
}

// letterWriter owes the letters of each minute. Two of them on one database do
// no harm: a key is owed once.
type letterWriter struct {
	outbox  outbox
	facts   mailFacts
	desk    *Desk
	compose composer
	owner   string
	log     *slog.Logger
	// atOnce has the letters of the very first start owed whatever the hour.
	atOnce bool

	begun time.Time // when mail was first switched on; zero: not asked yet
	first bool      // and that was now, and nothing is owed yet
	// trouble is what did not arrive as it was told last, and when.
	trouble   schedule.Trouble
	troubleAt time.Time
	// settled are keys of letters of late that need no asking for until then, as
	// long as its people are those.
	settled map[string]time.Time
	people  []schedule.Person
}

// write owes the letters that are owed now and were not before.
func (w *letterWriter) write(ctx context.Context, now time.Time) error {
	room, err := w.room(ctx, now)
	if err != nil {
		return err
	}
	if now.Sub(w.desk.Snapshot().Now) >= reassessEvery { // nobody else does
		w.desk.Reassess(ctx)
	}
	fresh, err := w.fresh(ctx, schedule.Letters(w.desk.Snapshot(), room, now), now)
	if err != nil || len(fresh) == 0 {
		w.first = w.first && err != nil
		return err
	}
	// The letters must speak of now, also after a night in which nothing ran.
	if _, err := w.desk.Follow(ctx); err != nil {
		return err
	}
	w.desk.Reassess(ctx)
	if fresh, err = w.fresh(ctx, schedule.Letters(w.desk.Snapshot(), room, now), now); err != nil {
		return err
	}
	for part := range slices.Chunk(fresh, lettersAtOnce) {
		if err := w.owe(ctx, part, now); err != nil {
			return err
		}
	}
	w.first = false
	return nil
}

// room is what letters hang on beside the fleet and its log.
func (w *letterWriter) room(ctx context.Context, now time.Time) (room schedule.MailRoom, err error) {
	if w.begun.IsZero() || w.begun.After(now) { // the clock was wrong then
		if w.begun, w.first, err = w.outbox.Begin(ctx, LettersJob, w.owner, now); err != nil {
			return room, err
		}
	}
	room.Since, room.AtOnce = w.begun, w.first && w.atOnce
	if room.Declined, err = w.facts.Declined(ctx); err != nil {
		return room, err
	}
	boxes, err := w.facts.Mailboxes(ctx, mostStopped)
	if err != nil {
		return room, err
	}
	for _, b := range boxes {
		room.Stopped = append(room.Stopped, b.Address)
	}
	if room.Trouble = w.trouble; now.Sub(w.troubleAt).Abs() < reassessEvery { // a weekly letter needs no news of the minute
		return room, nil
	}
	monday := now.UTC().Truncate(24*time.Hour).AddDate(0, 0, -(int(now.UTC().Weekday())+6)%7)
	if room.Trouble, err = w.facts.Trouble(ctx, monday.AddDate(0, 0, -7), now); err == nil {
		w.trouble, w.troubleAt = room.Trouble, now
	}
	return room, err
}

// fresh are the letters that are not owed already, nor made needless by one
// that is. Keys of letters that are owed no more are forgotten.
func (w *letterWriter) fresh(ctx context.Context, letters []schedule.Letter, now time.Time) ([]schedule.Letter, error) {
	if now := w.desk.Snapshot().Fleet.People; !reflect.DeepEqual(now, w.people) { // an address may have been mended
		w.settled, w.people = nil, now
	}
	still := map[string]time.Time{}
	var ask []string
	for _, l := range letters {
		for _, k := range append([]string{l.Key}, l.Unless...) {
			if until, ok := w.settled[k]; ok && now.Before(until) {
				still[k] = until
			} else if k == l.Key || !w.isSettled(l.Key, now) {
				ask = append(ask, k)
			}
		}
	}
	if w.settled = still; len(ask) == 0 {
		return nil, nil
	}
	known, err := w.outbox.KnownKeys(ctx, ask)
	if err != nil {
		return nil, err
	}
	for k := range known {
		w.settled[k] = forever
	}
	var out []schedule.Letter
	covered := map[string]bool{} // by those that are to be owed
	for _, l := range letters {
		needless := slices.ContainsFunc(l.Unless, func(k string) bool { return known[k] || w.isSettled(k, now) })
		if needless { // for as long as it may be asked for
			w.settled[l.Key] = forever
		}
		if !w.isSettled(l.Key, now) && !covered[l.Key] {
			out = append(out, l)
			for _, k := range l.Covers {
				covered[k] = true
			}
		}
	}
	return out, nil
}

// forever is later than any letter.
var forever = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

func (w *letterWriter) isSettled(key string, now time.Time) bool {
	return now.Before(w.settled[key])
}

// owe writes letters and owes them together. One that the store refuses holds
// up no other.
func (w *letterWriter) owe(ctx context.Context, letters []schedule.Letter, now time.Time) error {
	var notices []schedule.Notice
	for _, l := range letters {
		n, err := w.notice(l, now)
		if err != nil {
			return err
		}
		notices = append(notices, n)
	}
	added, err := w.outbox.Owe(ctx, now, notices)
	if schedule.CodeOf(err) != "" && len(letters) > 1 {
		for _, l := range letters {
			if err := w.owe(ctx, []schedule.Letter{l}, now); err != nil {
				return err
			}
		}
		return nil
	}
	if schedule.CodeOf(err) != "" {
		w.log.Error("letter refused by the store", "person", letters[0].Person.Slug, "kind", letters[0].Kind, "error", err)
		w.settled[letters[0].Key] = now.Add(unwrittenWait)
		return nil
	}
	if err != nil {
		return err
	}
	for _, n := range notices {
		w.settled[n.Key] = forever
		if len(n.Raw) == 0 {
			w.settled[n.Key] = now.Add(unwrittenWait)
		}
	}
	w.log.Info("letters owed", "letters", len(letters), "new", added)
	return nil
}

// notice writes one letter. One that cannot be written must not hold up the
// others, and the mail room must show it.
func (w *letterWriter) notice(l schedule.Letter, now time.Time) (schedule.Notice, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("compose for %s: %w", l.Person.Slug, err)
	}
	l.Passes = l.Offers(id.String(), now)
	for i := range l.Passes {
		l.Passes[i].Token = NewToken()
	}
	n, err := w.compose.Compose(l, id.String(), now)
	if err != nil {
		w.log.Error("letter not composed", "person", l.Person.Slug, "kind", l.Kind, "error", err)
		return mail.Unwritable(l, id.String(), now, err), nil
	}
	n.Passes = l.Passes
	return n, nil
}
