package mail

import (
	"cmp"
	"fmt"
	htmltemplate "html/template"
	"math"
	"slices"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// stillCaution stands where the facts bring no caution of their own (common
// practice, no source).
const stillCaution = "Weight down or held, barrel blocked and springs let down before anything is touched; somebody knows you are up. Local rules and licensed people decide."

type reminderView struct {
	frame
	Clock, Site string
	Access      string
	Sentence    string
	Chart       htmltemplate.URL // where its picture is; empty: none
	Rows        []pair           // what, and its figure
	Actions     []action
	Unmeasured  string
	Others      string
}

// action is something to do, and what can hurt somebody doing it.
type action struct{ What, Caution string }

// reminder puts the letter about one bearing into words.
func reminder(l schedule.Letter, f frame) reminderView {
	a, o := l.Clocks[0], *l.Outlook
	bearing := name(schedule.NameOf(o.Bearing.Name, o.Arbor.Name))
	v := reminderView{
		frame: f, Clock: name(a.Clock.Name), Site: name(a.Site.Name), Access: clean(a.Site.Access),
		Sentence: clean(o.Sentence), Actions: actions(a, o), Unmeasured: unmeasured(a, o), Others: others(l),
	}
	v.Why = duties(l)
	stands := "is near its limit"
	if o.Over {
		stands = "is more likely than not over its limit"
	}
	v.Title = fmt.Sprintf("%s: %s %s", v.Clock, bearing, stands)
	v.Rows = []pair{
		{"Bearing", strings.Join(nonEmpty(bearing, name(o.Train.Name), clean(string(o.Bearing.Shake))), ", ")},
		{"Condition", string(o.Condition)},
		{"Level now", level(o, l.Person.Units)},
		{"Limit", limit(o, l.Person.Units)},
	}
	if o.Known && o.Limit != nil && !math.IsNaN(o.Used) {
		v.Rows = append(v.Rows, pair{"Used up", fmt.Sprintf("%.0f %% of what may wear away", 100*o.Used)})
	}
	if c := clean(o.Confidence); c != "" {
		v.Rows = append(v.Rows, pair{"How sure", c})
	}
	return v
}

// level is the level now with its standard uncertainty, in both systems.
func level(o schedule.Outlook, u wear.Unit) string {
	if !o.Known || math.IsNaN(o.Level.Mean) || math.IsInf(o.Level.Mean, 0) {
		return "not known, for no reading tells it yet"
	}
	s := hundredths(o.Level.Mean).Both(u)
	if sd := hundredths(o.Level.SD); sd > 0 {
		s += ", give or take " + sd.Both(u)
	}
	return s
}

// hundredths rounds millimetres to what a gauge in a tower can tell.
func hundredths(mm float64) wear.Length { return wear.FromMM(math.Round(mm*100) / 100) }

// limit is the limit and whose it is.
func limit(o schedule.Outlook, u wear.Unit) string {
	if o.Limit == nil {
		return "none is set"
	}
	return fmt.Sprintf("%s, set by: %s", o.Limit.Size.Both(u), cmp.Or(strings.TrimSuffix(clean(o.Limit.Source), "."), "not recorded"))
}

// actions says what to do about a bearing: measure again, and plan the work.
func actions(a schedule.Assessment, o schedule.Outlook) []action {
	var out []action
	if !o.Measure.IsZero() {
		what := "Measure again by " + o.Measure.Words()
		if why := clean(o.Why); why != "" {
			what += ": " + why
		}
		out = append(out, action{what, cautionOf(a, schedule.Measuring)})
	}
	i := slices.IndexFunc(a.Tasks, func(t schedule.Task) bool {
		return t.Kind == schedule.NearLimit && t.Subject == o.Bearing.Code
	})
	switch {
	case i >= 0:
		out = append(out, action{"Plan the work on this bearing. " + window(a.Tasks[i]), clean(a.Tasks[i].Caution)})
	case o.Condition == schedule.Act || len(out) == 0:
		out = append(out, action{"Plan the work on this bearing with the conservator and the clockmaker", cautionOf(a, schedule.NearLimit)})
	}
	return out
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

// others names who else gets the reminder.
func others(l schedule.Letter) string {
	var names []string
	for _, p := range l.Others {
		names = append(names, name(cmp.Or(p.Name, p.Slug)))
	}
	if len(names) == 0 {
		return "Nobody else gets this reminder."
	}
	return "Also told: " + schedule.And(names) + "."
}

func nonEmpty(parts ...string) []string {
	return slices.DeleteFunc(parts, func(s string) bool { return s == "" })
}

// Each heads the caution of an action.
func (action) Each() string { return "Caution" }
