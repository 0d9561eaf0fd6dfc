package web

import (
	"net/http"
	"net/url"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// limitsPage has whoever runs the fleet set the limits of a bearing, and say who
// answers for them.
type limitsPage struct {
	Clock      schedule.Clock
	Name       string
	At, Back   string
	Lede, Mesh string
	Mark       string // the state of the clock that it was filled in from
	Fields     []field
	Faults     []fault
}

// limitAsked is one limit as the form asks for it.
type limitAsked struct {
	name, label string
	of          func(*wear.Bearing) **wear.Limit
}

var limitsAsked = []limitAsked{
	{"watch", "Watch: look closer at", func(b *wear.Bearing) **wear.Limit { return &b.Watch }},
	{"act", "Act: repair at", func(b *wear.Bearing) **wear.Limit { return &b.Act }},
}

func (s *server) limitsForm(w http.ResponseWriter, r *http.Request) {
	s.showLimits(w, r, http.StatusOK, nil)
}

// toLimit is the bearing that the address names, where its limits can be set.
func (s *server) toLimit(w http.ResponseWriter, r *http.Request) (a schedule.Assessment, o schedule.Outlook, f schedule.Fleet, ok bool) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return a, o, f, false
	}
	if o, ok = a.Outlook(r.PathValue("bearing")); !ok || s.SaveFleet == nil {
		s.nowhere(w, r)
		return a, o, f, false
	}
	return a, o, snap.Fleet, true
}

func (s *server) showLimits(w http.ResponseWriter, r *http.Request, status int, faults []fault) {
	a, o, f, ok := s.toLimit(w, r)
	if !ok {
		return
	}
	page := limitsPage{Clock: a.Clock, Name: schedule.NameOf(o.Bearing.Name, o.Arbor.Name), Back: bearingPath(a.Clock.Slug, o.Bearing.Code), Faults: faults,
		Mark: version(a.Clock), Lede: limitsLede(o)}
	page.At = page.Back + "/limits"
	if o.Limit != nil && o.Limit != o.Watch && o.Limit != o.Act || o.Stop != nil {
		page.Mesh = "A mesh that this bearing moves has limits of its own, which follow from its teeth; of all, the one that is reached first binds."
	}
	unit := unitsOf(f, by(r))
	for _, l := range limitsAsked {
		page.Fields = append(page.Fields, l.fields(o, unit)...)
	}
	typed(page.Fields, r.PostForm, faults)
	title := "Limits of " + page.Name + ", " + a.Clock.Name
	if len(faults) > 0 {
		title = "Not yet: " + title
	}
	s.show(w, r, status, "limits", view{Title: title, Here: "/", Body: page})
}

func limitsLede(o schedule.Outlook) string {
	lede := "A limit is a size at which something must be done, and somebody answers for it. Published ones disagree, so say whose it is and what it rests on."
	if o.Known {
		lede = "It has " + levelWords(o) + " now. " + lede
	}
	return lede
}

// fields ask for one limit and for who answers for it. A size that nobody has
// confirmed is shown, and its source asked anew.
func (l limitAsked) fields(o schedule.Outlook, unit wear.Unit) []field {
	size := field{Name: l.name, Label: l.label, Input: "text", Hint: "With its unit, like 0.80 mm or 32 thou; empty where none is to hold."}
	source := field{Name: l.name + "Source", Label: "Who answers for the " + l.name + " size, and what it rests on", Input: "text", Hint: "Like: Ada Plum, survey of 2019; or: the teeth leave mesh at 1.1 mm."}
	if has := *l.of(&o.Bearing); has != nil {
		size.Value = has.Size.In(unit)
		if has.Confirmed() {
			source.Value = has.Source
		} else {
			source.Hint = "It says now: " + has.Source + ". Whoever answers for the size stands here from then on; left empty, it stays as it is."
		}
	}
	return []field{size, source}
}

// setLimits keeps what the form says of both limits.
func (s *server) setLimits(w http.ResponseWriter, r *http.Request) {
	a, o, f, ok := s.toLimit(w, r)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if r.PostForm.Get("version") != version(a.Clock) {
		s.failed(w, r, stale(a.Clock.Name))
		return
	}
	b, faults := o.Bearing, []fault(nil)
	for _, l := range limitsAsked {
		limit, wrong := l.read(r.PostForm, o, unitsOf(f, by(r)))
		faults, *l.of(&b) = append(faults, wrong...), limit
	}
	if err := b.Validate(); err != nil && len(faults) == 0 {
		_, words, _ := strings.Cut(err.Error(), ": ")
		faults = append(faults, fault{limitAtFault(b), sentence(words)})
	}
	if len(faults) > 0 {
		s.showLimits(w, r, http.StatusUnprocessableEntity, faults)
		return
	}
	if err := s.describe(r.Context(), by(r).Name(), f, schedule.Fleet{Clocks: []schedule.Clock{a.Clock.WithBearing(b)}}); err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, bearingPath(a.Clock.Slug, o.Bearing.Code)+"#figures", http.StatusSeeOther)
}

// read is one limit as it was filled in; nil: none is to hold. A size left as it
// was shown stays to the micrometre.
func (l limitAsked) read(v url.Values, o schedule.Outlook, unit wear.Unit) (*wear.Limit, []fault) {
	size, source := strings.TrimSpace(v.Get(l.name)), schedule.Visible(v.Get(l.name+"Source"))
	if size == "" && source == "" {
		return nil, nil
	}
	limit, faults := &wear.Limit{Source: source}, []fault(nil)
	if has := *l.of(&o.Bearing); has != nil && size == has.Size.In(unit) {
		if source == "" && !has.Confirmed() { // it is the other one that is set
			return has, nil
		}
		limit.Size = has.Size
	} else {
		var err error
		if limit.Size, err = wear.ParseLength(size); err != nil {
			faults = append(faults, fault{l.name, sentence(err.Error())})
		}
	}
	switch {
	case source == "":
		faults = append(faults, fault{l.name + "Source", "Say who answers for this size, and what it rests on."})
	case len(source) > longestSource:
		faults = append(faults, fault{l.name + "Source", "That is too long: a line is enough."})
	case !limit.Confirmed():
		faults = append(faults, fault{l.name + "Source", "A starting value is nobody's: say who answers for this size."})
	}
	return limit, faults
}

// limitAtFault is the field of the limit that keeps a bearing from being right.
func limitAtFault(b wear.Bearing) string {
	b.Act = nil
	if b.Validate() != nil {
		return "watch"
	}
	return "act" // by itself, or below the other
}

// longestSource bounds the words for who answers for a limit, in bytes.
const longestSource = 300
