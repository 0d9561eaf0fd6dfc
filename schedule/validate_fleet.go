package schedule

import (
	"fmt"
	"net/mail"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"endshake/wear"
)

// Validate reports the first thing in the description of the fleet that cannot
// be right, as a *Error that names where it is.
func (f Fleet) Validate() error {
	sites, people, clocks := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for i, s := range f.Sites {
		if err := s.validate(at("sites", i)); err != nil {
			return err
		}
		if sites[s.Slug] {
			return invalid(at("sites", i), "two sites are called %q: give each its own", s.Slug)
		}
		sites[s.Slug] = true
	}
	for i, p := range f.People {
		if err := p.validate(at("people", i)); err != nil {
			return err
		}
		if people[p.Slug] {
			return invalid(at("people", i), "two people are called %q: give each their own", p.Slug)
		}
		people[p.Slug] = true
	}
	for i, c := range f.Clocks {
		where := at("clocks", i)
		if err := c.validate(where, f); err != nil {
			return err
		}
		if clocks[c.Slug] {
			return invalid(where, "two clocks are called %q: give each its own", c.Slug)
		}
		clocks[c.Slug] = true
	}
	return nil
}

func at(list string, i int) string { return fmt.Sprintf("%s[%d]", list, i) }

func (s Site) validate(where string) error {
	if err := checkSlug(where, s.Slug); err != nil {
		return err
	}
	if strings.TrimSpace(s.Name) == "" {
		return invalid(where, "%s: site %s has no name: give one", where, s.Slug)
	}
	if err := checkZone(where, s.Zone, true); err != nil {
		return err
	}
	if err := checkNames(where, s.Name); err != nil {
		return err
	}
	if err := s.Climate.validate(where); err != nil {
		return err
	}
	if err := s.Reach.validate(where); err != nil {
		return err
	}
	return checkTexts(where, s.Place, s.Access, s.Caution)
}

func (p Person) validate(where string) error {
	if err := checkSlug(where, p.Slug); err != nil {
		return err
	}
	if strings.TrimSpace(p.Name) == "" {
		return invalid(where, "%s: %s has no name: give one", where, p.Slug)
	}
	if p.Email != "" {
		if a, err := mail.ParseAddress(p.Email); err != nil || a.Address != p.Email {
			return invalid(where, "%s: %q is not a mail address: write it plainly, like keeper@example.org", where, p.Email)
		}
		if _, err := ParseMail(p.Email); err != nil {
			return invalid(where, "%s: %v", where, err)
		}
	}
	if p.Units != "" && p.Units != wear.MM && p.Units != wear.Thou {
		return invalid(where, "%s: unit %q is not known: use %s or %s", where, p.Units, wear.MM, wear.Thou)
	}
	if err := checkZone(where, p.Zone, false); err != nil {
		return err
	}
	if err := p.Mail.validate(where); err != nil {
		return err
	}
	if err := p.Going.validate(where); err != nil {
		return err
	}
	return checkNames(where, p.Name)
}

func (c Clock) validate(where string, f Fleet) error {
	if err := checkSlug(where, c.Slug); err != nil {
		return err
	}
	where = "clock " + c.Slug
	switch {
	case strings.TrimSpace(c.Name) == "":
		return invalid(where, "%s has no name: give one", where)
	case c.Kind != Turret && c.Kind != Post && c.Kind != Private:
		return invalid(where, "%s: kind %q is not known: use %s, %s or %s", where, c.Kind, Turret, Post, Private)
	case c.InCare.IsZero():
		return invalid(where, "%s: say from which day its log begins (inCare)", where)
	case c.InCare.Year < 1850 || c.InCare.Year > lastYear:
		return invalid(where, "%s: a log that begins on %s cannot be right: check the year", where, c.InCare.Words())
	}
	if _, ok := f.Site(c.Site); !ok {
		return notFound(where, "%s: there is no site %q: describe it under sites first", where, c.Site)
	}
	if err := checkNames(where, c.Name); err != nil {
		return err
	}
	for _, check := range []func() error{
		func() error { return c.validatePeople(where, f) },
		func() error { return c.validateTrains(where) },
		func() error { return c.validateCare(where) },
		func() error { return c.validatePolicies(where) },
	} {
		if err := check(); err != nil {
			return err
		}
	}
	return checkTexts(where, c.Note)
}

func (c Clock) validatePeople(where string, f Fleet) error {
	for _, h := range c.Cautions {
		if _, ok := hazardWords[h]; !ok {
			return invalid(where, "%s: caution %q is not known: use one of %s", where, h, hazardList())
		}
	}
	for _, d := range c.Duties {
		if _, ok := f.Person(d.Person); !ok {
			return notFound(where, "%s: there is no person %q: describe them under people first", where, d.Person)
		}
		if !known(Roles, d.Role) {
			return invalid(where, "%s: role %q is not known: use one of %s", where, d.Role, list(Roles))
		}
	}
	return nil
}

func (c Clock) validateTrains(where string) error {
	codes := map[string]bool{}
	for _, t := range c.Trains {
		if err := newCode(codes, where, "train", t.Code); err != nil {
			return err
		}
		if err := validateTrain(where, t); err != nil {
			return err
		}
		for _, a := range t.Arbors {
			if err := newCode(codes, where, "arbor", a.Code); err != nil {
				return err
			}
			if !(a.Revs >= 0) || a.Revs > 1e5 {
				return invalid(where, "%s: arbor %s: %v turns cannot be right", where, a.Code, a.Revs)
			}
			if err := checkNames(where, a.Name); err != nil {
				return err
			}
			for _, b := range a.Bearings {
				if err := newCode(codes, where, "bearing", b.Code); err != nil {
					return err
				}
				if err := validateBearing(where, b); err != nil {
					return err
				}
			}
		}
	}
	return c.validateMeshes(where)
}

func (c Clock) validateMeshes(where string) error {
	codes := map[string]string{} // mesh to train
	for _, t := range c.Trains {
		what := where + ": train " + t.Code
		for _, m := range t.Meshes {
			if err := checkSlug(what+": mesh", m.Code); err != nil {
				return err
			}
			if other, ok := codes[m.Code]; ok {
				return invalid(where, "%s: two meshes of the clock are called %q, the other on train %s: give each its own code", what, m.Code, other)
			}
			codes[m.Code] = t.Code
			if err := m.Validate(); err != nil {
				return invalid(where, "%s: %v", what, err)
			}
			if _, _, _, ok := c.Bearing(m.Bearing); !ok {
				return notFound(where, "%s: mesh %s names a bearing %q that is not described: give the code of the one whose wear moves its wheel", what, m.Code, m.Bearing)
			}
			if err := checkNames(what+": mesh "+m.Code, m.Name); err != nil {
				return err
			}
		}
	}
	return nil
}

// newCode refuses a code that the clock has already for a thing of that kind.
func newCode(codes map[string]bool, where, kind, code string) error {
	if err := checkSlug(where+": "+kind, code); err != nil {
		return err
	}
	if codes[kind+" "+code] {
		return invalid(where, "%s: two %ss are called %q: give each its own code", where, kind, code)
	}
	codes[kind+" "+code] = true
	return nil
}

func validateBearing(where string, b wear.Bearing) error {
	if err := b.Validate(); err != nil {
		return invalid(where, "%s: %v", where, err)
	}
	if y := b.FittedAt.Year(); !b.FittedAt.IsZero() && (y < 1300 || y > lastYear) {
		return invalid(where, "%s: bearing %s: a part fitted in the year %d cannot be right: check the year", where, b.Code, y)
	}
	names := []string{b.Name}
	for _, l := range []*wear.Limit{b.Watch, b.Act} {
		if l != nil {
			names = append(names, l.Source)
		}
	}
	return checkNames(where, names...)
}

func validateTrain(where string, t wear.Train) error {
	switch {
	case t.Kind != wear.Going && t.Kind != wear.Strike && t.Kind != wear.Chime:
		return invalid(where, "%s: train %s: kind %q is not known: use %s, %s or %s", where, t.Code, t.Kind, wear.Going, wear.Strike, wear.Chime)
	case t.Drive != wear.HandWound && t.Drive != wear.AutoWound && t.Drive != wear.Electric:
		return invalid(where, "%s: train %s: drive %q is not known: use %s, %s or %s", where, t.Code, t.Drive, wear.HandWound, wear.AutoWound, wear.Electric)
	case t.Reserve < 0 || t.Reserve > longestWind:
		return invalid(where, "%s: train %s: a wind that runs %v cannot be right", where, t.Code, t.Reserve)
	case !(t.StrokesPerDay >= 0) || t.StrokesPerDay > 1e5:
		return invalid(where, "%s: train %s: %v strokes a day cannot be right", where, t.Code, t.StrokesPerDay)
	case t.Kind != wear.Going && t.StrokesPerDay == 0 && t.Striking == nil:
		return invalid(where, "%s: train %s: say how many strokes it makes in a day (156 for hours alone), or describe its striking", where, t.Code)
	}
	if err := validateDriven(where, t); err != nil {
		return err
	}
	return checkNames(where, t.Name)
}

func (c Clock) validatePolicies(where string) error {
	type subject struct {
		task                 TaskKind
		train, bearing, line string
	}
	seen := map[subject]bool{}
	for _, p := range c.Policies {
		if err := p.validate(where); err != nil {
			return err
		}
		if err := c.validateSubject(where, p); err != nil {
			return err
		}
		s := subject{p.Task, p.Train, p.Bearing, p.Line}
		if seen[s] {
			return invalid(where, "%s: two policies for %s of the same thing: put days and run-hours into one", where, p.Task)
		}
		seen[s] = true
	}
	return nil
}

// byInterval are the kinds of task that a policy sets the interval of.
var byInterval = []TaskKind{Winding, Oiling, Inspection, Measuring, LineLook, Visiting}

func (p Policy) validate(where string) error {
	switch {
	case !known(byInterval, p.Task):
		return invalid(where, "%s: a policy for %q is not known: use one of %s", where, p.Task, list(byInterval))
	case p.Days < 0 || p.Days > 36500 || p.Lead < 0 || p.Grace < 0 || p.Lead > 3650 || p.Grace > 3650:
		return invalid(where, "%s: policy for %s: days must be between 0 and 36,500, lead and grace between 0 and 3,650", where, p.Task)
	case !(p.RunHours >= 0) || p.RunHours > 1e6 || p.RunHours > 0 && p.RunHours < 1:
		return invalid(where, "%s: policy for %s: %v run-hours cannot be right", where, p.Task, p.RunHours)
	case p.Task == Oiling && !(p.Risk >= 0 && p.Risk <= .5) || p.Risk > 0 && p.Risk < .001:
		return invalid(where, "%s: policy for oiling: a risk of %v cannot be right: give a share from 0.001 to 0.5, like 0.1 for one oiling in ten", where, p.Risk)
	case p.Task != Oiling && p.Risk != 0:
		return invalid(where, "%s: policy for %s: a risk is only for oiling: leave it out", where, p.Task)
	case p.Task == Oiling && p.Days == 0 && p.RunHours == 0 && p.Risk == 0:
		return invalid(where, "%s: policy for oiling has no interval: give days or run-hours, or a risk like 0.1", where)
	case p.Days == 0 && p.RunHours == 0 && p.Risk == 0:
		return invalid(where, "%s: policy for %s has no interval: give days or run-hours", where, p.Task)
	case p.Task == Winding && (p.Days == 0 || p.RunHours != 0 || p.Bearing != ""):
		return invalid(where, "%s: a policy for winding gives days and may name a train, nothing else: the train's reserve does the rest", where)
	case (p.Task == LineLook || p.Task == Visiting) && (p.Days == 0 || p.RunHours != 0 || p.Bearing != ""):
		return invalid(where, "%s: a policy for %s gives days, and no run-hours or bearing", where, p.Task)
	case p.Task == Visiting && p.Train != "":
		return invalid(where, "%s: a policy for %s is of the whole clock: leave out the train", where, p.Task)
	case p.Line != "" && p.Task != LineLook:
		return invalid(where, "%s: policy for %s names a line %q: only a %s is of a line", where, p.Task, p.Line, LineLook)
	case p.Minutes < 0 || p.Minutes > 24*60:
		return invalid(where, "%s: policy for %s: a job of %d minutes cannot be right: use 0 to 1,440", where, p.Task, p.Minutes)
	case strings.TrimSpace(p.Source) == "":
		return invalid(where, "%s: policy for %s has no source: say who set it and why", where, p.Task)
	}
	return checkTexts(where, p.Reason, p.Source)
}

func (c Clock) validateSubject(where string, p Policy) error {
	if _, ok := c.Train(p.Train); p.Train != "" && !ok {
		return notFound(where, "%s: policy for %s names a train %q that is not described", where, p.Task, p.Train)
	}
	if p.Line != "" {
		return c.validateLinePolicy(where, p)
	}
	if p.Bearing == "" {
		return nil
	}
	_, _, t, ok := c.Bearing(p.Bearing)
	if !ok {
		return notFound(where, "%s: policy for %s names a bearing %q that is not described", where, p.Task, p.Bearing)
	}
	if p.Train != "" && p.Train != t.Code {
		return invalid(where, "%s: policy for %s names bearing %s, which is not on the train %q", where, p.Task, p.Bearing, p.Train)
	}
	return nil
}

func (c Clock) validateLinePolicy(where string, p Policy) error {
	switch l, ok := c.line(p.Line); {
	case !ok:
		return invalid(where, "%s: policy for %s names a line %q that is not described: describe it under care, lines", where, p.Task, p.Line)
	case p.Train != "" && p.Train != l.Train:
		return invalid(where, "%s: policy for %s names a line %q, which is not on the train %q", where, p.Task, p.Line, p.Train)
	}
	return nil
}

// checkSlug holds short names to what fits in an address, a label and a file name.
func checkSlug(where, s string) error {
	if s == "" || len(s) > 60 || strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return invalid(where, "%s: the short name %q must be 1 to 60 small letters, digits and hyphens", where, s)
	}
	return nil
}

func checkZone(where, zone string, needed bool) error {
	if zone == "" && !needed {
		return nil
	}
	if _, err := time.LoadLocation(zone); err != nil || zone == "" || zone == "Local" {
		return invalid(where, "%s: zone %q is not known: use an IANA name, like Europe/London", where, zone)
	}
	return nil
}

// checkNames holds what is shown on one line, or stands in a mail header, to
// one line.
func checkNames(where string, names ...string) error {
	for _, s := range names {
		if strings.ContainsAny(s, "\r\n\t") {
			return invalid(where, "%s: %q goes over several lines: write it on one", where, s)
		}
	}
	return checkTexts(where, names...)
}

// maxText bounds a free text: longer is a slip of the clipboard.
const maxText = 4000

func checkTexts(where string, texts ...string) error {
	for _, s := range texts {
		if !utf8.ValidString(s) {
			return invalid(where, "%s: the text is not valid UTF-8: save it as UTF-8 and try again", where)
		}
		if len(s) > maxText {
			return invalid(where, "%s: a text of %d bytes is too long: keep it under %d", where, len(s), maxText)
		}
		if strings.ContainsFunc(s, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\r' && r != '\t' }) {
			return invalid(where, "%s: the text holds a control character: type it again", where)
		}
	}
	return nil
}

func known[T comparable](all []T, v T) bool {
	for _, x := range all {
		if x == v {
			return true
		}
	}
	return false
}

// list prints the words of a vocabulary for an error message.
func list[T ~string](all []T) string {
	words := make([]string, len(all))
	for i, v := range all {
		words[i] = string(v)
	}
	return strings.Join(words, ", ")
}

func hazardList() string {
	return list([]Hazard{Radium, LeadPaint, Asbestos, BirdDirt, Height, Mains, Bells, HeavyFall})
}
