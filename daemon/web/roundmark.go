package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"endshake/schedule"
)

// longestWhy bounds the words for why a visit was set or ruled out, in bytes.
const longestWhy = 300

// markAsked is what a form decides of a visit, or of a whole day.
type markAsked struct {
	sent          bool
	act, site     string
	why, to       string
	from, instead schedule.Date
	sites         []string // that it is about
	set           []string // those of them that are kept by hand
}

// markForm is the form of one visit, with what was typed into it where it was that
// which was sent.
func (s *server) markForm(r *http.Request, p planned, of roundAsked, site string, asked markAsked, faults []fault) markForm {
	f := markForm{Action: p.roundAt(of.person, of.day), Site: site, Least: p.today.String(), Most: p.lastDay().String(), Whose: s.whose(r)}
	if !asked.sent || asked.site != site {
		return f
	}
	f.Why, f.To, f.Open = asked.why, asked.to, true
	for _, x := range faults {
		switch x.Field {
		case "why":
			f.WhyFault = x.Message
		case "to":
			f.Fault = x.Message
		}
	}
	return f
}

// markRound takes what somebody decides of a day: its visits are kept, left out or
// moved, and the plan is made anew.
func (s *server) markRound(w http.ResponseWriter, r *http.Request) {
	p, of, d, found, ok := s.toRound(w, r)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if !s.theirs(w, r, r.PostForm) {
		return
	}
	asked, faults := p.readMark(r.PostForm, of, d)
	if asked.site == "" || len(asked.sites) > 0 { // else there is no such visit
		if err := p.allows(asked.site, of.person); err != nil {
			s.failed(w, r, err)
			return
		}
	}
	if len(faults) > 0 {
		s.showRound(w, r, http.StatusUnprocessableEntity, p, of, d, found, asked, faults)
		return
	}
	err := s.decide(r.Context(), p, of, asked)
	var mend *schedule.Error
	switch {
	case errors.As(err, &mend):
		s.showRound(w, r, statusOf(mend.Code), p, of, d, found, asked, []fault{{"why", sentence(mend.Message)}})
	case err != nil:
		s.failed(w, r, err)
	default:
		http.Redirect(w, r, p.decidedAt(of, asked), http.StatusSeeOther)
	}
}

// readMark reads a form about a day of the plan.
func (p planned) readMark(v url.Values, of roundAsked, d schedule.RoundDay) (markAsked, []fault) {
	a := markAsked{sent: true, act: v.Get("act"), site: v.Get("site"), why: strings.TrimSpace(schedule.Visible(v.Get("why"))), to: v.Get("to"), from: of.day}
	for _, stop := range d.Stops {
		if a.site == "" || stop.Site == a.site {
			a.sites = append(a.sites, stop.Site)
			if stop.Set {
				a.set = append(a.set, stop.Site)
			}
		}
	}
	var faults []fault
	if len(a.sites) == 0 {
		faults = append(faults, fault{"", "The plan holds no such visit on that day any more: look at it again, and choose one of those that stand below."})
	}
	if of.day.Before(p.today) {
		faults = append(faults, fault{"", "That day is over: only days from today on can be kept, left out or moved."})
	}
	if len(a.why) > longestWhy {
		faults = append(faults, fault{"why", "That is too long: a line is enough."})
	}
	switch a.act {
	case "set", "not":
	case "move":
		day, wrong := dayFault(a.to, p.today, p.lastDay(), of.day)
		if wrong != "" {
			faults = append(faults, fault{"to", wrong})
		}
		a.instead = day
	default:
		faults = append(faults, fault{"", "Say what is to become of it: keep it, leave it out, or have it on another day."})
	}
	return a, faults
}

// decide keeps what was decided: what a visit is to do is kept or moved with it. Of a day that is ruled out as a whole, no visit stays
// kept by hand.
func (s *server) decide(ctx context.Context, p planned, of roundAsked, a markAsked) error {
	now := s.Now()
	mark := func(kind schedule.MarkKind, site string, day schedule.Date) schedule.RoundMark {
		return schedule.RoundMark{Kind: kind, Site: site, Person: of.person, Day: day, Why: a.why, By: p.by.Person, At: now}
	}
	if a.act == "not" {
		for _, site := range a.set {
			if a.site != "" { // the one takes the place of the other
				break
			}
			if err := s.Desk.UnmarkRound(ctx, p.by.Name(), mark(schedule.SetVisit, site, a.from), now); err != nil {
				return err
			}
		}
		return s.Desk.MarkRound(ctx, mark(schedule.BarVisit, a.site, a.from))
	}
	for _, site := range a.sites {
		var err error
		set := mark(schedule.SetVisit, site, a.from)
		set.Tasks = p.year.Refs(of.person, site, a.from)
		if a.act == "move" {
			set.Day = a.instead
			err = s.Desk.MoveRound(ctx, mark(schedule.BarVisit, site, a.from), set)
		} else {
			err = s.Desk.MarkRound(ctx, set)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// decidedAt is where a form leads to that was taken: to the day, or where that is
// left out to the plan.
func (p planned) decidedAt(of roundAsked, a markAsked) string {
	q := url.Values{"did": {map[string]string{"set": "set", "not": "not", "move": "moved"}[a.act]}, "who": {of.person}, "site": {a.site}, "day": {of.day.String()}}
	if p.months != usualMonths {
		q.Set("months", strconv.Itoa(p.months))
	}
	if a.act == "not" {
		return "/rounds?" + q.Encode()
	}
	day := of.day
	if a.act == "move" {
		day = a.instead
		q.Set("day", day.String())
		if n := reaching(p.today, day); n > p.months {
			q.Set("months", strconv.Itoa(n))
		}
	}
	return "/rounds/" + url.PathEscape(of.person) + "/" + day.String() + "?" + q.Encode()
}

// liftMark takes back what was decided by hand.
func (s *server) liftMark(w http.ResponseWriter, r *http.Request) {
	months, _ := readMonths(r.URL.Query())
	p, ok := s.plan(w, r, months)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if !s.theirs(w, r, r.PostForm) {
		return
	}
	v := r.PostForm
	day, _ := schedule.ParseDate(v.Get("day"))
	for _, m := range p.decided() {
		if string(m.Kind) != v.Get("kind") || m.Site != v.Get("site") || m.Person != v.Get("person") || m.Day != day {
			continue
		}
		if err := s.Desk.UnmarkRound(r.Context(), p.by.Name(), m, s.Now()); err != nil {
			s.failed(w, r, err)
			return
		}
		http.Redirect(w, r, "/rounds?did=lifted", http.StatusSeeOther)
		return
	}
	s.failed(w, r, &schedule.Error{Code: schedule.NotFound, Message: "nothing like that stands among what was decided by hand: perhaps it was lifted already"})
}
