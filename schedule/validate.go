package schedule

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"sort"
	"strings"
	"time"

	"endshake/wear"
)

// leeway is how far ahead of now an entry may lie: clocks of telephones differ.
const leeway = 2 * time.Minute

// Validate reports the first reason why an entry cannot be logged, as a *Error
// with the form field at fault. The log is the clock's own, corrections
// included. A reading, or an error found, that does not fit what the log and the model lead one to
// expect is asked back with the code Doubtful, unless it is Sure.
func Validate(e Entry, fleet Fleet, log []Entry, m Model, now time.Time) error {
	t := Trial{fleet: fleet, model: m, now: now, log: log, counts: settled(log), locked: true}
	t.of(e.Clock)
	return t.validate(e)
}

// validate is [Validate] of an entry by the log as it stands.
func (t *Trial) validate(e Entry) error {
	c, site, zone := t.clock, t.site, t.site.Location()
	if !t.there || e.Clock != c.Slug {
		return notFound("clock", "there is no clock %q: there is %s", e.Clock, clockSlugs(t.fleet))
	}
	if err := validateCommon(e, t.fleet, c, site, t.now); err != nil {
		return err
	}
	if err := validateKind(e, c, zone); err != nil {
		return err
	}
	if err := validateFigures(e); err != nil {
		return err
	}
	if err := validateWind(e, c); err != nil {
		return err
	}
	if err := validateCut(e, c, zone, t.now); err != nil {
		return err
	}
	if err := validateDetail(e); err != nil {
		return err
	}
	if err := validateCare(e, c, zone); err != nil {
		return err
	}
	if err := validateOil(e, c); err != nil {
		return err
	}
	return t.validateAmid(e)
}

// validateAmid holds an entry that can be right by itself to the rest of the log.
func (t *Trial) validateAmid(e Entry) error {
	c, site, zone := t.clock, t.site, t.site.Location()
	if err := validateCorrection(e, t.log); err != nil {
		return err
	}
	if err := validateTwice(e, t.counts, zone); err != nil {
		return err
	}
	if err := validateTicked(e, t.counts); err != nil {
		return err
	}
	if e.Replaces != "" || e.Undoes != "" {
		if err := validateUndoes(e, t.counts); err != nil {
			return err
		}
	}
	if t.locked || e.Clears != "" || e.Replaces != "" {
		if err := validateLock(e, c, t.fleet, t.counts, t.now); err != nil {
			return err
		}
	}
	if err := validateRunning(e, c, zone, t.counts); err != nil {
		return err
	}
	if err := validateSaid(e, t.log); err != nil {
		return err
	}
	if err := validateJump(e, zone, t.counts); err != nil {
		return err
	}
	if err := validateRanDown(e, c, site, t.counts, t.model); err != nil {
		return err
	}
	return validateFit(e, c, site, t.counts, t.model)
}

func validateCommon(e Entry, fleet Fleet, c Clock, site Site, now time.Time) error {
	loc := site.Location()
	switch {
	case !known(EntryKinds, e.Kind):
		return invalid("kind", "an entry of kind %q is not known: use one of %s", e.Kind, list(EntryKinds))
	case e.At.IsZero():
		return invalid("at", "say when it happened")
	case e.At.After(now.Add(leeway)):
		return invalid("at", "%s lies in the future: log it when it has happened", e.At.In(loc).Format("2 Jan 2006 15:04"))
	case e.At.Before(c.InCare.Start(loc)):
		return invalid("at", "%s is before the log of %s begins (%s): mend the date, or have it begin on that day or earlier (inCare in the fleet file)", DateOf(e.At, loc).Words(), c.Name, c.InCare.Words())
	}
	if e.By != "" {
		// A correction may leave it with somebody who was erased since.
		if _, ok := fleet.Person(e.By); !ok && !(e.Replaces != "" && IsErased(e.By)) {
			return notFound("by", "there is no person %q: see the clock's page for who looks after it", e.By)
		}
	}
	if err := validateSubject(e, c); err != nil {
		return err
	}
	texts := []string{e.Note, e.Why, e.Oil, e.Source, e.Key}
	if e.Reading != nil {
		texts = append(texts, e.Reading.Instrument)
	}
	return checkTexts("note", texts...)
}

func validateSubject(e Entry, c Clock) error {
	if _, ok := c.Train(e.Train); e.Train != "" && !ok {
		return notFound("train", "%s has no train %q: it has %s", c.Name, e.Train, trainCodes(c))
	}
	if e.Bearing == "" {
		return nil
	}
	_, _, t, ok := c.Bearing(e.Bearing)
	if !ok {
		return notFound("bearing", "%s has no bearing %q: it has %s", c.Name, e.Bearing, bearingCodes(c))
	}
	if !e.concerns(t.Code) {
		return invalid("bearing", "bearing %s is on the train %q, not on %q: mend one of the two", e.Bearing, t.Code, e.Train)
	}
	return nil
}

func validateKind(e Entry, c Clock, zone *time.Location) error {
	switch e.Kind {
	case Wound:
		return validateWound(e, c)
	case Measured:
		return validateMeasured(e, c, zone)
	case Stopped:
		return validateStopped(e, c, zone)
	case Repaired:
		return validateRepaired(e, c, zone)
	case Inspected:
		if e.Found != "" && !known([]Condition{Sound, Watch, Act}, e.Found) {
			return invalid("found", "condition %q is not known: use %s, %s or %s", e.Found, Sound, Watch, Act)
		}
	case Noted:
		if strings.TrimSpace(e.Note) == "" && (e.Lock != "" || e.Clears != "" || !e.tells()) {
			return invalid("note", "a note needs words: write what you saw")
		}
	}
	return nil
}

// tells reports whether a note without words tells something all the same.
func (e Entry) tells() bool {
	return e.Season != "" || e.Meter != nil || !e.CutFrom.IsZero() || e.ErrorFound != nil ||
		e.Celsius != nil || e.Pressure != nil || e.Arc != nil || e.Weight != nil || e.Corrector != nil
}

func validateWound(e Entry, c Clock) error {
	for _, t := range c.Trains {
		if t.Drive == wear.HandWound && e.concerns(t.Code) {
			return nil
		}
	}
	return conflict("train", "%s has no hand-wound train to wind there: log a note instead", c.Name)
}

func validateMeasured(e Entry, c Clock, zone *time.Location) error {
	if e.Reading == nil {
		return invalid("value", "a measured entry needs a reading: write it with its unit, like 0.42 mm or 16 thou")
	}
	if e.Bearing == "" {
		return invalid("bearing", "say which bearing was measured")
	}
	if err := e.Reading.Validate(); err != nil {
		return invalid("value", "%v", err)
	}
	b, _, _, _ := c.Bearing(e.Bearing)
	if e.Reading.Shake != b.Shake {
		return invalid("value", "bearing %s is followed by its %s, not its %s: log the %s as a note", b.Code, b.Shake, e.Reading.Shake, e.Reading.Shake)
	}
	if !b.FittedAt.IsZero() && e.At.Before(b.FittedAt) {
		return invalid("at", "a reading of %s before its part was fitted (%s) cannot be right: mend the date", b.Code, DateOf(b.FittedAt, zone).Words())
	}
	return nil
}

func validateStopped(e Entry, c Clock, zone *time.Location) error {
	t, named := c.Train(e.Train)
	switch {
	case !known(StopCauses, e.Cause):
		return invalid("cause", "say why it stopped: one of %s", list(StopCauses))
	case e.Cause == Silenced && (!named || t.Kind == wear.Going):
		return invalid("cause", "only a striking or chiming train can be silenced: name that train, or say why the clock stopped")
	case !e.Since.IsZero() && e.Since.After(e.At):
		return invalid("since", "it cannot have stopped after it was found stopped: mend one of the two times")
	case !e.Since.IsZero() && e.Cause.Deliberate():
		return invalid("since", "a clock stopped %s stopped when you stopped it: leave that time empty", e.Cause)
	case !e.Until.IsZero() && e.Cause != Rest && e.Cause != ForWork:
		return invalid("until", "a day to go again is only for a clock out of season or stopped for work")
	case e.Until.Sub(DateOf(e.At, zone)) > longestRest:
		return invalid("until", "%s is more than %s on: mend the day, or leave it empty until it is known", e.Until.Words(), Days(longestRest))
	case !e.Until.IsZero() && !e.Until.After(DateOf(e.At, zone)):
		return invalid("until", "the day to go again must come after the stop")
	}
	return nil
}

func validateRepaired(e Entry, c Clock, zone *time.Location) error {
	if e.Work == NewLine || e.Line != "" {
		return validateNewLine(e, c)
	}
	switch {
	case e.Bearing == "":
		return invalid("bearing", "say which bearing was repaired, or which line was replaced; for the clock as a whole log it as cleaned, or as inspected with a note of what was mended")
	case !known(RepairWorks, e.Work):
		return invalid("work", "say what was done: one of %s", list(RepairWorks))
	case e.Fitted < 0 || e.FittedSD < 0 || e.Fitted > 100*wear.Millimetre || e.FittedSD > 5*wear.Millimetre:
		return invalid("fitted", "the freedom left and its uncertainty must be plain sizes: check the unit")
	case e.NewPair != "" && !wear.KnownPair(e.NewPair):
		return invalid("pair", "the material pair %q is not known", e.NewPair)
	}
	b, _, _, _ := c.Bearing(e.Bearing)
	if l := binding(b); l != nil && e.Fitted >= l.Size {
		return invalid("fitted", "%v after the repair is not below the limit of %v: check the figure, or set the limit anew", e.Fitted, l.Size)
	}
	if !b.FittedAt.IsZero() && e.At.Before(b.FittedAt) {
		return invalid("at", "a repair of %s before its part was fitted (%s) cannot be right: mend the date", b.Code, DateOf(b.FittedAt, zone).Words())
	}
	return nil
}

// validateFigures holds the figures of every kind of entry to what can be: one
// that is no number could not even be kept.
func validateFigures(e Entry) error {
	for _, v := range []struct {
		field string
		error *float64
	}{{"errorFound", e.ErrorFound}, {"errorLeft", e.ErrorLeft}} {
		if v.error != nil && !(math.Abs(*v.error) <= 12*3600) {
			return invalid(v.field, "an error beyond 12 hours cannot be right: give seconds, + fast and - slow")
		}
	}
	switch {
	case !(math.Abs(e.NutTurns) <= 100):
		return invalid("nutTurns", "%v turns of the rating nut cannot be right: count them again, + raises the bob", e.NutTurns)
	case !(e.Turns >= 0) || e.Turns > 1000:
		return invalid("turns", "%v turns cannot be right: count the turns put on, or leave it empty", e.Turns)
	}
	return validateRate(e)
}

func validateCorrection(e Entry, log []Entry) error {
	if e.Replaces == "" {
		return nil
	}
	if e.Why == "" {
		return invalid("why", "say why the earlier entry is corrected")
	}
	found := false
	for i := range log {
		old := &log[i]
		if old.ID == e.Replaces {
			found = true
		}
		if old.Replaces == e.Replaces {
			return conflict("replaces", "that entry was corrected already: correct the newer one instead")
		}
	}
	if !found {
		return notFound("replaces", "the entry to correct is not in this clock's log")
	}
	return nil
}

// ValidateChange refuses a correction that says just what the entry says that it
// corrects, in a log that Validate took it for. One that comes with pictures
// changes something, and is not to be asked.
func ValidateChange(e Entry, log []Entry) error {
	i := slices.IndexFunc(log, func(old Entry) bool { return old.ID == e.Replaces })
	if e.Replaces == "" || i < 0 {
		return nil
	}
	was, is := log[i].said(), e.said()
	if reflect.DeepEqual(was, is) {
		return invalid("", "the correction says just what the entry says: change what is wrong in it, or leave the entry as it is")
	}
	return nil
}

// said is what an entry says, to the second, without who wrote it down and how.
// That a figure is right as written is no part of it: it speaks of another entry's.
func (e Entry) said() Entry {
	out := Entry{Clock: e.Clock, Kind: e.Kind, At: e.At.UTC().Truncate(time.Second), Train: e.Train, Bearing: e.Bearing, By: e.By, Note: e.Note, Detail: e.Detail}
	out.Sure = false
	for _, t := range []*time.Time{&out.Since, &out.CutFrom, &out.CutTo} {
		*t = t.UTC()
	}
	if len(out.Points) == 0 {
		out.Points = nil
	}
	return out
}

// validateRunning refuses a stop without a start, runs that overlap, and a meter
// that shows more than the time passed, by working out every train's run-hours
// with the entry in place. A log that did not fit together before takes any
// entry: it must be possible to mend it step by step. What was copied from an
// old book is flagged instead. The log is the one that counts.
func validateRunning(e Entry, c Clock, zone *time.Location, log []Entry) error {
	tells := []EntryKind{Stopped, Started, Inspected, Set, Regulated}
	if e.Old || e.Replaces == "" && !slices.Contains(tells, e.Kind) && e.Meter == nil {
		return nil
	}
	with := withEntry(log, e)
	for _, t := range c.Trains {
		if e.Replaces == "" && !e.concerns(t.Code) {
			continue
		}
		err := contradiction(c, zone, with, t)
		if err == nil {
			err = firstStart(e, c, zone, with, t)
		}
		if err == nil {
			continue
		}
		if contradiction(c, zone, log, t) == nil {
			return conflict("kind", "%s: %v", NameOfTrain(t), err)
		}
	}
	return nil
}

// contradiction is the first thing in an effective log that does not fit the
// rest, but for what is from an old book.
func contradiction(c Clock, zone *time.Location, log []Entry, t wear.Train) error {
	h := historyOf(c, zone, log, t)
	_, odd, err := h.sift()
	for _, o := range odd {
		if !log[h.from[o.Event]].Old {
			return fmt.Errorf("run-hours: %s", o.Why)
		}
	}
	return err
}

// settlingIn is how long after it came into care a clock may be started for
// the first time without a stop being logged.
const settlingIn = 31 * 24 * time.Hour

// firstStart refuses a start with nothing logged before it when the train has
// been taken as going for long: it would wipe out all its run-hours.
func firstStart(e Entry, c Clock, zone *time.Location, log []Entry, t wear.Train) error {
	if e.Kind != Started || !e.concerns(t.Code) || e.At.Sub(c.InCare.Start(zone)) <= settlingIn {
		return nil
	}
	for i := range log {
		old := &log[i]
		if old.concerns(t.Code) && old.At.Before(e.At) && (old.Kind == Stopped || old.Kind == Started) {
			return nil
		}
	}
	return fmt.Errorf("taken as going since %s: log first when it stopped", c.InCare.Words())
}

// longestRest is how many days ahead a clock may be said to go again.
const longestRest = 5 * 365

// validateTwice refuses an entry that says what one of the same minute says:
// a command run twice, or a form sent again. The log is the one that counts, in order.
func validateTwice(e Entry, log []Entry, zone *time.Location) error {
	if e.Replaces != "" {
		return nil
	}
	from := sort.Search(len(log), func(i int) bool { return log[i].At.After(e.At.Add(-time.Minute)) })
	for i := from; i < len(log) && log[i].At.Before(e.At.Add(time.Minute)); i++ {
		if old := &log[i]; old.says(e) {
			return conflict("at", "the same was logged at %s: if it was really done twice, say when it was, or add a note", old.At.In(zone).Format("15:04:05"))
		}
	}
	return nil
}

// says reports whether two entries say the same, but for when.
func (e *Entry) says(o Entry) bool {
	return e.Kind == o.Kind && e.Train == o.Train && e.Bearing == o.Bearing && e.By == o.By && e.Note == o.Note &&
		reflect.DeepEqual(e.Detail, o.Detail)
}

// few lists some words of many, for an error message.
func few(words []string) string {
	const most = 12
	switch {
	case len(words) == 0:
		return "none"
	case len(words) > most:
		return strings.Join(words[:most], ", ") + fmt.Sprintf(" and %d more", len(words)-most)
	}
	return strings.Join(words, ", ")
}

func clockSlugs(f Fleet) string {
	var out []string
	for _, c := range f.Clocks {
		out = append(out, c.Slug)
	}
	return few(out)
}

func trainCodes(c Clock) string {
	var out []string
	for _, t := range c.Trains {
		out = append(out, t.Code)
	}
	return few(out)
}

func bearingCodes(c Clock) string {
	var out []string
	for _, t := range c.Trains {
		for _, a := range t.Arbors {
			for _, b := range a.Bearings {
				out = append(out, b.Code)
			}
		}
	}
	return few(out)
}
