package schedule

import (
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// WindState is how much of a train's wind is left, as far as the log tells.
type WindState struct {
	Known bool // a full wind, or a height of the weight, is logged
	// Left is the run that is left now, Share of a full one, Turns of the barrel
	// (0 where the weight is not described).
	Left  time.Duration
	Share float64
	Turns float64
	// Stops is about when it stops, and Early and Late the band in which it
	// does nine times in ten. Zero: not known, or not hand-wound. One that
	// stands is taken to go on now, and one that rests when it is meant to.
	Stops, Early, Late time.Time
	// Spare is how long before Stops the next wind falls due: the forgotten day.
	Spare time.Duration
	// Past: by what is logged it has stopped, unless somebody wound it and did
	// not write it down.
	Past bool
	// Lost says why it is not known how much is left of a train that goes by the
	// log though its logged wind is used up, or that was found run down and wound
	// by nobody knows how much; empty: it is known. Left is 0 then.
	Lost string
	// Windings are those logged, full or in part.
	Windings int
	fact     windFact
	told     *Entry        // the last that tells how much is left; nil: none
	stood    time.Duration // of the time from the last full wind to Stops
	// fewer and more are by how much shorter and longer than Likely the stops since
	// then may have been, where nobody knows when they began.
	fewer, more time.Duration
}

// Figures behind when a train stops (judgement, no source).
const (
	// windError is how far off the run of a wind is nine times in ten, as a share
	// of the run since it was last known, and heightError where a weight was read.
	windError, heightError = 0.05, 0.02
	// spareDay is the forgotten day: a going part is made for eight days and a
	// fraction, so that it is survived (Beckett 1903, p. 197).
	spareDay = 24 * time.Hour
	// shortRun is a full wind that cannot spare a day.
	shortRun = 48 * time.Hour
)

// spareOf is how long before a train stops its winding falls due at the latest.
// One made for a day or so has no day to forget.
func spareOf(run time.Duration) time.Duration {
	if run < shortRun {
		return run / 5
	}
	return spareDay
}

// windFact is the last thing logged that tells what run is left in a train.
type windFact struct {
	at    time.Time
	left  float64   // after it, in what the train spends
	entry *Entry    // the full wind or the height of the weight
	read  bool      // it was a height
	down  bool      // it was found run down, and wound in part since
	parts int       // wound in part since, by known turns
	turns float64   // that those put on
	vague time.Time // wound in part by nobody knows how much
	why   string    // why nobody knows
	seen  time.Time // last seen going since
}

// windOf works out how much of a train's wind is left.
func windOf(a *Assessment, st *TrainState) WindState {
	var w WindState
	t := st.Train
	if t.Drive != wear.HandWound {
		return w
	}
	w.Windings, w.told = st.sifted.windings, a.windTold(t)
	run := t.Run()
	if run == 0 {
		return w
	}
	sp := newSpender(a, st)
	f, ok := sp.fact()
	if !ok {
		return w
	}
	w.Known, w.fact = true, f
	if f.down && !f.vague.IsZero() && f.left == 0 {
		w.Lost = a.vagueWords(f)
		return w
	}
	left := max(0, f.left-sp.spent(f.at, a.Now))
	w.Stops = sp.out(f.at, f.left)
	if since, stands := st.Running.StoppedSince(a.Now); stands && ranDown(a, st) {
		w.Stops, left = since, 0
	} else {
		w.doubt(st, a.Now)
	}
	w.Share = left / sp.full
	w.Left = time.Duration(w.Share * float64(run))
	if t.Weight != nil {
		w.Turns = w.Share * t.Weight.FullTurns()
	}
	rest := a.restOf(st, w.Stops)
	w.Stops = w.Stops.Add(rest)
	if st.Going && left > 0 {
		w.Left = w.Stops.Sub(a.Now)
	}
	w.band(sp, run)
	w.Past = st.Going && !w.Stops.After(a.Now) && !f.seen.After(w.Stops) && (f.vague.IsZero() || !w.Late.After(a.Now))
	if st.Going && !w.Past && !w.Stops.After(a.Now) {
		w.Lost = a.lostWords(w)
	}
	if !st.WoundAt.IsZero() {
		w.stood = rest
		for _, s := range st.Running.Stood(st.WoundAt, earlier(a.Now, w.Stops)) {
			w.stood += s[1].Sub(s[0])
		}
	}
	due, _ := w.due(a, st)
	w.Spare = max(0, w.Stops.Sub(due))
	return w
}

// windTold is the last entry that tells how much is left in a train; nil: none does.
func (a *Assessment) windTold(t wear.Train) *Entry {
	if was := a.reuse.train(t.Code); was != nil && a.sameLog() {
		return was.Wind.told
	}
	return newest(a.Entries, func(e *Entry) bool { _, tells := a.Clock.chargeOf(e, t); return tells })
}

// restOf is how long a train that rests stands until it is to go again.
func (a *Assessment) restOf(st *TrainState, stops time.Time) time.Duration {
	if !a.Resting || st.Going || !stops.After(a.Now) {
		return 0
	}
	return a.runsOn().Sub(a.Now)
}

// doubt takes in that a stop may have begun at any time from when it was last seen
// going: one that was short has spent less of the rest than is likely.
func (w *WindState) doubt(st *TrainState, now time.Time) {
	stood := st.Running.Stood(w.fact.at, now)
	if len(stood) == 0 {
		return
	}
	ran := st.Running.Between(w.fact.at, stood[len(stood)-1][1])
	w.fewer = max(0, time.Duration((ran.Upper-ran.Likely)*float64(time.Hour)))
	w.more = max(0, time.Duration((ran.Likely-ran.Lower)*float64(time.Hour)))
}

// band is when it stops nine times in ten: not before it was last seen going,
// and where it was wound in part by nobody knows how much, as late as if fully.
func (w *WindState) band(sp spender, run time.Duration) {
	f, share := w.fact, windError
	if f.read {
		share = heightError
	}
	off := time.Duration(share * f.left / sp.full * float64(run))
	w.Early, w.Late = w.Stops.Add(-off-w.fewer), w.Stops.Add(off+w.more)
	if seen := earlier(f.seen, w.Stops); seen.After(w.Early) {
		w.Early = seen
	}
	if !f.vague.IsZero() {
		if late := sp.out(f.vague, sp.full).Add(time.Duration(windError * float64(run))); late.After(w.Late) {
			w.Late = late
		}
	}
}

// spared is the instant from which no spare time is left, if its stops were as short
// as they may have been.
func (w WindState) spared(st *TrainState) time.Time {
	return w.Stops.Add(-spareOf(st.Train.Run()) - w.fewer)
}

// due is the instant by which it wants winding: while it has its spare time, or by
// policy, where that comes before it may have stopped. wanted is the same without
// that care, from which the work may be done.
func (w WindState) due(a *Assessment, st *TrainState) (at, wanted time.Time) {
	at = w.spared(st)
	pol, ok := a.Clock.policy(Winding, st.Train.Code, "")
	if !ok || pol.Days <= 0 || st.WoundAt.IsZero() {
		return at, at
	}
	since := st.WoundAt.Add(w.stood).In(a.Zone)
	day := DateOf(since, a.Zone).Add(pol.Days) // days of the wall, whatever the change of clocks does to hours
	wanted = day.At(since.Hour(), since.Minute(), a.Zone)
	if wanted.Before(w.Early) {
		at = wanted
	}
	return at, wanted
}

// spender reckons what a train spends of its wind: a going train hours, and one
// that strikes blows, by the wall of its zone, where it is known when.
type spender struct {
	a        *Assessment
	st       *TrainState
	full     float64   // a full wind
	advances []advance // oldest first
}

// advance is the hands being moved on by eleven hours, and the blows that this
// makes beyond those of the wall.
type advance struct {
	at    time.Time
	blows float64
}

func newSpender(a *Assessment, st *TrainState) spender {
	sp := spender{a: a, st: st, full: fullOf(st.Train)}
	if a.Clock.Care.Change == AdvanceEleven && strikingOf(st.Train) != nil {
		for i := range a.Entries {
			e := &a.Entries[i]
			if n := a.advance(e, st.Train); n > 0 && !ticked(a.Entries, e) {
				sp.advances = append(sp.advances, advance{e.At, float64(n)})
			}
		}
	}
	return sp
}

// fullOf is what a full wind of a train holds.
func fullOf(t wear.Train) float64 {
	if s := strikingOf(t); s != nil {
		if t.Weight != nil && t.Weight.FullTurns()*t.Weight.TurnBlows > 0 {
			return t.Weight.FullTurns() * t.Weight.TurnBlows
		}
		return t.Run().Hours() / 24 * float64(s.PerDay())
	}
	return t.Run().Hours()
}

// strikingOf is what a train strikes; nil: it spends its wind by the hour.
func strikingOf(t wear.Train) *wear.Striking {
	if t.Kind == wear.Going || t.Striking == nil || t.Striking.PerDay() <= 0 {
		return nil
	}
	return t.Striking
}

// fact finds the last full wind or reading of the weight, and what was wound
// since; ok is false where there is neither.
func (sp spender) fact() (f windFact, ok bool) {
	a, t := sp.a, sp.st.Train
	if was := a.reuse.train(t.Code); was != nil && a.sameLog() {
		return was.Wind.fact, was.Wind.Known
	}
	each := sp.full / float64(t.Run()) // what a nanosecond of run is worth
	var since []charge
	for i := len(a.Entries) - 1; i >= 0; i-- {
		e := &a.Entries[i]
		if f.seen.IsZero() && sp.shows(e) {
			f.seen = e.At
		}
		if len(since) > 0 && a.foundDown(e, t) { // whatever was reckoned to be left is gone
			f.at, f.entry, f.down, ok = e.At, e, true, true
			break
		}
		c, tells := a.Clock.chargeOf(e, t)
		if !tells {
			continue
		}
		if c.full || c.read {
			f.at, f.entry, f.read, ok = e.At, e, !c.full, true
			f.left = sp.full
			if !c.full {
				f.left = math.Min(sp.full, each*float64(c.left+c.adds))
			}
			if c.part && c.adds == 0 {
				f.vague, f.why = e.At, c.untold
			}
			break
		}
		since = append(since, c)
	}
	if !ok {
		return windFact{}, false
	}
	if f.seen.Before(f.at) {
		f.seen = time.Time{}
	}
	for _, c := range slices.Backward(since) {
		if c.adds == 0 {
			f.vague, f.why = c.at, c.untold
			continue
		}
		f.left = math.Min(sp.full, math.Max(0, f.left-sp.spent(f.at, c.at))+each*float64(c.adds))
		f.at, f.parts, f.turns = c.at, f.parts+1, f.turns+float64(c.adds)/float64(t.PerTurn())
	}
	return f, true
}

// shows reports whether an entry shows the train going.
func (sp spender) shows(e *Entry) bool {
	if !e.concerns(sp.st.Train.Code) {
		return false
	}
	switch e.Kind {
	case Started, Set, Regulated:
		return true
	case Inspected:
		return e.FallLeft == nil || *e.FallLeft > 0
	case Wound:
		return sp.a.Clock.foundRight(e, sp.st.Train)
	}
	return false
}

// goes are the stretches from one instant to another in which the log does not
// have the train stopped.
func (sp spender) goes(from, to time.Time) [][2]time.Time {
	var out [][2]time.Time
	for _, s := range sp.st.Running.Stood(from, to) {
		if s[0].After(from) {
			out = append(out, [2]time.Time{from, s[0]})
		}
		from = s[1]
	}
	if to.After(from) {
		out = append(out, [2]time.Time{from, to})
	}
	return out
}

// spent is what it spends of its wind from one instant to another.
func (sp spender) spent(from, to time.Time) float64 {
	sum := 0.0
	for _, g := range sp.goes(from, to) {
		sum += sp.spends(g[0], g[1])
	}
	return sum
}

func (sp spender) spends(from, to time.Time) float64 {
	s := strikingOf(sp.st.Train)
	if s == nil {
		return to.Sub(from).Hours()
	}
	n := float64(s.Between(sp.dial(from), sp.dial(to)))
	for _, x := range sp.advances {
		if x.at.After(from) && !x.at.After(to) {
			n += x.blows
		}
	}
	return n
}

// dial is what a clock that is right shows, in minutes from a midnight long ago.
func (sp spender) dial(t time.Time) int {
	_, offset := t.In(sp.a.Zone).Zone()
	return int(math.Floor(float64(t.Unix()+int64(offset)) / 60))
}

// advance is the blows that a striking train makes beyond those of the wall
// when a setting moves the hands on by eleven hours to put them back one: those
// of the eleven hours, and those that it had struck already in the hour that
// comes twice.
func (a *Assessment) advance(e *Entry, t wear.Train) int {
	s := strikingOf(t)
	if e.Kind != Set || e.Change.IsZero() || a.Clock.Care.Change != AdvanceEleven || s == nil || !e.concerns(t.Code) {
		return 0
	}
	back := putBack(e.Change, a.Zone)
	if back == 0 {
		return 0
	}
	_, before := e.Change.Start(a.Zone).Zone()
	_, now := e.At.In(a.Zone).Zone()
	dial := int((e.At.Unix() + int64(before)) / 60) // as it showed, the old time
	wall := int((e.At.Unix() + int64(now)) / 60)
	byHand := *s
	byHand.Silent = [2]int{} // by hand it strikes at any hour
	return byHand.Between(dial, dial+12*60-int(back.Minutes())) + s.Between(wall, dial)
}

// out is when so much, left at an instant, is spent; the log has its say until
// now, and from then on the train goes.
func (sp spender) out(from time.Time, left float64) time.Time {
	for _, g := range sp.goes(from, sp.a.Now) {
		if n := sp.spends(g[0], g[1]); n >= left {
			return sp.find(g[0], left)
		} else if left -= n; g[1].After(from) {
			from = g[1]
		}
	}
	if from.Before(sp.a.Now) {
		from = sp.a.Now
	}
	return sp.find(from, left)
}

// find is when so much is spent from an instant on, if it goes.
func (sp spender) find(from time.Time, left float64) time.Time {
	s := strikingOf(sp.st.Train)
	if s == nil {
		return from.Add(time.Duration(left * float64(time.Hour)))
	}
	for _, x := range sp.advances {
		if !x.at.After(from) {
			continue
		}
		n := float64(s.Between(sp.dial(from), sp.dial(x.at)))
		if n >= left {
			break
		}
		if left -= n + x.blows; left <= 0 {
			return x.at
		}
		from = x.at
	}
	if left <= 0 {
		return from
	}
	at := sp.dial(from)
	if days := int(left)/s.PerDay() - 1; days > 0 {
		at, left = at+days*24*60, left-float64(days*s.PerDay())
	}
	for left > 0 {
		next := at - ((at%15)+15)%15 + 15
		left -= float64(s.Between(at, next))
		at = next
	}
	t, _ := onWall(time.Unix(int64(at)*60, 0).UTC(), sp.a.Zone)
	return t
}
