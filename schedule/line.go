package schedule

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"endshake/wear"
)

// LineState is what is recorded of a line. Nothing of it is foretold.
type LineState struct {
	Line     Line
	FittedAt Date // of the line that hangs now; zero: not known
	Windings int  // logged since
	Checked  Date // last looked at since then; zero: never
	Check    *LineCheck
	// Note says what the looks mean, beside the published figures for other
	// trades.
	Note string
	// Past: a look found as many broken wires as a crane's rope is discarded at,
	// a diameter down by as much, or a broken strand, and no conservator or
	// clockmaker has found less or cleared the lock since.
	Past bool
	// Broken: wires are broken, fewer than those, or its diameter is down by
	// more than a mine hoist's rope may be.
	Broken bool
	Found  Date   // when Past or Broken was found
	Act    Date   // when a look said to act on it, and no look by the trade has said less since; zero: none
	Source string // of what is to be done then
	// Replace is the day on which it reaches the age at which the conservator
	// has it replaced; zero: none is set, or it is not known when it was fitted.
	Replace Date
}

// name is the line in words.
func (l Line) name() string {
	switch {
	case l.Name != "":
		return l.Name
	case l.Train != "":
		return "line " + l.Code + " of the " + l.Train + " train"
	}
	return "line " + l.Code
}

// line finds a line by its code.
func (c Clock) line(code string) (Line, bool) {
	for _, l := range c.Care.Lines {
		if l.Code == code && code != "" {
			return l, true
		}
	}
	return Line{}, false
}

// nameOfLine is a line in words; of one that is not described, its code.
func (c Clock) nameOfLine(code string) string {
	if l, ok := c.line(code); ok {
		return l.name()
	}
	if code == "" {
		return "a line"
	}
	return "line " + code
}

// lineStates are what is recorded of the clock's lines.
func lineStates(a *Assessment) []LineState {
	var out []LineState
	for _, l := range a.Clock.Care.Lines {
		out = append(out, lineState(a, l))
	}
	return out
}

func lineState(a *Assessment, l Line) LineState {
	s := LineState{Line: l, FittedAt: l.FittedAt}
	fitted := s.FittedAt.Start(a.Zone)
	for i := range a.Entries {
		e := &a.Entries[i]
		switch {
		case e.Kind == Repaired && e.Work == NewLine && e.Line == l.Code:
			s = LineState{Line: l, FittedAt: a.dayOf(e.At)}
			fitted = s.FittedAt.Start(a.Zone)
		case !s.FittedAt.IsZero() && e.At.Before(fitted): // of the line before, as it is described
		case e.Kind == Wound && e.concerns(l.Train):
			s.Windings++
		case e.Kind == Inspected && e.Line == l.Code:
			s.look(a, *e, a.dayOf(e.At))
		case e.Kind == Noted && e.Clears == DoNotRun: // by name, and so by their trade
			s.Past, s.Broken, s.Found, s.Source = false, false, Date{}, ""
		}
	}
	s.Replace = l.worn(s.FittedAt)
	s.Note = s.note()
	return s
}

// worn is the day on which a line is as old as it may become.
func (l Line) worn(fitted Date) Date {
	if fitted.IsZero() || !(l.MostYears > 0) || l.MostYears > 500 {
		return Date{}
	}
	years, part := math.Modf(l.MostYears)
	return MonthDay{fitted.Month, fitted.Day}.in(fitted.Year + int(years)).Add(int(math.Round(part * 365.25)))
}

// look takes in what one look found. Broken wires do not mend: that somebody
// found fewer changes nothing, unless it is their trade.
func (s *LineState) look(a *Assessment, e Entry, on Date) {
	s.Checked = on
	s.act(a, e, on)
	if e.Check == nil {
		return
	}
	s.Check = e.Check
	past, broken := s.judge(*e.Check)
	worse := past || broken && !s.Past
	trade := e.Visit || e.By != "" && a.Clock.Has(e.By, unlockers...)
	switch {
	case !worse && !trade, past == s.Past && broken == s.Broken:
		return
	case past || broken:
		s.Past, s.Broken, s.Found, s.Source = past, broken, on, "judgement, no source"
		if e.Check.Strand || e.Check.Wires6 > 0 || e.Check.Wires30 > 0 {
			s.Source = adviceOnWires
		}
	default:
		s.Past, s.Broken, s.Found, s.Source = false, false, Date{}, ""
	}
}

// act takes in that a look said to act on the line, whatever was counted, which
// only a look by the trade takes back.
func (s *LineState) act(a *Assessment, e Entry, on Date) {
	switch {
	case e.Found == Act && s.Act.IsZero():
		s.Act = on
	case e.Found != Act && (e.Visit || a.Clock.unlocks(&e)):
		s.Act = Date{}
	}
}

// toAct asks the trade to look at a line that somebody said to act on.
func (s *LineState) toAct() Task {
	return Task{
		Kind: LineLook, Subject: s.Line.Code, About: s.Line.name(), From: s.Act, Due: s.Act, Latest: s.Act,
		Reason: s.Note, Source: "the log", Rank: AtLimit,
		Confidence: "firm: found on " + s.Act.Words(), Evidence: "inspected on " + s.Checked.Words(),
		Next: "Have the line looked at by the clockmaker.",
	}
}

// judge lays what was found beside the figures for other trades.
func (s *LineState) judge(k LineCheck) (past, broken bool) {
	in6, in30 := wear.CraneDiscard(s.Line.OuterWires)
	thinned := s.thinned(k)
	past = k.Strand || k.Wires6 >= in6 || k.Wires30 >= in30 || thinned >= wear.CraneThinned
	return past, !past && (k.Wires6 > 0 || k.Wires30 > 0 || thinned > wear.HoistThinned)
}

// thinned is the share of its diameter that a line has lost; 0: not known.
func (s *LineState) thinned(k LineCheck) float64 {
	if k.Diameter <= 0 || s.Line.Diameter <= 0 {
		return 0
	}
	return max(0, float64(s.Line.Diameter-k.Diameter)/float64(s.Line.Diameter))
}

// adviceOnWires is who says of any broken wire to stop using the clock until a
// professional clears it.
const adviceOnWires = "turretclocks.com, owner's advice, p. 3"

// note says what the last look means.
func (s *LineState) note() string {
	var parts []string
	if s.Past || s.Broken {
		parts = append(parts, fmt.Sprintf("Damage found on %s: stop using the clock until a professional clears it (%s).", s.Found.Words(), s.Source))
	}
	if !s.Act.IsZero() {
		parts = append(parts, fmt.Sprintf("Found on %s to need action: a look by the clockmaker is due.", s.Act.Words()))
	}
	switch k := s.Check; {
	case s.Checked.IsZero():
		parts = append(parts, "Not looked at since it was fitted, as far as is logged.")
	case k == nil:
		parts = append(parts, "Looked at on "+s.Checked.Words()+"; nothing was counted.")
	default:
		parts = append(parts, s.findings(*k), s.figures())
	}
	switch {
	case s.Line.MostYears > 0 && s.FittedAt.IsZero():
		parts = append(parts, fmt.Sprintf("It is to be replaced after %g years, but it is not known when it was fitted.", s.Line.MostYears))
	case !s.Replace.IsZero():
		parts = append(parts, fmt.Sprintf("To be replaced for its age by %s%s.", s.Replace.Words(), inBrackets(s.Line.Source)))
	}
	return strings.Join(parts, " ")
}

// findings says what was found.
func (s *LineState) findings(k LineCheck) string {
	var parts []string
	if k.Strand {
		parts = append(parts, "a broken strand")
	}
	switch {
	case k.Wires6 > 0:
		parts = append(parts, fmt.Sprintf("%s in 6 diameters", Count(k.Wires6, "broken wire", "broken wires")))
	case k.Wires30 == 0 && !k.Strand:
		parts = append(parts, "no broken wire")
	}
	if k.Wires30 > 0 {
		parts = append(parts, fmt.Sprintf("%s in 30 diameters", Count(k.Wires30, "broken wire", "broken wires")))
	}
	if k.Diameter > 0 {
		words := k.Diameter.Inches()
		if s.Line.Diameter > 0 {
			words += fmt.Sprintf(" thick, %.1f %% under %s", 100*s.thinned(k), s.Line.Diameter.Inches())
		}
		parts = append(parts, words)
	}
	if rust := strings.Join(strings.Fields(k.Rust), " "); rust != "" {
		parts = append(parts, "rust: "+strings.TrimRight(rust, ". "))
	}
	return fmt.Sprintf("%s on %s.", Capital(And(parts)), s.Checked.Words())
}

// figures are those of other trades for such a line.
func (s *LineState) figures() string {
	in6, in30 := wear.CraneDiscard(s.Line.OuterWires)
	of := fmt.Sprintf("%d outer wires", s.Line.OuterWires)
	if s.Line.OuterWires <= 0 {
		of = "the fewest outer wires, since theirs are not known"
	}
	out := fmt.Sprintf("Figure for cranes, an analogue: discarded at %d in 6 diameters or %d in 30 (ISO 4309, for %s), a diameter 10 %% down, or any broken strand.", in6, in30, of)
	if strands, wires, ok := wear.RopeOf(s.Line.Construction); ok {
		all, one := wear.HoistDiscard(strands, wires)
		out += fmt.Sprintf(" Figure for US mine hoists, an analogue: retired at %d in one lay or %d in one strand of it, or over 6 %% down (30 CFR 56.19024).", all, one)
	}
	return out
}

// damagedLine is a line on which damage was found that stops the clock.
func (a *Assessment) damagedLine(code string) (LineState, bool) {
	i := slices.IndexFunc(a.Lines, func(s LineState) bool { return s.Line.Code == code && code != "" && (s.Past || s.Broken) })
	if i < 0 {
		return LineState{}, false
	}
	return a.Lines[i], true
}

// lineTasks are the tasks of the clock's lines: looks by policy, or at once
// where one found something, and the age that the conservator sets.
func lineTasks(a *Assessment) []Task {
	var out []Task
	for _, s := range a.Lines {
		if t, ok := lineLook(a, s); ok {
			out = append(out, t)
		}
		if s.Replace.IsZero() {
			continue
		}
		w := usual[LineAge]
		out = append(out, Task{
			Kind: LineAge, Subject: s.Line.Code, About: s.Line.name(), Source: s.Line.Source,
			From: s.Replace.Add(-w.lead), Due: s.Replace, Latest: s.Replace.Add(w.grace),
			Reason:     fmt.Sprintf("fitted on %s, to be replaced after %g years%s", s.FittedAt.Words(), s.Line.MostYears, inBrackets(s.Line.Source)),
			Confidence: "firm: the age that is set for it; how long a line lasts is not foretold",
			Evidence:   fmt.Sprintf("fitted on %s, %s logged since", s.FittedAt.Words(), Count(s.Windings, "winding", "windings")),
		})
	}
	if len(a.Lines) == 0 { // none is described, and so none can be named
		for _, p := range a.Clock.Policies {
			if p.Task == LineLook {
				out = append(out, byPolicy(a, p))
			}
		}
	}
	return out
}

// lineLook asks for a look at one line.
func lineLook(a *Assessment, s LineState) (Task, bool) {
	if s.Past || s.Broken {
		t := Task{
			Kind: LineLook, Subject: s.Line.Code, About: s.Line.name(), From: s.Found, Due: s.Found, Latest: s.Found,
			Reason: s.Note, Source: s.Source,
			Confidence: "firm: found on " + s.Found.Words(), Evidence: "inspected on " + s.Checked.Words(), Rank: Danger,
			Next: "Stop using the clock, and ask the clockmaker to look at the line.",
		}
		return t, true
	}
	if !s.Act.IsZero() {
		return s.toAct(), true
	}
	p, ok := a.Clock.linePolicy(s.Line)
	if !ok {
		return Task{}, false
	}
	p.Line, p.Train = s.Line.Code, s.Line.Train
	last, missing := a.lastDone(p)
	t := a.sinceLast(p, last, missing, s.FittedAt)
	t.Subject, t.About = s.Line.Code, s.Line.name()
	t.Evidence = fmt.Sprintf("%s logged since it was fitted", Count(s.Windings, "winding", "windings"))
	if !s.Checked.IsZero() {
		t.Evidence = "inspected on " + s.Checked.Words() + "; " + t.Evidence
	}
	return t, true
}

// linePolicy finds the policy for looking at a line that fits it best: its own,
// else its train's, else the clock's.
func (c Clock) linePolicy(l Line) (Policy, bool) {
	return c.closest(LineLook, l.Train, l.Code, func(p Policy) string { return cmp.Or(p.Bearing, p.Line) })
}
