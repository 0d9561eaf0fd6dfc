package web

import (
	"errors"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// answerPage asks one thing of whoever holds a pass.
type answerPage struct {
	What, Clock, Where string
	Due                string
	By                 string // whose answer it is
	Caution            string
	Locked             string   // empty: it is not
	Findings           []string // what was found to act on
	Barred             bool     // what is asked must not be done while it is locked
	Action             string
	Choices            []oneAnswer // none: only the page of the clock can hold it
	Faults             []fault
	Quick              string // address of the quick form; empty: there is none
	Doubted            bool   // what is answered is asked back
	Asked              string // and what of it: reading, or cause
	Tell               string
}

// oneAnswer is a form of its own with one large button.
type oneAnswer struct {
	Said   schedule.Said
	Button string
	First  bool    // the likeliest
	Fields []field // asked
	More   []field // asked seldom
	Open   bool
}

// answeredPage says what was logged and what follows.
type answeredPage struct {
	Head    string
	Logged  string
	Follows []string
	Mend    string // what to do where it is wrong
}

// answerView is an answer under way: a pass, its clock, and what is filled in.
type answerView struct {
	pass    schedule.Pass
	a       schedule.Assessment
	fleet   schedule.Fleet
	values  url.Values
	now     time.Time
	faults  []fault
	doubted bool
}

// answerable finds the pass of a request and its clock, or answers why it is of
// no use.
func (s *server) answerable(w http.ResponseWriter, r *http.Request) (v answerView, ok bool) {
	p, ok := s.pass(w, r, r.PathValue("token"), schedule.Answering)
	if !ok {
		return v, false
	}
	snap, ok := s.whole(w, r)
	if !ok {
		return v, false
	}
	a, ok := snap.Clock(p.Clock)
	if !ok {
		s.ended(w, r, "The clock that it was about is not in care here any more")
		return v, false
	}
	v = answerView{pass: p, a: a, fleet: snap.Fleet, now: s.Now(), values: url.Values{}}
	facts, err := s.Desk.Facts(r.Context(), p.Clock)
	if err != nil {
		s.fault(w, r, err)
		return v, false
	}
	if e, used := p.Used(facts.Entries); used {
		s.showAnswered(w, r, http.StatusGone, v, "This was answered already", e)
		return v, false
	}
	if err := p.Open(a, snap.Fleet, v.now); err != nil {
		s.ended(w, r, err.Error())
		return v, false
	}
	if err := snap.Fleet.Allow(schedule.Actor{Pass: &p}, schedule.LogEntry, p.Clock); err != nil {
		s.ended(w, r, err.Error())
		return v, false
	}
	return v, true
}

// answerForm shows what is asked. It changes nothing: mail scanners open every
// link.
func (s *server) answerForm(w http.ResponseWriter, r *http.Request) {
	if v, ok := s.answerable(w, r); ok {
		s.showAnswer(w, r, http.StatusOK, v)
	}
}

// answer logs an answer, once. A refusal shows the form again as it was filled
// in.
func (s *server) answer(w http.ResponseWriter, r *http.Request) {
	if r.Header.Get("Sec-Fetch-Site") == "cross-site" {
		s.denied(w, r)
		return
	}
	v, ok := s.answerable(w, r)
	if !ok {
		return
	}
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/x-www-form-urlencoded" {
		s.sorry(w, r, http.StatusUnsupportedMediaType, "That is not a form of these pages", "Nothing was logged. Open the link in the letter again.")
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	v.values = r.PostForm
	ans, sure := v.read()
	if len(v.faults) > 0 {
		s.showAnswer(w, r, http.StatusUnprocessableEntity, v)
		return
	}
	e, err := v.pass.Entry(ans, v.a, v.now)
	if err == nil {
		err = v.fleet.AllowEntry(schedule.Actor{Pass: &v.pass}, e, nil, v.now)
	}
	if err == nil {
		e.Sure = sure
		e, err = s.Desk.LogAnswer(r.Context(), v.pass, e)
	}
	var mend *schedule.Error
	switch {
	case errors.As(err, &mend) && mend.Field == "key": // a second click, with another word
		s.answerForm(w, r)
	case errors.As(err, &mend) && mend.Field == "pass": // somebody was faster
		s.ended(w, r, mend.Message)
	case errors.As(err, &mend):
		v.doubted = mend.Code == schedule.Doubtful
		v.faults = []fault{{v.name(v.said(), mend.Field), sentence(mend.Message)}}
		s.showAnswer(w, r, statusOf(mend.Code), v)
	case err != nil:
		s.fault(w, r, err)
	default:
		if snap := s.Desk.Snapshot(); snap != nil {
			v.a, _ = snap.Clock(v.pass.Clock)
		}
		s.showAnswered(w, r, http.StatusOK, v, "Thank you: that is logged", e)
	}
}

func (v answerView) said() schedule.Said { return schedule.Said(v.values.Get("said")) }

// name is what a field of one choice is called: each choice has its own.
func (v answerView) name(said schedule.Said, field string) string {
	return field + "-" + strings.ReplaceAll(string(said), " ", "-")
}

// read makes an answer of what is filled in, or notes what is to be mended.
func (v *answerView) read() (ans schedule.Answer, sure bool) {
	r := &reader{entryForm: entryForm{a: v.a, fleet: v.fleet, values: v.values, now: v.now}}
	said := v.said()
	name := func(field string) string { return v.name(said, field) }
	ans = schedule.Answer{Said: said, Because: r.text(name("because")), Cause: schedule.StopCause(r.text(name("cause")))}
	if at := r.text(name("at")); at != "" && at != wallText(v.now, v.a.Zone) {
		ans.At = r.instant(name("at"), time.Time{})
	}
	switch said {
	case schedule.SaidRead:
		ans.Reading, sure = v.reading(r)
	case schedule.SaidStopped:
		sure = ans.Cause != "" && v.values.Get(name("sure")) == string(ans.Cause)
	}
	v.faults = r.faults
	return ans, sure
}

func (v *answerView) reading(r *reader) (reading *wear.Reading, sure bool) {
	name := func(field string) string { return v.name(schedule.SaidRead, field) }
	value := r.text(name("value"))
	if value == "" {
		r.fault(name("value"), "Give the reading with its unit, like 0.42 mm or 16 thou.")
		return nil, false
	}
	reading = &wear.Reading{Value: r.length(name("value")), Instrument: r.text(name("instrument"))}
	if r.text(name("celsius")) != "" {
		c := r.plain(name("celsius"), true)
		reading.Celsius = &c
	}
	return reading, v.values.Get(name("sure")) == value
}

// pressed are the words of the button for each answer.
func (v answerView) pressed(said schedule.Said) string {
	switch {
	case said == schedule.SaidWell:
		return "Checked, all well"
	case said == schedule.SaidRead:
		return "Log the reading"
	case said == schedule.SaidStopped && v.pass.Subject == "":
		return "Clock found stopped"
	case said == schedule.SaidStopped:
		return "Found stopped"
	case said == schedule.SaidNot:
		return "Not done"
	case v.pass.Task == schedule.Winding && v.pass.Subject == "":
		return "All wound"
	case v.pass.Task == schedule.Winding:
		return "Wound"
	case v.pass.Task == schedule.Oiling:
		return "Oiled"
	case v.pass.Task == schedule.TimeChange:
		return "Changed"
	case v.pass.Task == schedule.Seasonal && v.pass.Subject == "":
		return "It goes again"
	}
	return "Done"
}

// choice makes the form of one answer.
func (v answerView) choice(said schedule.Said, first bool) oneAnswer {
	c := oneAnswer{Said: said, Button: v.pressed(said), First: first}
	because := field{Name: "because", Label: "A word beside it", Input: "text"}
	when := field{Name: "at", Label: "When", Input: "datetime-local", Hint: thereNow(v.now, v.a.Zone) + " Empty: now."}
	switch said {
	case schedule.SaidNot:
		because.Label, because.Required = "Not done, because", true
		c.Fields = []field{because}
		c.More = []field{when}
	case schedule.SaidStopped:
		cause := field{Name: "cause", Label: "Why", Input: "select"}
		for _, x := range []schedule.StopCause{schedule.NotKnown, schedule.RanDown, schedule.Fault, schedule.Weather, schedule.Birds, schedule.ByHand} {
			cause.Options = append(cause.Options, option{string(x), string(x)})
		}
		when.Label = "When it was found"
		if v.doubted && v.said() == said {
			c.Fields = []field{{Name: "sure", Label: "It ran down all the same", Input: "checkbox", Mark: v.values.Get(v.name(said, "cause"))}}
		}
		c.More = []field{cause, when, because}
	case schedule.SaidRead:
		c.Fields = []field{{Name: "value", Label: "Reading with its unit", Input: "text", Required: true, Hint: v.unitHint()}}
		if v.doubted && v.said() == said {
			c.Fields = append(c.Fields, field{Name: "sure", Label: "It is as written: I read it twice", Input: "checkbox", Mark: v.values.Get(v.name(said, "value"))})
		}
		c.More = []field{when, {Name: "instrument", Label: "Instrument", Input: "text"}, {Name: "celsius", Label: "Temperature in °C", Input: "number"}, because}
	default:
		c.More = []field{when, because}
	}
	for _, list := range [][]field{c.Fields, c.More} {
		for i := range list {
			q := &list[i]
			q.Name = v.name(said, q.Name)
			q.Value = v.values.Get(q.Name)
			if q.Mark != "" && q.Value != q.Mark {
				q.Value = ""
			}
			for _, x := range v.faults {
				if x.Field == q.Name {
					q.Fault = x.Message
				}
			}
		}
	}
	c.Open = slices.ContainsFunc(c.More, func(q field) bool { return q.Fault != "" || q.Value != "" && q.Input != "select" })
	return c
}

func (v answerView) unitHint() string {
	p, _ := v.fleet.Person(v.pass.Person)
	b, _, _, _ := v.a.Clock.Bearing(v.pass.Subject)
	if p.Units == wear.Thou {
		return "Its " + string(b.Shake) + ", like 16 thou or 0.42 mm."
	}
	return "Its " + string(b.Shake) + ", like 0.42 mm or 16 thou."
}

func (s *server) showAnswer(w http.ResponseWriter, r *http.Request, status int, v answerView) {
	what := v.pass.What(v.a)
	page := answerPage{
		What: what, Clock: v.a.Clock.Name, Where: placeOf(v.a), By: personName(v.fleet, v.pass.Person),
		Caution: schedule.Caution(v.pass.Task, v.a.Site, v.a.Clock.Cautions), Locked: lockWords(v.a), Findings: foundWords(v.a), Doubted: v.doubted, Asked: map[bool]string{true: "cause", false: "reading"}[v.said() == schedule.SaidStopped], Faults: v.faults,
		Action: "/answer/" + v.pass.Token, Tell: v.tell("log it"),
	}
	if j, ok := jobOf(v.pass.Task); ok {
		page.Quick = j.address(v.a.Clock.Slug, v.pass.Subject)
	}
	if t, ok := taskOf(v.a, v.pass); ok {
		page.Due = "due " + t.Due.Words()
		switch {
		case t.Past != "":
			page.Due = t.PastWords()
		case t.Latest != t.Due:
			page.Due += ", last good day " + t.Latest.Words()
		}
		page.Caution = t.Caution
	}
	page.Barred = slices.ContainsFunc(v.a.Locks, func(l schedule.Lock) bool { return l.Kind == schedule.DoNotRun }) &&
		(v.pass.Task == schedule.Winding || v.pass.Task == schedule.Seasonal && v.pass.Subject == "")
	for i, said := range v.pass.Choices(v.a) {
		if !(page.Barred && said == schedule.SaidDone) {
			page.Choices = append(page.Choices, v.choice(said, i == 0))
		}
	}
	title := schedule.Capital(what) + ", " + v.a.Clock.Name
	if len(v.faults) > 0 {
		title = "Not logged yet: " + title
	}
	s.show(w, r, status, "answer", view{Title: title, Body: page, Units: unitsOf(v.fleet, schedule.Actor{Person: v.pass.Person})})
}

// tell says whom a reader tells what a link cannot take: the conservator of the
// clock, by name, for whoever has only a link reaches no other page. The
// conservator does it there.
func (v answerView) tell(do string) string {
	var names []string
	for _, d := range v.a.Clock.Duties {
		if d.Role != schedule.Conservator {
			continue
		}
		if d.Person == v.pass.Person {
			return do + " on the page of the clock"
		}
		if p, ok := v.fleet.Person(d.Person); ok && p.Name != "" && !slices.Contains(names, p.Name) {
			names = append(names, p.Name)
		}
	}
	switch len(names) {
	case 0:
		return "tell whoever the letter came from"
	case 1:
		return "tell " + names[0] + ", the conservator"
	}
	return "tell " + strings.Join(names, " or ") + ", the conservators"
}

// placeOf is the site of a clock and its place, without a name that the clock has too.
func placeOf(a schedule.Assessment) string {
	switch {
	case a.Site.Place == "":
		return a.Site.Name
	case a.Site.Name == a.Clock.Name:
		return a.Site.Place
	}
	return a.Site.Name + ", " + a.Site.Place
}

// taskOf is what a pass asks for, as it stands.
func taskOf(a schedule.Assessment, p schedule.Pass) (schedule.Task, bool) {
	i := slices.IndexFunc(a.Tasks, func(t schedule.Task) bool { return t.Kind == p.Task && t.Subject == p.Subject })
	if i < 0 {
		return schedule.Task{}, false
	}
	return a.Tasks[i], true
}

func (s *server) showAnswered(w http.ResponseWriter, r *http.Request, status int, v answerView, head string, e schedule.Entry) {
	page := answeredPage{Head: head, Follows: follows(v, e), Mend: v.tell("correct it"), Logged: v.a.Clock.Name + ", " + schedule.Instant(e.At, v.a.Zone) + ": " + schedule.EntryWords(v.a.Clock, v.a.Zone, e)}
	if e.Note != "" {
		page.Logged += ". " + schedule.Capital(e.Note)
	}
	s.show(w, r, status, "answered", view{Title: head, Body: page, Units: unitsOf(v.fleet, schedule.Actor{Person: v.pass.Person})})
}

// follows says what comes of an answer.
func follows(v answerView, e schedule.Entry) []string {
	switch p := v.pass; {
	case e.Kind == schedule.Stopped && e.Train == "":
		return []string{"By its log the clock stands now. When it goes again, " + v.tell("log its start") + "."}
	case e.Kind == schedule.Noted && e.Season == "":
		return []string{"The link in the letter goes on working: use it again when it is done."}
	case p.Task == schedule.TimeChange && v.a.Change != nil && v.a.Change.Done == "":
		return []string{"The next change of time is on " + v.a.Change.On.Words() + "."}
	case e.Kind == schedule.Measured:
		if o, ok := v.a.Outlook(e.Bearing); ok && !o.Measure.IsZero() {
			return []string{"Measure it again by " + o.Measure.Words() + "."}
		}
	case e.Kind == schedule.Wound:
		return woundFollows(v, e)
	}
	if t, ok := taskOf(v.a, v.pass); ok {
		return []string{"Next " + t.What() + " due " + t.Due.Words() + "."}
	}
	return nil
}

// woundFollows says when each train that was wound wants winding next.
func woundFollows(v answerView, e schedule.Entry) []string {
	var out []string
	for _, st := range v.a.Trains {
		if e.Train != "" && e.Train != st.Train.Code || st.Train.Drive != wear.HandWound {
			continue
		}
		line := ""
		for _, t := range v.a.Tasks {
			if t.Kind == schedule.Winding && t.Subject == st.Train.Code {
				line = "Next " + t.What() + " due " + t.Due.Words()
			}
		}
		if stops := st.Wind.Stops; !stops.IsZero() && stops.After(v.now) {
			if line == "" {
				line = schedule.Capital(schedule.NameOfTrain(st.Train))
			}
			line += "; it stops about " + wall(stops, v.a.Zone)
		}
		if line != "" {
			out = append(out, line+".")
		}
	}
	return out
}
