package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// somethingWrong is the reason that wants words beside it.
const somethingWrong = "something is wrong"

// unwoundReasons are why a clock could not be wound, as people say it.
var unwoundReasons = []string{"the weather", "no access", "felt unwell", somethingWrong}

// unwoundFields ask why it could not be wound.
func (q quick) unwoundFields(faults []fault) []field {
	reason := field{Name: "reason", Label: "Why", Input: "select", Required: true, Options: []option{{"", "Choose one"}}}
	for _, w := range unwoundReasons {
		reason.Options = append(reason.Options, option{w, w})
	}
	return q.withFaults([]field{reason, {Name: "say", Label: "In your words", Input: "text", Hint: "Needed where something is wrong: say what."}}, faults)
}

// withFaults puts what was answered, and what is wrong with it, to questions that
// the full form does not have.
func (q quick) withFaults(out []field, faults []fault) []field {
	for i := range out {
		out[i].Value = q.values.Get(out[i].Name)
		for _, x := range faults {
			if x.Field == out[i].Name {
				out[i].Fault = x.Message
			}
		}
	}
	return out
}

// unwoundForm is the address of the form that says why a clock was not wound;
// empty: the reader may not say so.
func unwoundForm(reader schedule.Actor, a schedule.Assessment, subject string) string {
	if !slices.Contains(reader.Kinds(a.Clock), schedule.Noted) {
		return ""
	}
	j, _ := jobNamed("unwound")
	return j.address(a.Clock.Slug, subject)
}

// unwound puts the reason into the note that the form logs, or says what to mend.
func (q quick) unwound() []fault {
	reason, say := q.values.Get("reason"), strings.TrimSpace(q.values.Get("say"))
	switch {
	case !slices.Contains(unwoundReasons, reason):
		return []fault{{"reason", "Say why it was not wound."}}
	case reason == somethingWrong && say == "":
		return []fault{{"say", "Say what is wrong, in a few words."}}
	case say != "":
		reason += ", " + say
	}
	q.values.Set("note", schedule.NotDone("winding of the "+schedule.And(trainNames(q.asked())), reason))
	return nil
}

// asked are the trains that the form is about: the one of its link, or all that
// are wound by hand.
func (q quick) asked() []wear.Train {
	if t, ok := q.a.Clock.Train(q.values.Get("train")); ok {
		return []wear.Train{t}
	}
	if t, ok := q.a.Clock.Train(q.subject); ok {
		return []wear.Train{t}
	}
	return q.wound()
}

func trainNames(trains []wear.Train) []string {
	var out []string
	for _, t := range trains {
		out = append(out, schedule.NameOfTrain(t))
	}
	return out
}

// allTrains names several trains that are wound on one climb.
func allTrains(n int) string {
	words := map[int]string{2: "both trains", 3: "all three trains", 4: "all four trains"}
	if w, ok := words[n]; ok {
		return w
	}
	return fmt.Sprintf("all %d trains", n)
}

// askedNext says who is asked to wind after somebody could not, or whom to tell.
func (s *server) askedNext(ctx context.Context, f schedule.Fleet, a schedule.Assessment, by string) string {
	letters := s.writes(ctx)
	for _, role := range []schedule.Role{schedule.Deputy, schedule.Keeper, schedule.Conservator} {
		var reached, named []string
		for _, d := range a.Clock.Duties {
			if d.Role != role || d.Person == by {
				continue
			}
			named = append(named, personName(f, d.Person))
			if p, ok := f.Person(d.Person); ok && p.Email != "" {
				reached = append(reached, personName(f, d.Person))
			}
		}
		switch {
		case letters && len(reached) > 0:
			return fmt.Sprintf("The clock goes on by its log. %s, the %s, is asked next, by letter, before it may stop. It helps to telephone as well.", schedule.And(reached), role)
		case len(named) > 0:
			return fmt.Sprintf("The clock goes on by its log. Nobody else is asked by letter: tell %s, the %s.", schedule.And(named), role)
		}
	}
	return "The clock goes on by its log. Nobody else is named who could wind it: tell whoever you have the key from."
}

// writes reports whether letters are written, as far as the pages know.
func (s *server) writes(ctx context.Context) bool {
	if s.Settings == nil {
		return true
	}
	set, err := s.Settings(ctx)
	return err == nil && set.Server != ""
}

// stopTold says who is told by letter that a clock was found stopped, or whom to
// tell.
func (s *server) stopTold(ctx context.Context, f schedule.Fleet, c schedule.Clock, e schedule.Entry) string {
	var told, named []string
	for _, p := range f.StopTold(c, e.By) {
		name := personName(f, p.Slug)
		named = append(named, name)
		if p.Email != "" && !s.declines(ctx, p.Slug, schedule.Standing) {
			told = append(told, name)
		}
	}
	switch {
	case s.writes(ctx) && len(told) > 0:
		return "A letter tells " + schedule.And(told) + " that it stands, at the hours that they chose."
	case len(named) > 0:
		return "Nobody is told of it by letter: tell " + schedule.And(named) + "."
	}
	return "Nobody else is named who sees to it, so nobody is told by letter."
}

// declines reports whether somebody has declined letters of a kind.
func (s *server) declines(ctx context.Context, person string, kind schedule.NoticeKind) bool {
	if s.Passes == nil {
		return false
	}
	all, err := s.Passes.Declined(ctx)
	return err == nil && slices.ContainsFunc(all, func(d schedule.Decline) bool { return d.Person == person && d.Kind == kind })
}

// mayStand reports whether a winder is asked whether the clock went: by its log
// it goes, and its wind may have run out; and all that follows is theirs to log.
func (q quick) mayStand() bool {
	kinds := q.reader.Kinds(q.a.Clock)
	for _, k := range []schedule.EntryKind{schedule.Stopped, schedule.Started, schedule.Set} {
		if !slices.Contains(kinds, k) {
			return false
		}
	}
	return q.word == "wind" && q.a.Going && slices.ContainsFunc(q.a.Trains, mayHaveRunDown)
}

// mayHaveRunDown reports of the train that makes a clock go that its wind is used
// up by the log.
func mayHaveRunDown(st schedule.TrainState) bool { return st.Train.Kind == wear.Going && st.Wind.Past }

// wentNotSaid reports whether that was asked and not answered. A form that was
// filled in before its wind could have run out asked nothing.
func (q quick) wentNotSaid() bool {
	return q.mayStand() && q.values.Has("went") && !slices.Contains([]string{"yes", "no"}, q.values.Get("went"))
}

// standFields ask whether it went, and at what its hands stood.
func (q quick) standFields(faults []fault) []field {
	if !q.mayStand() {
		return nil
	}
	return q.withFaults([]field{{Name: "went", Label: "Was it going when you came?", Input: "select", Required: true, Options: []option{{"", "Choose one"},
		{"yes", "Yes, it was going"}, {"no", "No: I wound it, set it right and set it going"}}},
		{Name: "hands", Label: "If it stood: the time on its hands", Input: "time", Hint: "Leave empty if you did not see."}}, faults)
}

// fromStop are the entries of a clock that was found run down, wound, set going
// and set right, in that order: the last at the time given.
func (q quick) fromStop(wound schedule.Entry) []schedule.Entry {
	at := wound.At
	of := func(kind schedule.EntryKind, word string, before time.Duration) schedule.Entry {
		return schedule.Entry{Clock: wound.Clock, Kind: kind, At: at.Add(-before), By: wound.By, Source: wound.Source, Key: together(wound.Key, word)}
	}
	stop := of(schedule.Stopped, "stopped", 3*time.Second)
	stop.Cause, stop.Since, stop.Note = schedule.RanDown, q.stoodSince(at), "Found standing at the winding; likely run down"
	wound.At, wound.ErrorFound, wound.ErrorLeft, wound.Sure = at.Add(-2*time.Second), nil, nil, false
	set := of(schedule.Set, "set", 0)
	set.ErrorLeft = new(float64)
	return []schedule.Entry{stop, wound, of(schedule.Started, "started", time.Second), set}
}

// together is the key of what is logged with an entry; nothing where that has
// none.
func together(key, word string) string {
	if key == "" {
		return ""
	}
	return key + " " + word
}

// stoodSince is when a clock stopped whose hands show a time: of the hours at
// which a dial shows it, since it was last known to go, the one nearest to when
// its wind ran out by reckoning. Zero: nobody read the hands.
func (q quick) stoodSince(at time.Time) time.Time {
	shown, err := time.Parse("15:04", q.values.Get("hands"))
	if err != nil {
		return time.Time{}
	}
	var went, stops, best time.Time
	for _, e := range q.a.Entries {
		if e.Kind != schedule.Stopped && e.At.Before(at) && (e.Kind == schedule.Wound || e.Kind == schedule.Started || e.Kind == schedule.Set || e.Kind == schedule.Inspected || e.Kind == schedule.Regulated) {
			went = e.At
		}
	}
	for _, st := range q.a.Trains {
		if mayHaveRunDown(st) && (stops.IsZero() || st.Wind.Stops.Before(stops)) {
			stops = st.Wind.Stops
		}
	}
	day := at.In(q.a.Zone)
	for half := range 2 * 120 {
		t := time.Date(day.Year(), day.Month(), day.Day()-half/2, shown.Hour()%12+12*(half%2), shown.Minute(), 0, 0, q.a.Zone)
		if t.Before(at) && t.After(went) && (best.IsZero() || t.Sub(stops).Abs() < best.Sub(stops).Abs()) {
			best = t
		}
	}
	return best.UTC()
}

// doFromStop logs a wind of a clock that was found standing, with all that goes
// with it, or nothing.
func (s *server) doFromStop(w http.ResponseWriter, r *http.Request, q quick) {
	e, faults := q.entry()
	if len(faults) == 0 && len(q.raw) > 0 {
		faults = []fault{{"", "A picture cannot go with four entries: log it with a note of its own, and send this without it."}}
	}
	if len(faults) == 0 {
		e.Source = sourceOf(by(r), e)
	}
	es := q.fromStop(e)
	for _, x := range es {
		if err := q.fleet.AllowEntry(by(r), x, nil, s.Now()); err != nil && len(faults) == 0 {
			s.failed(w, r, err)
			return
		}
	}
	if len(faults) > 0 {
		s.showDo(w, r, http.StatusUnprocessableEntity, q, faults)
		return
	}
	_, err := s.Desk.LogTogether(r.Context(), es)
	var mend *schedule.Error
	switch {
	case errors.As(err, &mend):
		s.showDo(w, r, statusOf(mend.Code), q, []fault{{mend.Field, sentence(mend.Message)}})
	case err != nil:
		s.fault(w, r, err)
	default:
		s.loggedTogether(w, r, q, e)
	}
}

// loggedTogether goes to what came of a wind with all that went with it.
func (s *server) loggedTogether(w http.ResponseWriter, r *http.Request, q quick, e schedule.Entry) {
	to := "/clock/" + url.PathEscape(q.a.Clock.Slug)
	facts, err := s.Desk.Facts(r.Context(), q.a.Clock.Slug)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	if i := slices.IndexFunc(facts.Entries, func(x schedule.Entry) bool { return e.Key != "" && x.Key == e.Key }); i >= 0 {
		to += "/done/" + url.PathEscape(facts.Entries[i].ID)
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// beside are the entries that were logged together with one.
func beside(a schedule.Assessment, e schedule.Entry) []schedule.Entry {
	var out []schedule.Entry
	if card, ok := ofCard(e); ok {
		for _, x := range a.Entries {
			if other, ok := ofCard(x); ok && other == card && x.ID != e.ID {
				out = append(out, x)
			}
		}
		return out
	}
	for _, x := range a.Entries {
		if e.Key != "" && x.ID != e.ID && (x.Key == together(e.Key, "stopped") || x.Key == together(e.Key, "started") || x.Key == together(e.Key, "set")) {
			out = append(out, x)
		}
	}
	return out
}
