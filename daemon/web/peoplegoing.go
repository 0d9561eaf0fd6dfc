package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"endshake/schedule"
)

// goingFields ask how somebody goes on rounds, with what is kept.
func goingFields(g schedule.Going) []field {
	days := field{Name: "outDays", Label: "Days on which they may be out", Input: "ticks", Hint: "None: they go on no rounds."}
	for i, short := range schedule.Week.Short() {
		days.Ticks = append(days.Ticks, tick{Value: short, Label: schedule.Week[i].String(), On: slices.Contains(g.Days, schedule.Week[i])})
	}
	from, to, home := "", "", ""
	if g.Goes() || g.To > 0 {
		from, to = g.From.String(), g.To.String()
	}
	if g.Home != nil {
		home = g.Home.String()
	}
	var away []string
	for _, s := range g.Away {
		away = append(away, spanText(s))
	}
	return []field{days,
		{Name: "outFrom", Label: "They leave not before", Input: "text", Value: from, Hint: "Like 08:00."},
		{Name: "outTo", Label: "They are back by", Input: "text", Value: to, Hint: "Like 18:00."},
		{Name: "home", Label: "Where their days begin and end", Input: "text", Value: home,
			Hint: "Degrees north and east, like 47.312, -31.215. Empty: at the first and the last site. Only conservators and they themselves see it."},
		{Name: "away", Label: "Days away", Input: "long", Value: strings.Join(away, "\n"),
			Hint: "A line each, like 2027-05-03 to 2027-05-14: holidays."}}
}

// spanText is a span as the form takes it.
func spanText(s schedule.Span) string {
	out := s.From.String()
	if s.Until != s.From {
		out += " to " + s.Until.String()
	}
	if s.Why != "" {
		out += ": " + s.Why
	}
	return out
}

// readSpan reads a line of days away; its error is a sentence.
func readSpan(line string) (s schedule.Span, err error) {
	days, why, _ := strings.Cut(line, ":")
	first, last, several := strings.Cut(days, " to ")
	s.Why = strings.TrimSpace(why)
	if s.From, err = schedule.ParseDate(strings.TrimSpace(first)); err != nil {
		return s, err
	}
	s.Until = s.From
	if several {
		s.Until, err = schedule.ParseDate(strings.TrimSpace(last))
	}
	return s, err
}

// readPlace reads two figures in degrees; ok is false where they are none.
func readPlace(text string) (*schedule.Where, bool) {
	north, east, ok := strings.Cut(text, ",")
	lat, errLat := strconv.ParseFloat(strings.TrimSpace(north), 64)
	lon, errLon := strconv.ParseFloat(strings.TrimSpace(east), 64)
	return &schedule.Where{Lat: lat, Lon: lon}, ok && errLat == nil && errLon == nil
}

// readGoing reads the form, and what is wrong with it.
func readGoing(v url.Values) (g schedule.Going, faults []fault) {
	no := func(field, words string) { faults = append(faults, fault{field, words}) }
	for _, word := range v["outDays"] {
		d, err := schedule.ParseWeekday(word)
		if err != nil {
			no("outDays", sentence(err.Error()))
			break
		}
		g.Days = append(g.Days, d)
	}
	for name, at := range map[string]*schedule.Minutes{"outFrom": &g.From, "outTo": &g.To} {
		text := strings.TrimSpace(v.Get(name))
		m, err := schedule.ParseMinutes(text)
		switch {
		case text == "" && len(v["outDays"]) > 0:
			no(name, "Give a time of day, like 08:00: they are out on some days.")
		case text != "" && err != nil:
			no(name, sentence(err.Error()))
		}
		*at = m
	}
	if text := strings.TrimSpace(v.Get("home")); text != "" {
		at, ok := readPlace(text)
		if !ok {
			no("home", "Write two figures in degrees with a comma between, north first, like 47.312, -31.215.")
		}
		g.Home = at
	}
	for line := range strings.Lines(v.Get("away")) {
		if line = strings.TrimSpace(schedule.Visible(line)); line == "" {
			continue
		}
		s, err := readSpan(line)
		if err != nil {
			no("away", sentence(err.Error()))
			break
		}
		g.Away = append(g.Away, s)
	}
	slices.SortFunc(faults, func(x, y fault) int { return strings.Compare(x.Field, y.Field) })
	return g, faults
}

// goingFault says at which field what Validate refuses of somebody's rounds.
func goingFault(p schedule.Person) []fault {
	err := schedule.Fleet{People: []schedule.Person{p}}.Validate()
	if err == nil {
		return nil
	}
	_, words, _ := strings.Cut(err.Error(), ": ")
	for start, field := range map[string]string{"home": "home", "days out": "outDays", "hours out": "outTo"} {
		if strings.HasPrefix(words, start) {
			return []fault{{field, sentence(words)}}
		}
	}
	return []fault{{"away", sentence(words)}}
}

// keepGoing keeps how somebody goes on rounds, where nobody has changed them since
// the form was filled in.
func (s *server) keepGoing(r *http.Request, f schedule.Fleet, p schedule.Person) ([]fault, error) {
	if r.PostForm.Get("version") != version(p) {
		return nil, stale(p.Name)
	}
	going, faults := readGoing(r.PostForm)
	if len(faults) > 0 {
		return faults, nil
	}
	p.Going = going
	if faults = goingFault(p); len(faults) > 0 {
		return faults, nil
	}
	return nil, s.describe(r.Context(), by(r).Name(), f, schedule.Fleet{People: []schedule.Person{p}})
}

// goingWords say how somebody goes on rounds, where they do not say where from.
func goingWords(g schedule.Going) string {
	if !g.Goes() {
		return "goes on none"
	}
	words := g.Days.String() + ", " + g.From.String() + " to " + g.To.String()
	if g.Home != nil {
		words += ", from " + g.Home.String()
	}
	return words
}
