package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"endshake/wear"
)

// Kit is what one day of visits takes along.
type Kit struct {
	Person   string     `json:"person"` // Person.Slug
	Name     string     `json:"name"`   // of the person
	Day      Date       `json:"day"`
	Oils     []KitOil   `json:"oils"`
	Parts    []KitThing `json:"parts"` // to have ready, with what they are for
	Gauges   []KitThing `json:"gauges"`
	Tools    []KitThing `json:"tools"`
	Keys     []KitThing `json:"keys"` // who has them, For the site
	Permits  []KitThing `json:"permits"`
	Lifts    []KitThing `json:"lifts"`    // hoist, lift or scaffold
	Second   []KitThing `json:"second"`   // who comes along, or that somebody must be asked
	Cautions []string   `json:"cautions"` // each said once; sheets give their numbers, from 1
	Sheets   []KitSheet `json:"sheets"`   // a sheet for each clock, in the order of the day
}

// KitOil is how much of one oil the day takes.
type KitOil struct {
	Oil    string  `json:"oil"` // what it says on the bottle; empty: nobody recorded it
	Drops  float64 `json:"drops"`
	Points int     `json:"points"`
	Some   bool    `json:"some"` // not every point says how much
	// Amounts are those that are not in drops, as the oil maps have them, one for
	// each such point: "a smear".
	Amounts []string `json:"amounts,omitempty"`
	For     []string `json:"for"` // names of the clocks
}

// KitThing is one thing to take, with what it is for.
type KitThing struct {
	What string   `json:"what"`
	For  []string `json:"for"` // names of clocks or sites
}

// Kit is what the day at an index of Rounds.Days takes along. Without such a day
// it is empty.
func (r Rounds) Kit(s *Snapshot, day int) Kit {
	if day < 0 || day >= len(r.Days) {
		return Kit{}
	}
	d := r.Days[day]
	k := packing{s: s, Kit: Kit{Person: d.Person, Name: s.nameOf(d.Person), Day: d.Day}, number: map[string]int{}}
	for _, stop := range d.Stops {
		k.stop(stop)
	}
	k.close()
	return k.Kit
}

// packing is a kit in the making.
type packing struct {
	s *Snapshot
	Kit
	number map[string]int // of each caution
}

// need adds a thing to take, once.
func need(things []KitThing, what, for_ string) []KitThing {
	i := slices.IndexFunc(things, func(t KitThing) bool { return t.What == what })
	if i < 0 {
		return append(things, KitThing{what, []string{for_}})
	}
	if !slices.Contains(things[i].For, for_) {
		things[i].For = append(things[i].For, for_)
	}
	return things
}

// stop packs for one visit.
func (k *packing) stop(stop RoundStop) {
	site, _ := k.s.Fleet.Site(stop.Site)
	lift := strings.TrimSpace(site.Reach.Lift)
	if lift != "" { // a look from the ground takes none, and the plan does not know which it is
		lift = "if the work is up there: " + lift
	}
	for _, x := range []struct {
		to   *[]KitThing
		what string
	}{{&k.Keys, site.Reach.Keys}, {&k.Permits, site.Reach.Permit}, {&k.Lifts, lift}} {
		if what := strings.TrimSpace(x.what); what != "" {
			*x.to = need(*x.to, what, site.Name)
		}
	}
	if stop.Two {
		who := "somebody must be asked to come along: nobody is named yet"
		if stop.Second != "" {
			who = k.s.nameOf(stop.Second) + " comes along"
		}
		k.Second = need(k.Second, who, site.Name)
	}
	var clocks []string
	for i := range stop.Tasks {
		if c := stop.Tasks[i].Clock; !slices.Contains(clocks, c) {
			clocks = append(clocks, c)
		}
	}
	for _, slug := range clocks {
		if a, ok := k.s.Clock(slug); ok {
			k.clock(&a, stop)
		}
	}
}

// clock packs for one clock, and makes its sheet.
func (k *packing) clock(a *Assessment, stop RoundStop) {
	sheet := KitSheet{Clock: a.Clock.Slug, Name: a.Clock.Name, Site: a.Site.Slug, Place: a.Site.Place, Access: a.Site.Access, Arrive: stop.Arrive}
	for i := range stop.Tasks {
		t := &stop.Tasks[i]
		if t.Clock != a.Clock.Slug {
			continue
		}
		sheet.Tasks = append(sheet.Tasks, *t)
		k.task(a, &t.Task)
		for _, c := range k.warn(a, t) {
			if !slices.Contains(sheet.Cautions, c) {
				sheet.Cautions = append(sheet.Cautions, c)
			}
		}
	}
	slices.Sort(sheet.Cautions)
	sheet.fill(a)
	k.Sheets = append(k.Sheets, sheet)
}

// warn takes in what can hurt somebody doing a task, and gives its numbers.
func (k *packing) warn(a *Assessment, t *RoundTask) []int {
	var said []string
	for _, l := range a.Locks {
		said = append(said, a.Clock.Name+": "+l.Words())
	}
	said = append(said, cautions(t.Kind, Site{}, a.hazards(t.Task))...)
	if s := strings.TrimRight(strings.TrimSpace(a.Site.Caution), "."); s != "" {
		said = append(said, "At "+a.Site.Name+": "+s+".")
	}
	numbers := make([]int, len(said))
	for i, s := range said {
		if k.number[s] == 0 {
			k.Cautions = append(k.Cautions, s)
			k.number[s] = len(k.Cautions)
		}
		numbers[i] = k.number[s]
	}
	return numbers
}

// close ends the list with what every caution ends with.
func (k *packing) close() {
	if len(k.Cautions) > 0 {
		k.Cautions = append(k.Cautions, deferral)
	}
	slices.SortStableFunc(k.Oils, func(a, b KitOil) int { return cmp.Compare(a.Oil, b.Oil) })
}

// toolsFor is what each kind of work usually takes beside what the clock's own
// description names (common practice, no source).
var toolsFor = map[TaskKind][]string{
	Winding:    {"the winding handle, where it is not kept at the clock"},
	Oiling:     {"oiler or pin for single drops", "lint-free cloths and pegwood", "bag for oily rags"},
	Inspection: {"head torch and hand lamp", "soft brush", "camera"},
	Measuring:  {"head torch and hand lamp", "ties to hold fly and hammers, blocks for the barrel", "means to let the weight down or hold it"},
	NearLimit:  {"means to let the weight down or hold it", "ties to hold fly and hammers, blocks for the barrel", "the clockmaker's own tools for bushes and faces"},
	Mending:    {"means to let the weight down or hold it", "hand tools for what the inspection found"},
	Locked:     {"head torch and hand lamp", "barrier tape and a notice", "camera"},
	LineLook:   {"thick gloves", "head torch and hand lamp", "cloth to draw along the line"},
	LineAge:    {"thick gloves", "lifting gear, rated and examined", "means to let the weight down or hold it"},
	Visiting:   {"head torch and hand lamp", "hand tools", "ties to hold fly and hammers, blocks for the barrel", "camera"},
	Setting:    {"a telephone with the right time"},
	TimeChange: {"a telephone with the right time", "ear protection"},
	Seasonal:   {"hand tools"},
	PowerCheck: {"head torch and hand lamp", "a tester to prove dead, for a competent person"},
	Restart:    {"head torch and hand lamp", "a telephone with the right time"},
}

// task packs for one task.
func (k *packing) task(a *Assessment, t *Task) {
	name := a.Clock.Name
	for _, tool := range toolsFor[t.Kind] {
		k.Tools = need(k.Tools, tool, name)
	}
	switch t.Kind {
	case Oiling:
		k.oil(a, t)
	case Measuring:
		for i := range a.Outlooks {
			if o := &a.Outlooks[i]; t.reads(o.Bearing.Code) {
				k.Gauges = need(k.Gauges, o.gauge(), name)
			}
		}
	case LineLook:
		k.Gauges = need(k.Gauges, "vernier caliper for the line's diameter", name)
	case LineAge:
		l, _ := a.Clock.line(t.Subject)
		k.Parts = need(k.Parts, l.part(), name)
	case NearLimit:
		if o, ok := a.Outlook(t.Subject); ok {
			k.Parts = need(k.Parts, o.part(), name)
			k.Gauges = need(k.Gauges, o.gauge(), name)
		}
	}
}

// oil adds what an oiling takes, by the oil map.
func (k *packing) oil(a *Assessment, t *Task) {
	wet := false
	for _, p := range a.Clock.pointsOf(t.Subject) {
		if !p.Dry {
			wet = true
			k.bottle(p, a.Clock.Name)
		}
	}
	if !wet {
		k.bottle(nil, a.Clock.Name)
	}
}

// bottle adds what one point takes, nil: of a clock of which none is described.
func (k *packing) bottle(p *OilPoint, clock string) {
	oil := ""
	if p != nil {
		oil = cmp.Or(p.Oil, string(p.Kind))
	}
	i := slices.IndexFunc(k.Oils, func(o KitOil) bool { return o.Oil == oil })
	if i < 0 {
		i = len(k.Oils)
		k.Oils = append(k.Oils, KitOil{Oil: oil})
	}
	o := &k.Oils[i]
	switch {
	case p == nil:
		o.Some = true
	case p.Amount != "" && p.Amount != dropsWords(p.Drops): // as the clock's own sheet says it
		o.Points, o.Amounts = o.Points+1, append(o.Amounts, p.Amount)
	default:
		o.Points, o.Drops, o.Some = o.Points+1, o.Drops+p.Drops, o.Some || p.Drops == 0
	}
	if !slices.Contains(o.For, clock) {
		o.For = append(o.For, clock)
	}
}

// Words says it: "9 points, 14 drops of fine clock oil", "3 points, 2 drops and a
// smear of grease".
func (o KitOil) Words() string {
	if o.Points == 0 {
		return "oil as the clock has it: no oil map is described"
	}
	var much []string
	if o.Drops > 0 {
		much = append(much, dropsWords(o.Drops))
	}
	times := map[string]int{}
	for _, a := range o.Amounts {
		if times[a]++; times[a] == 1 {
			much = append(much, a)
		}
	}
	for i, a := range much {
		if times[a] > 1 {
			much[i] += fmt.Sprintf(" (%d times)", times[a])
		}
	}
	out := Count(o.Points, "point", "points") + ","
	if len(much) > 0 {
		out += " "
		if o.Some {
			out += "at least "
		}
		out += And(much)
	}
	return out + " of " + cmp.Or(o.Oil, "oil of a kind that is not recorded")
}

// reads reports whether a measuring task asks for a bearing: for its own, for each
// of those due together, or for all where it is of none.
func (t *Task) reads(bearing string) bool {
	switch {
	case t.Kind != Measuring:
		return false
	case len(t.bearings) > 0:
		return slices.Contains(t.bearings, bearing)
	}
	return t.Subject == "" || strings.TrimPrefix(t.Subject, "bearing/") == bearing
}

// gauge is what reads a bearing: what it was read with last, or what usually does
// (common practice, no source).
func (o *Outlook) gauge() string {
	if p, ok := o.lastReading(); ok && p.Reading.Instrument != "" {
		return p.Reading.Instrument + ", as last time"
	}
	if o.Bearing.Shake == wear.EndShake {
		return "feeler gauges, or a dial gauge along the arbor, for end-shake"
	}
	return "dial gauge with a stand, across the arbor, for side-shake"
}

// lastReading is the last reading of the present part, or of the one before.
func (o *Outlook) lastReading() (Point, bool) {
	for _, p := range slices.Backward(o.Parts) {
		if n := len(p.Readings); n > 0 {
			return p.Readings[n-1], true
		}
	}
	return Point{}, false
}

// part is a line as it is ordered.
func (l Line) part() string {
	out := Capital(l.name()) + ":"
	for _, s := range []string{l.Material, l.Construction} {
		if s != "" {
			out += " " + s + ","
		}
	}
	if l.Diameter > 0 {
		return out + " " + l.Diameter.Inches() + " in diameter; measure its length before it is ordered"
	}
	return out + " its diameter is not described; measure it and its length before it is ordered"
}

// part is what the work on a worn bearing takes.
func (o *Outlook) part() string {
	b, size := o.Bearing, ""
	what := "bush"
	if b.Form == wear.ThrustFace {
		what = "washer or face"
		if b.Outer > 0 && b.Inner > 0 {
			size = fmt.Sprintf("%s outside, %s inside", b.Outer.Inches(), b.Inner.Inches())
		}
	} else if b.Pivot > 0 {
		size = "for a pivot of " + b.Pivot.Inches()
		if b.Long > 0 {
			size += ", " + b.Long.Inches() + " long"
		}
	}
	out := fmt.Sprintf("New %s for the %s", what, NameOf(b.Name, o.Arbor.Name))
	for _, s := range []string{string(b.Pair), size} {
		if s != "" {
			out += ", " + s
		}
	}
	return out
}
