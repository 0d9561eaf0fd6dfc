package schedule

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"endshake/wear"
)

// Said is what an answer says of a task.
type Said string

// What may be said. Which of them fit a task, [Pass.Choices] tells.
const (
	SaidDone    Said = "done"     // as asked: wound, oiled, cleared the season's work
	SaidWell    Said = "all well" // looked over, and nothing found
	SaidRead    Said = "reading"  // measured, with the reading
	SaidStopped Said = "stopped"  // found stopped, or stopped it
	SaidNot     Said = "not done" // with the reason
)

// Answer is what somebody says of one task, by a page or a reply.
type Answer struct {
	Said Said
	// Because is the reason of what was not done, or what they wrote beside it.
	Because string
	Reading *wear.Reading // SaidRead
	Error   *float64      // SaidDone, SaidWell: how far the hands were found wrong, s, + fast; nil: not told
	Cause   StopCause     // SaidStopped; empty: not known
	// Whole: SaidStopped, in words by which the whole clock stands, and not
	// perhaps one train of it.
	Whole bool
	At    time.Time // when; zero: now
	// Tasks are the kinds of task that its words can be about; none: any.
	Tasks []TaskKind
}

// mostNots is how often one pass may say that its task is not done: enough for
// a storm that lasts a week, and no way to fill a log (judgement, no source).
const mostNots = 7

// choices are what may be said of each kind of task, the likeliest first. Of the
// kinds that are left out an answer would be no more than half of what the log
// must hold.
var choices = map[TaskKind][]Said{
	Winding:    {SaidDone, SaidStopped, SaidNot},
	Oiling:     {SaidDone, SaidNot},
	Inspection: {SaidWell, SaidStopped, SaidNot},
	Measuring:  {SaidRead, SaidNot},
	NearLimit:  {SaidRead, SaidNot},
	TimeChange: {SaidDone, SaidNot},
	Seasonal:   {SaidDone, SaidNot},
}

// Choices are what may be said of the task of a pass, the likeliest first;
// none where only a form of the pages can hold what there is to say.
func (p Pass) Choices(a Assessment) []Said {
	if p.Deed != Answering || p.Clock != a.Clock.Slug {
		return nil
	}
	_, _, _, bearing := a.Clock.Bearing(p.Subject)
	_, train := a.Clock.Train(p.Subject)
	_, season := a.Clock.season(p.Subject)
	fits := map[TaskKind]bool{
		Winding:    train || p.Subject == "",
		Oiling:     train || bearing || p.Subject == "",
		Inspection: train || bearing || p.Subject == "",
		Measuring:  bearing, // a visit to several bearings brings several readings
		NearLimit:  bearing,
		TimeChange: true,
		Seasonal:   season || p.Subject == "",
	}
	if !fits[p.Task] {
		return nil
	}
	return slices.Clone(choices[p.Task])
}

// Open says in one sentence why a pass for an answer can be used no more: it
// ended, its task was done by somebody since, or its holder has no duty for the
// clock now. Nil: it can.
func (p Pass) Open(a Assessment, f Fleet, now time.Time) error {
	ends := p.Ends
	if ends.IsZero() {
		ends = p.Made.Add(passLife)
	}
	used, wasUsed := p.Used(a.Entries)
	switch {
	case p.Deed != Answering || p.Clock != a.Clock.Slug:
		return conflict("pass", "this is no link for an answer about %s", a.Clock.Name)
	case wasUsed:
		return conflict("pass", "this was answered already: logged as %s on %s", used.Kind, a.dayOf(used.At).Words())
	case !p.Ended.IsZero():
		return conflict("pass", "this link was taken back on %s", a.dayOf(p.Ended).Words())
	case !now.Before(ends):
		return conflict("pass", "this link ended on %s: answer by a newer letter", a.dayOf(ends).Words())
	case !a.Clock.Has(p.Person):
		return conflict("pass", "whoever this link was given to has no duty for %s now: ask the conservator", a.Clock.Name)
	}
	return p.Done(a, f)
}

// Done says in one sentence who has done the task of a pass since it was made,
// and when. Nil: nobody has.
func (p Pass) Done(a Assessment, f Fleet) error {
	e, ok := p.doneSince(a)
	if !ok {
		return nil
	}
	by := ""
	if who, ok := f.Person(e.By); ok && who.Name != "" {
		by = " by " + who.Name
	}
	return conflict("pass", "this is done: it was logged as %s%s at %s on %s", e.Kind, by, e.At.In(a.Zone).Format("15:04"), a.dayOf(e.At).Words())
}

// Used finds what a pass has logged, in a log with or without its corrections.
// Saying that something was not done does not use a pass up.
func (p Pass) Used(log []Entry) (Entry, bool) {
	key := p.key()
	if e := newest(log, func(e *Entry) bool { return p.Token != "" && e.Key == key }); e != nil {
		return *e, true
	}
	return Entry{}, false
}

// key is what makes a second use of a pass for the same find the first.
func (p Pass) key() string {
	return fmt.Sprintf("pass %.16x", sha256.Sum256([]byte("entry\x00"+p.Token)))
}

// notKey is the key of what was not done, whose every reason is logged once a
// day.
func (p Pass) notKey(because string, on Date) string {
	return p.key() + fmt.Sprintf(" not %.8x", sha256.Sum256([]byte(on.String()+"\x00"+because)))
}

// SaidAlready finds in a log what an entry of a pass says once more: that
// something was not done, on the same day and for the same reason.
func SaidAlready(log []Entry, e Entry) (Entry, bool) {
	i := slices.IndexFunc(log, func(old Entry) bool {
		return e.Kind == Noted && e.Key != "" && old.Key == e.Key && old.Kind == e.Kind && old.Note == e.Note && old.By == e.By
	})
	if i < 0 {
		return Entry{}, false
	}
	return log[i], true
}

// Entry is what an answer comes to in the log, with a Key that has a second use
// of the same pass for the same find the first. Its Source is "link"; of a reply
// it is to be "reply". A *Error where it cannot be.
func (p Pass) Entry(ans Answer, a Assessment, now time.Time) (Entry, error) {
	if p.Token == "" || !slices.Contains(p.Choices(a), ans.Said) {
		return Entry{}, invalid("said", "%q is no answer to this: tell the conservator of %s", ans.Said, a.Clock.Name)
	}
	because := strings.TrimSpace(ans.Because)
	e := Entry{Clock: p.Clock, At: ans.At, By: p.Person, Note: because, Source: "link", Key: p.key()}
	if e.At.IsZero() {
		e.At = now
	}
	e.At = e.At.UTC().Truncate(time.Microsecond)
	if e.At.Before(p.Made.Add(-passLife)) {
		return Entry{}, invalid("at", "%s is long before the letter that asked for it: mend the date", a.dayOf(e.At).Words())
	}
	var err error
	switch ans.Said {
	case SaidNot:
		err = p.notDone(&e, because, a)
	case SaidStopped:
		p.stopped(&e, ans.Cause, a)
	case SaidRead:
		err = p.read(&e, ans.Reading, a)
	default:
		err = p.did(&e, a)
	}
	if ans.Error != nil && err == nil {
		if e.Kind != Wound && e.Kind != Inspected { // of a setting it may be what was found or what was left
			return Entry{}, heldFor("errorFound", "it tells an error, which a reply can only do of a wind or a look")
		}
		e.ErrorFound = ans.Error
	}
	return e, err
}

// Doubt says in one sentence why the words of a reply do not fit a pass for all
// trains of a clock: they may be of one of them alone. Nil: they fit.
func (p Pass) Doubt(ans Answer, a Assessment) error {
	trains := a.Clock.handWound()
	if p.Task != Winding || p.Subject != "" || len(trains) < 2 {
		return nil
	}
	named := wordSet(strings.ReplaceAll(strings.ToLower(namesOf(trains)), ",", ""))
	delete(named, "and")
	switch ans.Said {
	case SaidStopped:
		if !ans.Whole {
			return heldFor("stopped", "the letter asked for several trains, and it does not say whether the whole clock stands or one of them")
		}
	case SaidNot:
		for w := range strings.FieldsFuncSeq(strings.ToLower(ans.Because), func(r rune) bool { return !unicode.IsLetter(r) }) {
			if named[w] || ofOneTrain[w] {
				return heldFor(w, "the letter asked for several trains, and by the word %q it may be of one of them that it was not done", w)
			}
		}
	}
	return nil
}

// notDone makes a note of why something was not done.
func (p Pass) notDone(e *Entry, because string, a Assessment) error {
	if because == "" {
		return invalid("because", "say why it was not done, in a few words")
	}
	e.Kind, e.Key = Noted, p.notKey(because, a.dayOf(e.At))
	e.Note = NotDone(p.What(a), because)
	said := 0
	for _, old := range a.Entries {
		if strings.HasPrefix(old.Key, p.key()+" not ") && old.Key != e.Key {
			said++
		}
	}
	if said >= mostNots {
		return conflict("because", "that it is not done was said %d times by this link: tell the conservator instead", said)
	}
	return nil
}

// NotDone is the note of work that somebody could not do, and why.
func NotDone(what, because string) string {
	return fmt.Sprintf("Not done: %s. Because: %s", what, because)
}

// stopped makes a stop, of the whole clock where its subject is what makes it go.
func (p Pass) stopped(e *Entry, cause StopCause, a Assessment) {
	e.Kind, e.Cause = Stopped, cause
	if e.Cause == "" {
		e.Cause = NotKnown
	}
	if t, ok := a.Clock.Train(p.Subject); ok && !a.Clock.speaks(t) {
		e.Train = t.Code
	}
}

// read makes a reading of the bearing that was asked for.
func (p Pass) read(e *Entry, r *wear.Reading, a Assessment) error {
	if r == nil {
		return invalid("value", "give the reading with its unit, like 0.42 mm or 16 thou")
	}
	b, _, t, _ := a.Clock.Bearing(p.Subject)
	reading := *r
	if reading.Shake == "" {
		reading.Shake = b.Shake
	}
	e.Kind, e.Train, e.Bearing, e.Reading = Measured, t.Code, b.Code, &reading
	return nil
}

// did makes what was done as it was asked.
func (p Pass) did(e *Entry, a Assessment) error {
	switch b, _, t, bearing := a.Clock.Bearing(p.Subject); {
	case p.Task == TimeChange || p.Task == Seasonal: // of the whole clock
	case bearing:
		e.Train, e.Bearing = t.Code, b.Code
	default:
		e.Train = p.Subject
	}
	switch p.Task {
	case Winding:
		e.Kind = Wound
		return p.leaveWound(e, a)
	case Oiling:
		e.Kind = Oiled
	case Inspection:
		e.Kind, e.Found = Inspected, Sound
	case TimeChange:
		s, ok := p.changeAsked(a)
		if !ok {
			return conflict("said", "no change of time of %s is known of then: tell the conservator", a.Clock.Name)
		}
		e.Kind, e.Change = Set, s.On
	case Seasonal:
		e.Kind, e.Season = Noted, p.Subject
		if p.Subject == "" {
			e.Kind = Started
		}
	}
	return nil
}

// leaveWound has a wind of all trains be of that one which was not wound since
// the pass was made. Of several, but not all, no single entry can tell.
func (p Pass) leaveWound(e *Entry, a Assessment) error {
	all := a.Clock.handWound()
	left, _ := p.unwound(a)
	if p.Subject != "" || len(left) == 0 || len(left) == len(all) {
		return nil
	}
	if len(left) == 1 {
		e.Train = left[0].Code
		return nil
	}
	done := slices.DeleteFunc(all, func(t wear.Train) bool {
		return slices.ContainsFunc(left, func(l wear.Train) bool { return l.Code == t.Code })
	})
	return conflict("pass", "since the letter somebody has wound the %s: say it of each of the others by the link beside it", namesOf(done))
}

// namesOf names trains: "going train and strike train".
func namesOf(trains []wear.Train) string {
	var names []string
	for _, t := range trains {
		names = append(names, NameOfTrain(t))
	}
	return And(names)
}

// What says in words what a pass is asked about: the task as it stands, or what
// it was of; of several bearings due together, the one that it takes a reading
// of.
func (p Pass) What(a Assessment) string {
	_, _, _, bearing := a.Clock.Bearing(p.Subject)
	for _, t := range a.Tasks {
		if t.Kind == p.Task && t.Subject == p.Subject && !bearing {
			return t.What()
		}
	}
	t := Task{Kind: p.Task, Subject: p.Subject}
	if b, arbor, _, ok := a.Clock.Bearing(p.Subject); ok {
		t.About = NameOf(b.Name, arbor.Name)
	} else if train, ok := a.Clock.Train(p.Subject); ok {
		t.About = NameOfTrain(train)
	} else if l, ok := a.Clock.line(p.Subject); ok {
		t.About = l.name()
	} else if s, ok := a.Clock.season(p.Subject); ok {
		t.About = s.Name
	} else if trains := a.Clock.handWound(); p.Task == Winding && len(trains) > 1 {
		if left, _ := p.unwound(a); len(left) > 0 {
			trains = left
		}
		t.About = namesOf(trains)
	} else if t.startsAgain() {
		t.About = "starting it again"
	}
	return t.What()
}

// doneSince finds what somebody has logged since a pass was made by which its
// task is done, whether it was done or only logged after that. What is copied
// from an old book tells nothing of now, nor does what was done before that which
// the task rests on.
func (p Pass) doneSince(a Assessment) (Entry, bool) {
	if p.Task == TimeChange {
		s, ok := p.changeAsked(a)
		i := slices.IndexFunc(a.Entries, func(e Entry) bool { return ok && s.Done != "" && e.ID == s.Done })
		if i < 0 {
			return Entry{}, false
		}
		return a.Entries[i], true
	}
	if p.Task == Winding && p.Subject == "" {
		left, last := p.unwound(a)
		return last, len(left) == 0 && !last.At.IsZero()
	}
	e := newest(a.Entries, func(e *Entry) bool { return !e.Old && p.doneBy(e, a) })
	if e == nil {
		return Entry{}, false
	}
	logged := e.RecordedAt
	if !e.firstLogged.IsZero() { // a correction does nothing anew
		logged = e.firstLogged
	}
	if !e.At.After(p.Made) && !logged.After(p.Made) {
		return Entry{}, false
	}
	return *e, true
}

// unwound are the trains of a clock that were not wound since a pass for all of
// them was made, and the last of the winds by which the others were.
func (p Pass) unwound(a Assessment) (left []wear.Train, last Entry) {
	for _, t := range a.Clock.handWound() {
		one := p
		one.Subject = t.Code
		e, done := one.doneSince(a)
		if !done {
			left = append(left, t)
		} else if last.At.Before(e.At) {
			last = e
		}
	}
	return left, last
}

// doneBy reports whether an entry does the task of a pass.
func (p Pass) doneBy(e *Entry, a Assessment) bool {
	b, _, t, bearing := a.Clock.Bearing(p.Subject)
	if !bearing {
		t, _ = a.Clock.Train(p.Subject)
	}
	about := e.concerns(t.Code) && (e.Bearing == "" || bearing && e.Bearing == b.Code)
	switch p.Task {
	case Winding:
		return e.Kind == Wound && !e.Part && about
	case Oiling:
		return (e.Kind == Oiled && !e.TopUp && len(e.Points) == 0 || e.Kind == Cleaned) && about || p.oiledBy(e, a)
	case Inspection:
		return e.Kind == Inspected && (e.Line == "" || e.Visit) && about && a.looked(e)
	case Measuring:
		return bearing && (e.Kind == Measured || e.Kind == Repaired) && e.Bearing == b.Code
	case NearLimit: // a reading alone mends nothing
		return bearing && e.Kind == Repaired && e.Bearing == b.Code
	case Seasonal:
		return p.Subject == "" && e.Kind == Started || p.Subject != "" && e.Season == p.Subject
	}
	return false
}

// oiledBy reports whether an entry is the oiling of a point or more from which
// the oil in question counts.
func (p Pass) oiledBy(e *Entry, a Assessment) bool {
	return e.Kind == Oiled && e.ID != "" && slices.ContainsFunc(a.Oils, func(o OilState) bool {
		return o.Subject == p.Subject && o.last.ID == e.ID
	})
}

// changeAhead is how many days before a change of time a letter asks for it.
const changeAhead = 8

// changeAsked is the change of time that a pass is about: the one that comes
// within days of the letter, else the one that was waited for then.
func (p Pass) changeAsked(a Assessment) (ChangeState, bool) {
	if at, by, ok := NextChange(a.Zone, p.Made); ok && a.dayOf(at).Sub(a.dayOf(p.Made)) <= changeAhead {
		return a.changeAt(at, by), true
	}
	then := a
	then.Now = p.Made
	then.Entries = slices.DeleteFunc(slices.Clone(a.Entries), func(e Entry) bool { return e.At.After(p.Made) || e.RecordedAt.After(p.Made) })
	s := changeOf(&then)
	if s == nil {
		return ChangeState{}, false
	}
	return a.changeAt(s.At, s.By), true
}
