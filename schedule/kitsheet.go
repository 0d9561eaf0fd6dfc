package schedule

import (
	"fmt"
	"slices"

	"endshake/wear"
)

// KitSheet is one clock's page of the day.
type KitSheet struct {
	Clock          string       `json:"clock"`
	Name           string       `json:"name"` // Clock.Slug, Clock.Name
	Site           string       `json:"site"` // Site.Slug
	Place          string       `json:"place"`
	Access         string       `json:"access"`
	Arrive         Minutes      `json:"arrive"`
	Tasks          []RoundTask  `json:"tasks"`
	Cautions       []int        `json:"cautions"` // numbers of Kit.Cautions
	Oiling         []string     `json:"oiling"`   // the oil map of what is oiled, a line each
	Readings       []KitReading `json:"readings"`
	Lines          []string     `json:"lines"`          // what is known of its lines
	LastErrorFound string       `json:"lastErrorFound"` // what the dial was found at, in words; empty: nothing is logged
	Fields         []string     `json:"fields"`         // what to write down, a label each
}

// KitReading is one bearing on a sheet.
type KitReading struct {
	Bearing string `json:"bearing"` // code
	About   string `json:"about"`   // "centre arbor, front bush"
	Measure bool   `json:"measure"` // it is to be read this day
	Shake   string `json:"shake"`   // "end-shake", "side-shake"
	Last    string `json:"last"`    // its last reading in both systems, with the day; empty: never read
	Watch   string `json:"watch"`   // limits in both systems; empty: none
	Act     string `json:"act"`
	Stop    string `json:"stop"`
}

// fill writes what is known of the clock, and what to write down.
func (k *KitSheet) fill(a *Assessment) {
	kinds := map[TaskKind]bool{}
	for i := range k.Tasks {
		t := &k.Tasks[i].Task
		kinds[t.Kind] = true
		if t.Kind == Oiling {
			for _, line := range OilMap(*a, t.Subject) {
				if !slices.Contains(k.Oiling, line) {
					k.Oiling = append(k.Oiling, line)
				}
			}
		}
	}
	for i := range a.Outlooks {
		o := &a.Outlooks[i]
		r := KitReading{Bearing: o.Bearing.Code, About: NameOf(o.Bearing.Name, o.Arbor.Name), Shake: string(o.Bearing.Shake)}
		for j := range k.Tasks {
			t := &k.Tasks[j].Task
			r.Measure = r.Measure || t.reads(o.Bearing.Code) || t.Kind == NearLimit && t.Subject == o.Bearing.Code
		}
		if p, ok := o.lastReading(); ok {
			r.Last = fmt.Sprintf("%s on %s", p.Reading.Value, a.dayOf(p.At).Words())
			if p.Doubt > .5 {
				r.Last += ", which does not fit"
			}
		}
		r.Watch, r.Act, r.Stop = limitWords(o.Watch), limitWords(o.Act), limitWords(o.Stop)
		k.Readings = append(k.Readings, r)
	}
	slices.SortStableFunc(k.Readings, func(x, y KitReading) int { // those to be read first
		if x.Measure != y.Measure {
			return map[bool]int{true: -1, false: 1}[x.Measure]
		}
		return 0
	})
	k.lines(a, kinds)
	k.LastErrorFound = a.Time.lastWords(a.dayOf)
	k.fields(a, kinds)
}

func limitWords(l *wear.Limit) string {
	if l == nil {
		return ""
	}
	return l.Size.String()
}

// lines tells of the lines that are looked at or renewed.
func (k *KitSheet) lines(a *Assessment, kinds map[TaskKind]bool) {
	if !kinds[LineLook] && !kinds[LineAge] {
		return
	}
	for _, l := range a.Lines {
		out := Capital(l.Line.name())
		if l.Line.Diameter > 0 {
			out += ", " + l.Line.Diameter.Inches() + " in diameter when new"
		}
		if l.Check != nil {
			out += ". " + l.findings(*l.Check)
		} else {
			out += ". Nobody has counted its wires."
		}
		k.Lines = append(k.Lines, out)
	}
}

// fieldsFor is what is to be written down of each kind of work (trade practice as
// in service reports; common practice, no source).
var fieldsFor = map[TaskKind][]string{
	Winding:    {"Turns to full"},
	Oiling:     {"Oil as it was found: clean, darkened, gummed or dry", "Residue: clear, green or black", "Oil that was put in"},
	Inspection: {"Condition: sound, watch or act", "Oil as it was found: clean, darkened, gummed or dry"},
	NearLimit:  {"Work done and part fitted", "Shake after the work"},
	Mending:    {"What was mended, and how"},
	Locked:     {"What was seen, and who may clear the lock"},
	LineLook:   {"Broken wires in 6 diameters, in 30", "Diameter at the marked place", "Rust"},
	LineAge:    {"Line that was fitted: construction and diameter"},
	Visiting:   {"Condition: sound, watch or act", "Recommended, and what was not checked"},
	TimeChange: {"Hands moved by, and the error after"},
	Seasonal:   {"What was done"},
	PowerCheck: {"Condition: sound, watch or act"},
	Restart:    {"Why it stood, and what was done"},
}

// fields lists what to write down.
func (k *KitSheet) fields(a *Assessment, kinds map[TaskKind]bool) {
	k.Fields = []string{"Arrived, left, and who was there", "Found going or stopped", "Error found (s, + fast)", "Error left (s, + fast)"}
	for _, kind := range TaskKinds {
		if !kinds[kind] {
			continue
		}
		for _, f := range fieldsFor[kind] {
			if !slices.Contains(k.Fields, f) {
				k.Fields = append(k.Fields, f)
			}
		}
	}
	for _, r := range k.Readings {
		if r.Measure {
			k.Fields = append(k.Fields, fmt.Sprintf("%s of the %s (mm or thou), and the gauge", Capital(r.Shake), r.About))
		}
	}
	if slices.ContainsFunc(k.Readings, func(r KitReading) bool { return r.Measure }) {
		k.Fields = append(k.Fields, "Temperature in the clock room (°C or °F)")
	}
	k.Fields = append(k.Fields, "Anything odd")
}
