package schedule

import (
	"reflect"
	"slices"
	"sort"
	"time"

	"endshake/wear"
)

// reuse is what an earlier answer for a clock gives to a new one: only what
// hangs on neither the day nor what was logged since, so that the new answer is
// the same to the last bit as one made with nothing at hand.
type reuse struct {
	from  *Assessment // nil: there is none
	clock bool        // the clock and its site are described alike
	// kept: so much of the log that counts is the whole of what counted then; 0:
	// anything else.
	kept  int
	plain bool // and what was logged since is plain, see [plainEntries]
}

// Again assesses every clock of a snapshot anew at now, and takes over what
// cannot have changed; the log is by Clock.Slug. The old snapshot stays as it was.
func (s *Snapshot) Again(log map[string][]Entry, m Model, now time.Time) *Snapshot {
	return survey(s.Fleet, log, m, now, s, never)
}

// Followed gives a snapshot of the fleet as it has become. What has grown names
// the clocks whose log did; the others have the log that they had, and those that
// are described as before keep their answers and their instant, as in With. The
// model is that of the snapshot. The old snapshot stays as it was.
func (s *Snapshot) Followed(fleet Fleet, log map[string][]Entry, grown map[string]bool, m Model, now time.Time) *Snapshot {
	same := len(fleet.Clocks) > 0 && len(fleet.Clocks) == len(s.Fleet.Clocks) && &fleet.Clocks[0] == &s.Fleet.Clocks[0] // nobody described anything
	next := survey(fleet, log, m, now, s, func(f Facts) bool { return !grown[f.Clock.Slug] && (same || f.alike().clock) })
	next.Now = s.Now
	return next
}

// counted is the log that counts at now, oldest first, and how much of it is the
// whole of what counted in the earlier answer; 0: it is another. It is the log as
// given, up to now, where nothing in that was corrected and it is in order.
func (f Facts) counted(now time.Time) (log []Entry, kept int, g given) {
	end := now.Add(leeway)
	var was []Entry
	if f.Before != nil {
		was = f.Before.Entries
	}
	same := 0
	if len(was) > 0 && len(was) <= len(f.Entries) && &was[0] == &f.Entries[0] {
		same = len(was)
	}
	switch {
	case inPlace(f.Entries, same):
		log = f.Entries
		for n := len(log); n > 0 && log[n-1].At.After(end); n-- {
			log = log[: n-1 : n-1]
		}
	case f.Before != nil && f.Before.given.grew(f.Entries, was, end):
		g = given{&f.Entries[0], len(f.Entries)}
		return append(slices.Clip(was), f.Entries[f.Before.given.n:]...), len(was), g
	default:
		order := inOrder(f.Entries)
		if n := len(order); n > 0 && !order[n-1].At.After(end) {
			g = given{&f.Entries[0], len(f.Entries)}
		}
		order = slices.DeleteFunc(order, func(e *Entry) bool { return e.At.After(end) })
		log, same = make([]Entry, len(order)), 0
		for i, e := range order {
			log[i] = *e
		}
		followUndone(log, f.Entries)
		followFirst(log, f.Entries)
	}
	switch {
	case len(log) == 0:
		return nil, 0, g
	case same < len(was) && !startsWith(log, was), len(log) < len(was):
		return slices.Clip(log), 0, g
	case len(log) == len(was):
		return was, len(was), g
	}
	return slices.Clip(log), len(was), g
}

// given is a log as it was given, by where it lies: its first entry and how many
// there were. An entry is never changed, so that tells it. n is 0 where some did
// not count yet.
type given struct {
	first *Entry
	n     int
}

// grew reports whether a log is the one given, and at most grew by entries that
// come after all that counted, up to an instant, and correct and undo nothing.
func (g given) grew(log, counted []Entry, end time.Time) bool {
	if g.n == 0 || len(log) < g.n || g.first != &log[0] || len(counted) == 0 {
		return false
	}
	last := &counted[len(counted)-1]
	for i := g.n; i < len(log); i++ {
		if log[i].Replaces != "" || log[i].Undoes != "" || byTime(last, &log[i]) > 0 {
			return false
		}
		last = &log[i]
	}
	return !last.At.After(end)
}

// inOrder is [Effective] by reference.
func inOrder(log []Entry) []*Entry {
	var replaced map[string]bool
	for i := range log {
		if id := log[i].Replaces; id != "" {
			if replaced == nil {
				replaced = map[string]bool{}
			}
			replaced[id] = true
		}
	}
	out := make([]*Entry, 0, len(log))
	for i := range log {
		if e := &log[i]; replaced == nil || e.ID == "" || !replaced[e.ID] {
			out = append(out, e)
		}
	}
	if !slices.IsSortedFunc(out, byTime) {
		slices.SortStableFunc(out, byTime)
	}
	return out
}

// settled is [Effective] of a log that is not changed: the log itself, where
// nothing in it was corrected and it is in order.
func settled(log []Entry) []Entry {
	if inPlace(log, 0) {
		return log
	}
	return Effective(log)
}

// inPlace reports whether a log is in order and nothing in it was corrected;
// so many of its first entries are known to be so.
func inPlace(log []Entry, known int) bool {
	for i := known; i < len(log); i++ {
		if log[i].Replaces != "" || i > 0 && byTime(&log[i-1], &log[i]) > 0 {
			return false
		}
	}
	return true
}

// Grown is a log in order with one entry more, in its place: a log of its own,
// but where that place is the end, as with append.
func Grown(log []Entry, e Entry) []Entry {
	at := sort.Search(len(log), func(i int) bool { return byTime(&log[i], &e) > 0 })
	if at == len(log) {
		return append(log, e)
	}
	return append(append(append(make([]Entry, 0, len(log)+1), log[:at]...), e), log[at:]...)
}

// withEntry is [Effective] of a log that counts and one entry more.
func withEntry(log []Entry, e Entry) []Entry {
	out := Grown(slices.Clip(log), e)
	if e.Replaces != "" {
		out = slices.DeleteFunc(out, func(old Entry) bool { return old.ID == e.Replaces })
	}
	return out
}

// upTo is the log that counted when an entry happened, of one that counts now;
// what the entry replaces is left out.
func upTo(log []Entry, e Entry) []Entry {
	n := len(log)
	for n > 0 && log[n-1].At.After(e.At) {
		n--
	}
	if log = log[:n:n]; e.Replaces != "" {
		log = slices.DeleteFunc(slices.Clone(log), func(old Entry) bool { return old.ID == e.Replaces })
	}
	return log
}

// startsWith reports whether the first entries of a log are those of an older
// one. An entry never changes, so those of one ID are one.
func startsWith(log, old []Entry) bool {
	if len(log) < len(old) {
		return false
	}
	for i := range old {
		e, o := &log[i], &old[i]
		if e != o && (e.ID != o.ID || e.Kind != o.Kind || !e.At.Equal(o.At) || !e.RecordedAt.Equal(o.RecordedAt) ||
			e.ID == "" && !reflect.DeepEqual(e, o)) {
			return false
		}
	}
	return true
}

// alike finds what the earlier answer can give. Descriptions that share their
// memory, as those of one fleet do, are compared at a glance.
func (f Facts) alike() reuse {
	if f.Before == nil {
		return reuse{}
	}
	return reuse{from: f.Before, clock: reflect.DeepEqual(f.Clock, f.Before.Clock) && reflect.DeepEqual(f.Site, f.Before.Site)}
}

// sameLog reports whether the log that counts is that of the earlier answer.
func (a *Assessment) sameLog() bool { return a.reuse.kept > 0 && a.reuse.kept == len(a.Entries) }

// but is an earlier answer for the same clock, but for plain entries logged since;
// nil: there is none.
func (a *Assessment) but() *Assessment {
	if !a.reuse.clock || !a.reuse.plain {
		return nil
	}
	return a.reuse.from
}

// plainEntries reports whether entries are readings of bearings, and winds that
// tell of nothing but the run of a train. What an old book has may break a lock.
func plainEntries(log []Entry) bool {
	for i := range log {
		e := &log[i]
		if e.Kind != Wound && e.Kind != Measured || e.Old || e.ErrorFound != nil || e.ErrorLeft != nil || !e.Change.IsZero() || e.Celsius != nil ||
			e.Pressure != nil || e.Arc != nil || e.Weight != nil || e.Corrector != nil || e.OilFound != "" || e.Residue != "" {
			return false
		}
	}
	return true
}

// task is one of the same kind and subject that was asked for with no lock in
// force: who does it, what can hurt them and how long it takes hang on the
// description alone. Nil: there is none.
func (w reuse) task(kind TaskKind, subject string) *Task {
	if !w.clock || len(w.from.Locks) > 0 {
		return nil
	}
	for i := range w.from.Tasks {
		if t := &w.from.Tasks[i]; t.Kind == kind && t.Subject == subject {
			return t
		}
	}
	return nil
}

// train is what was known of a train by the same log, or by its beginning; nil:
// nothing.
func (w reuse) train(code string) *TrainState {
	if !w.clock || w.kept == 0 {
		return nil
	}
	for i := range w.from.Trains {
		if st := &w.from.Trains[i]; st.Train.Code == code && st.sifted != nil {
			return st
		}
	}
	return nil
}

// sifted is how a train ran by its log, and what of that does not fit.
type sifted struct {
	*history
	running wear.Running
	odd     []oddEntry
	err     error
}

// oddEntry is an entry that does not fit the rest.
type oddEntry struct {
	old bool // copied from an old book
	why string
}

// sift works out how a train ran, or takes it over, as far as the log is the same.
func (a *Assessment) sift(t wear.Train) *sifted {
	var h *history
	switch was := a.reuse.train(t.Code); {
	case was == nil:
		h = historyOf(a.Clock, a.Zone, a.Entries, t)
	case a.sameLog():
		return was.sifted
	default:
		h = was.sifted.clone()
		h.read(a.Entries, a.reuse.kept)
	}
	r, odd, err := h.sift()
	s := &sifted{history: h, running: r, err: err}
	for _, o := range odd {
		s.odd = append(s.odd, oddEntry{a.Entries[h.from[o.Event]].Old, o.Why})
	}
	return s
}

// outlook is what was found of a bearing; nil: nothing.
func (w reuse) outlook(code string) *Outlook {
	if w.from == nil {
		return nil
	}
	for i := range w.from.Outlooks {
		if o := &w.from.Outlooks[i]; o.Bearing.Code == code && o.memo != nil {
			return o
		}
	}
	return nil
}

// memo is what was worked out of a bearing from its prior, the settings and its
// record alone, whatever the day: enough to take it over where those are the
// same. It holds what one answer asked for and nothing older, and is not
// changed once that is made.
type memo struct {
	record
	learned *Learned // and pair: behind the prior
	params  wear.Params
	rates   [3]float64
	median  float64 // size in mm as of the last fact, where it is known
	medians wear.Medians
	told    struct { // size in mm at the exposure up to which the readings tell
		asked    bool
		at, size float64
	}
	readAgain bool
	seen      Date // the last reading, or what stands for it
	span      float64
	basis     string
	telling   telling // behind the sentence
	sentence  string
	byPolicy  struct { // when to measure by a policy of days alone; no why: by another
		seen, by Date
		why      string
	}
	limit     float64 // of crossings and found
	crossings [3]wear.Crossing
	found     int       // readings before the last at which it was first found over; -1: not asked
	unseen    [4]unseen // what was asked, and then nothing
	rest      *rest
}

// Past is the size of its parts through their lives, by the very account that
// Wear looks ahead from, the present part last; those before other materials
// rubbed are forgotten. It is worked out when it is asked for.
func (o Outlook) Past() wear.Past {
	if o.memo == nil {
		return wear.Past{}
	}
	return o.Wear.Past(o.Prior, o.memo.params, o.memo.segs)
}

// unseen is when a limit is passed with some chance.
type unseen struct {
	limit, risk float64
	at          wear.Crossing
}

// rest is what is known without the last reading.
type rest struct {
	wear wear.Posterior
	segs []wear.Segment
	err  error
}

// lend gives the record of a bearing: whole where neither it was read nor a train
// wound since. Its oil is lent where no train was wound, its parts where it was
// not read and its readings are still taken at the same running.
func (a *Assessment) lend(code string, st *TrainState) (r record, whole bool) {
	was, from := a.reuse.outlook(code), a.but()
	if from == nil || from.model != a.model || was == nil {
		return record{}, false
	}
	wound, read := false, false
	for i := a.reuse.kept; i < len(a.Entries); i++ {
		e := &a.Entries[i]
		wound, read = wound || e.Kind == Wound, read || e.Kind == Measured && e.Bearing == code
	}
	r, whole = was.memo.record, !wound && !read
	r.lent = whole || !read && r.takenAt(st)
	if !whole {
		r.segs, r.of = nil, nil
	}
	if wound {
		r.oiled = oilRun{}
	}
	if !r.lent {
		r = record{oiled: r.oiled}
	}
	return r, whole
}

// takenAt reports whether readings were taken at the exposures that are given,
// as a train ran.
func (r *record) takenAt(st *TrainState) bool {
	per := st.Train.PerRunHour()
	for i := range r.parts {
		for k := range r.parts[i].Readings {
			if p := &r.parts[i].Readings[k]; p.Exposure != st.Running.At(p.At).Likely*per {
				return false
			}
		}
	}
	return true
}

// plain reports that what two usages say of the log, and of what there was before
// it, hangs on the day of neither.
func (u usage) plain(was usage, last time.Time) bool {
	last = later(last, u.begin)
	return len(u.knots) == 0 && len(was.knots) == 0 && !last.After(u.now) && !last.After(was.now)
}

// priorOf is what is believed of a bearing beforehand: as it was found last time
// where neither the clock nor what the fleet has taught is another.
func (r *record) priorOf(b wear.Bearing, arbor wear.Arbor, t wear.Train, a *Assessment, m Model) wear.Prior {
	if was := a.reuse.outlook(b.Code); was != nil && a.reuse.clock && was.memo.learned == m.Learned && was.memo.pair == r.pair {
		return was.Prior
	}
	return m.prior(b, arbor, t, a.Zone)
}

// recall finds what was worked out of the same record, with its doubts; nil
// where anything is otherwise.
func (r *record) recall(o, was *Outlook, params wear.Params) *memo {
	if was == nil || was.Prior.Mu != o.Prior.Mu || was.Prior.Om != o.Prior.Om || was.memo.params != params {
		return nil
	}
	if r.lent && len(r.segs) > 0 && len(r.segs) == len(was.memo.segs) && &r.segs[0] == &was.memo.segs[0] { // doubts and all
		return was.memo
	}
	if !slices.EqualFunc(r.segs, was.memo.segs, sameSegment) ||
		!slices.EqualFunc(r.parts, was.Parts, func(a, b Part) bool { return len(a.Readings) == len(b.Readings) }) {
		return nil
	}
	for i := range r.parts {
		for k := range r.parts[i].Readings {
			if doubt := was.Parts[i].Readings[k].Doubt; r.parts[i].Readings[k].Doubt != doubt {
				r.parts[i].Readings[k].Doubt = doubt
			}
		}
	}
	return was.memo
}

func sameSegment(a, b wear.Segment) bool {
	return a.H0 == b.H0 && a.Fresh == b.Fresh && a.Carry == b.Carry && a.Redrawn == b.Redrawn &&
		(a.Start == b.Start || a.Start != nil && b.Start != nil && *a.Start == *b.Start) && slices.Equal(a.Readings, b.Readings)
}

// undoubted is a copy of parts without what was doubted.
func undoubted(parts []Part) []Part {
	parts = slices.Clone(parts)
	for i := range parts {
		parts[i].Readings = slices.Clone(parts[i].Readings)
		for k := range parts[i].Readings {
			parts[i].Readings[k].Doubt = 0
		}
	}
	return parts
}

// crossings are the 10, 50 and 90 % crossings of the limit, from the last fact.
func (p *forecast) crossings(limit float64) [3]wear.Crossing {
	p.memo.limit = limit
	if p.was != nil && p.was.limit == limit {
		p.memo.crossings = p.was.crossings
	} else {
		p.memo.crossings = p.o.Wear.Crossings(limit, p.o.Wear.Now())
	}
	return p.memo.crossings
}

// crossing is when a limit is passed with some chance, from the last fact.
func (p *forecast) crossing(limit, risk float64) wear.Crossing {
	c := unseen{limit: limit, risk: risk}
	i := -1
	if p.was != nil {
		i = slices.IndexFunc(p.was.unseen[:], func(u unseen) bool { return u.limit == limit && u.risk == risk })
	}
	if i >= 0 {
		c.at = p.was.unseen[i].at
	} else {
		c.at = p.o.Wear.Crossing(limit, p.o.Wear.Now(), risk)
	}
	if p.asked < len(p.memo.unseen) {
		p.memo.unseen[p.asked] = c
		p.asked++
	}
	return c.at
}

// reached reports whether a limit is passed as likely as not, as far as the readings
// tell.
func (p *forecast) reached(limit float64) bool {
	c := p.crossing(limit, 0.5)
	return c.State == wear.Already || c.State == wear.At && c.H <= p.told
}

// median is the size in mm at the exposure at which the level is given.
func (p *forecast) median() (mm float64) {
	var near *wear.Medians
	if p.was != nil {
		near = &p.was.medians
	}
	mm, p.memo.medians = p.o.Wear.Median(p.at, near)
	return mm
}

// medianTold is the size in mm when the readings last told.
func (p *forecast) medianTold() float64 {
	told := &p.memo.told
	if p.was != nil && p.was.told.asked && p.was.told.at == p.told {
		*told = p.was.told
	} else {
		told.asked, told.at, told.size = true, p.told, p.o.Wear.LevelQuantile(p.told, 0.5)
	}
	return told.size
}

// withoutLast is what is known without the last reading of the present part.
func (p *forecast) withoutLast() (wear.Posterior, []wear.Segment, error) {
	switch {
	case p.memo.rest != nil:
	case p.was != nil && p.was.rest != nil:
		p.memo.rest = p.was.rest
	default:
		r := &rest{}
		r.wear, r.segs, r.err = p.without(1)
		p.memo.rest = r
	}
	return p.memo.rest.wear, p.memo.rest.segs, p.memo.rest.err
}
