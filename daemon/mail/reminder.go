package mail

import (
	"cmp"
	"fmt"
	htmltemplate "html/template"
	"math"
	"net/url"
	"slices"
	"strings"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

// stillCaution stands where the facts bring no caution of their own (common
// practice, no source).
const stillCaution = "Weight down or held, barrel blocked and springs let down before anything is touched; somebody knows you are up. Local rules and licensed people decide."

// cardView is a letter about one clock.
type cardView struct {
	frame
	Clock      string
	Where      string // the clock and its site
	Place      string
	Access     string
	Sentence   string           // the one thing to know
	More       string           // what else the reader must know first; empty: nothing
	Act        bool             // what to do comes before the figures
	Figures    string           // over the rows; empty: nothing
	Page       string           // address of the bearing's page, or empty
	Chart      htmltemplate.URL // where its picture is; empty: none
	Rows       []pair           // what, and its figure
	Actions    []action
	Unmeasured string // empty: not spoken of
	Others     pair   // a heading, and who else
}

// action is something to do, how where that is not plain, and what can hurt
// somebody doing it; empty where it is something to leave alone.
type action struct {
	What, How, Caution string
	Ask                *ask // how to say what came of it; nil: not by this letter
}

// card is what the letters about one clock have in common.
func (w writing) card() cardView {
	l, a := w.l, w.l.Clocks[0]
	where := name(a.Clock.Name)
	if site := name(a.Site.Name); site != where {
		where += ", " + site
	}
	v := cardView{frame: w.frame, Clock: name(a.Clock.Name), Where: where, Place: clean(a.Site.Place), Access: clean(a.Site.Access),
		Others: pair{"Who else knows", others(l)}}
	v.Locks = locks(l)
	return v
}

// about is what the letters about one bearing have in common beyond that.
func (w writing) about() cardView {
	v, o := w.card(), *w.l.Outlook
	v.Sentence, v.Page = clean(o.Sentence), page(w.Base, w.l.Clocks[0], o)
	w.n.Subject = o.Bearing.Code
	return v
}

// send draws the chart of a letter about a bearing and puts it into words.
func (w writing) send(v cardView) (content, error) {
	w.n.Title = v.Title
	var pictures []picture
	v.Chart, pictures = w.chart()
	return w.render("card", v, pictures)
}

// reminder puts the letter about a bearing near its limit into words.
func (w writing) reminder() (content, error) {
	v, l := w.about(), w.l
	a, o := l.Clocks[0], *l.Outlook
	v.Actions, v.Unmeasured = w.actions(a, o), unmeasured(a, o)
	stands := "is near its limit"
	if t := taskOf(a, schedule.NearLimit, o.Bearing.Code); o.Over && t != nil && t.Past != "" {
		stands = "is " + clean(t.PastLimit)
	} else if o.Over {
		stands = "is more likely than not over its limit"
	}
	v.Title = fmt.Sprintf("%s: %s %s", v.Clock, bearingName(o), stands)
	v.Rows = []pair{
		{"Bearing", bearingWords(o)},
		{"Condition", string(o.Condition)},
		{"Level now", level(o)},
		{"Limit", limit(o)},
	}
	for _, row := range []pair{{"Used up", usedUp(o)}, {"Rate of wear", rate(o)}, {"Oil", oil(o)}, {"How sure", clean(o.Confidence)}} {
		if row.Words != "" {
			v.Rows = append(v.Rows, row)
		}
	}
	return w.send(v)
}

func bearingName(o schedule.Outlook) string {
	return name(schedule.NameOf(o.Bearing.Name, o.Arbor.Name))
}

// bearingWords names a bearing, its train, and the freedom that is followed.
func bearingWords(o schedule.Outlook) string {
	return strings.Join(nonEmpty(bearingName(o), name(o.Train.Name), clean(string(o.Bearing.Shake))), ", ")
}

// page is the address of the bearing's own page, or nothing.
func page(base string, a schedule.Assessment, o schedule.Outlook) string {
	if base == "" {
		return ""
	}
	return base + "/clock/" + url.PathEscape(a.Clock.Slug) + "/bearing/" + url.PathEscape(o.Bearing.Code)
}

// rate says how fast it wears now, and when that changed.
func rate(o schedule.Outlook) string {
	var out []string
	if y := o.PerYear[1]; o.Taught && y > 0 && !math.IsInf(y, 0) {
		out = append(out, "about "+wear.Fine(y)+" a year")
	}
	if !o.Changed.IsZero() {
		out = append(out, fmt.Sprintf("the rate changed after %s; after a change the forecast is less sure than it looks", o.Changed.Words()))
	}
	return strings.Join(out, "; ")
}

// tellLate is the share of the wear from which on late oiling is told
// (judgement, no source).
const tellLate = 0.05

// oil says what late oiling has cost, where it did and the fleet's readings bear
// it out.
func oil(o schedule.Outlook) string {
	x := o.Oil
	if x == nil || !x.InForce || !(x.Late > tellLate) {
		return ""
	}
	return fmt.Sprintf("aged or gone for %.0f %% of its running; by the usual figures for its materials late oiling made %.0f %% of the wear; the forecast reckons with it",
		100*(x.Aged+x.Dry), 100*x.Late)
}

// level is the level now with its standard uncertainty, in both systems.
func level(o schedule.Outlook) string {
	if !o.Known || math.IsNaN(o.Level.Mean) || math.IsInf(o.Level.Mean, 0) {
		return "not known, for no reading tells it yet"
	}
	s := wear.Hundredths(o.Level.Mean).String()
	if sd := wear.Hundredths(o.Level.SD); sd > 0 {
		s += ", give or take " + sd.String()
	}
	return s
}

// limit is the limit that binds, and whose it is: a mesh's, or that of whoever
// set it.
func limit(o schedule.Outlook) string {
	if o.Limit == nil {
		return "none is set"
	}
	whose := "set by"
	if ofMesh(o) {
		whose = "from the mesh"
	}
	beyond := ""
	if o.Limit == o.Stop {
		beyond = "; beyond it the clock must not run"
	}
	return fmt.Sprintf("%v, %s: %s%s", o.Limit.Size, whose, cmp.Or(strings.TrimSuffix(clean(o.Limit.Source), "."), "not recorded"), beyond)
}

// usedUp is the share used of the way to its limit; nothing where that is not known.
func usedUp(o schedule.Outlook) string {
	if !o.Known || o.Limit == nil || math.IsNaN(o.Used) {
		return ""
	}
	of := "of its limit"
	if way := chart.Way(o); way != "" {
		of = "of the way " + way
	}
	return fmt.Sprintf("%.0f %% %s", 100*o.Used, of)
}

// ofMesh reports whether the limit that binds comes from a mesh; one that
// somebody set wins where the two are alike.
func ofMesh(o schedule.Outlook) bool {
	size := o.Limit.Size
	for _, set := range []*wear.Limit{o.Bearing.Act, o.Bearing.Watch} {
		if set != nil && set.Size == size {
			return false
		}
	}
	return slices.ContainsFunc(o.Meshes, func(m schedule.MeshState) bool { return m.Watch == size || m.Act == size || m.Stop == size })
}

// actions says what to do about a bearing: measure again, and plan the work.
func (w writing) actions(a schedule.Assessment, o schedule.Outlook) []action {
	var out []action
	if !o.Measure.IsZero() {
		what := "Measure again by " + o.Measure.Words()
		if why := clean(o.Why); why != "" {
			what += ": " + why
		}
		out = append(out, action{What: what, Caution: cautionOf(a, schedule.Measuring), Ask: w.askOf(a, schedule.Measuring, o.Bearing.Code)})
	}
	work := taskOf(a, schedule.NearLimit, o.Bearing.Code)
	switch {
	case work != nil:
		out = append(out, action{What: "Plan the work on this bearing. " + window(*work), Caution: clean(work.Caution)})
	case o.Condition == schedule.Act || len(out) == 0:
		out = append(out, action{What: "Plan the work on this bearing with the conservator and the clockmaker", Caution: cautionOf(a, schedule.NearLimit)})
	}
	return out
}

// taskOf finds a task of a clock; nil: there is none.
func taskOf(a schedule.Assessment, kind schedule.TaskKind, subject string) *schedule.Task {
	i := slices.IndexFunc(a.Tasks, func(t schedule.Task) bool { return t.Kind == kind && t.Subject == subject })
	if i < 0 {
		return nil
	}
	return &a.Tasks[i]
}

// askOf is how to answer to a task of which only kind and subject are known.
func (w writing) askOf(a schedule.Assessment, kind schedule.TaskKind, subject string) *ask {
	return w.ask(a, schedule.Task{Clock: a.Clock.Slug, Kind: kind, Subject: subject})
}

// cautionOf finds the caution for a kind of task on a clock.
func cautionOf(a schedule.Assessment, kind schedule.TaskKind) string {
	for _, t := range a.Tasks {
		if t.Kind == kind && t.Caution != "" {
			return clean(t.Caution)
		}
	}
	return strings.Join(nonEmpty(clean(a.Site.Caution), stillCaution), " ")
}

// unmeasured says what was not looked at, so that nobody takes silence for a
// clean bill.
func unmeasured(a schedule.Assessment, about schedule.Outlook) string {
	var names []string
	for _, o := range a.Outlooks {
		if o.Bearing.Code == about.Bearing.Code {
			continue
		}
		if n := len(o.Parts); n == 0 || len(o.Parts[n-1].Readings) == 0 {
			names = append(names, name(schedule.NameOf(o.Bearing.Name, o.Arbor.Name)))
		}
	}
	rest := "Teeth, pallets, lines and pulleys are not part of these readings."
	if len(names) == 0 {
		return rest
	}
	return fmt.Sprintf("Without a reading since they were fitted: %s. %s", strings.Join(names, "; "), rest)
}

// others names who else gets the letter.
func others(l schedule.Letter) string {
	names := namesOf(l.Others)
	if len(names) == 0 {
		return "Nobody else gets this letter."
	}
	return "Also told, each at the hours that they chose: " + schedule.And(names) + "."
}

func namesOf(people []schedule.Person) []string {
	var names []string
	for _, p := range people {
		names = append(names, name(cmp.Or(p.Name, p.Slug)))
	}
	return names
}

func nonEmpty(parts ...string) []string {
	return slices.DeleteFunc(parts, func(s string) bool { return s == "" })
}
