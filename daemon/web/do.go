package web

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// job is a quick form: what one kind of work asks of whoever has just done it,
// with cold fingers. The full form is for all else.
type job struct {
	word   string             // in its address
	task   schedule.TaskKind  // whose dates and caution stand with it
	kind   schedule.EntryKind // what it logs
	head   string
	button string
	asks   []string // the questions that stand first, in order
}

// jobs are the quick forms, in the order in which a clock's page offers them.
var jobs = []job{
	{"wind", schedule.Winding, schedule.Wound, "Wind", "Log the winding", []string{"train", "turns", "fallLeft", "errorFound", "errorFoundWay", "sure"}},
	{"look", schedule.Inspection, schedule.Inspected, "Look it over", "Log the look", []string{"found", "errorFound", "errorFoundWay", "sure"}},
	{"oil", schedule.Oiling, schedule.Oiled, "Oil", "Log the oiling", []string{"train", "bearing", "oil", "oilFound"}},
	{"measure", schedule.Measuring, schedule.Measured, "Measure", "Log the reading", []string{"bearing", "value", "sure", "instrument"}},
	{"set", schedule.Setting, schedule.Set, "Set the hands", "Log the setting", []string{"right", "errorFound", "errorFoundWay", "sure", "errorLeft", "errorLeftWay"}},
	{"change", schedule.TimeChange, schedule.Set, "Change the time", "Log the change", []string{"change", "errorLeft", "errorLeftWay"}},
	{"line", schedule.LineLook, schedule.Inspected, "Look at a line", "Log the look at the line", []string{"line", "found", "wires6", "strand"}},
	{"season", schedule.Seasonal, schedule.Noted, "Work of the season", "Log that it is done", []string{"season"}},
	{"power", schedule.PowerCheck, schedule.Inspected, "Check it after the power cut", "Log the look", []string{"train", "found", "errorFound", "errorFoundWay", "sure"}},
	{"stopped", "", schedule.Stopped, "Found stopped", "Log the stop", []string{"train", "cause", "sure", "since"}},
	{"unwound", "", schedule.Noted, "Could not wind", "Log it", []string{"reason", "say"}},
	{"started", schedule.Restart, schedule.Started, "Set going again", "Log the start", []string{"train"}},
}

// always are the jobs that a clock's page offers whether or not they are due.
var always = []string{"wind", "look", "oil", "measure", "set", "stopped", "started"}

// ofOne are the questions that say, by the word of a job, on which one it was done.
var ofOne = map[string]string{"line": "line", "measure": "bearing", "season": "season"}

// jobNamed finds a quick form by its word.
func jobNamed(word string) (job, bool) {
	i := slices.IndexFunc(jobs, func(j job) bool { return j.word == word })
	if i < 0 {
		return job{}, false
	}
	return jobs[i], true
}

// jobOf finds the quick form of a kind of task.
func jobOf(kind schedule.TaskKind) (job, bool) {
	i := slices.IndexFunc(jobs, func(j job) bool { return j.task == kind && kind != "" })
	if i < 0 {
		return job{}, false
	}
	return jobs[i], true
}

// address is where the quick form of a clock stands, for a Task.Subject.
func (j job) address(clock, subject string) string {
	to := "/clock/" + url.PathEscape(clock) + "/do/" + j.word
	if subject != "" {
		to += "?" + url.Values{"subject": {subject}}.Encode()
	}
	return to
}

// jobLink leads to a quick form.
type jobLink struct{ Link, Head string }

// jobLinks are the quick forms that a reader may use on a clock.
func jobLinks(reader schedule.Actor, a schedule.Assessment) []jobLink {
	var out []jobLink
	kinds := reader.Kinds(a.Clock)
	for _, j := range jobs {
		due := slices.ContainsFunc(a.Tasks, func(t schedule.Task) bool { return t.Kind == j.task && pressing(t.State) })
		if !slices.Contains(kinds, j.kind) || !(due || slices.Contains(always, j.word)) || !j.fits(a) {
			continue
		}
		out = append(out, jobLink{j.address(a.Clock.Slug, ""), j.head})
	}
	return out
}

// fits reports whether a clock has what a job is about.
func (j job) fits(a schedule.Assessment) bool {
	hand := slices.ContainsFunc(a.Clock.Trains, func(t wear.Train) bool { return t.Drive == wear.HandWound })
	switch j.word {
	case "wind", "unwound":
		return hand
	case "measure":
		return len(a.Outlooks) > 0
	case "line":
		return len(a.Clock.Care.Lines) > 0
	case "started":
		return !a.Going
	case "stopped":
		return a.Going
	}
	return true
}

// doPage is a quick form, empty or refused.
type doPage struct {
	Clock    schedule.Clock
	Head     string
	What     string // what is to be done, in one sentence
	When     string // when it is due; empty: nothing of the kind is
	Caution  string
	Access   string     // the way in and the keys; empty: not said
	People   []dutyLine // who looks after the clock
	Locked   string
	Findings []string // what was found to act on, whatever the work
	Barred   bool     // it must not be done while the clock is locked
	Action   string
	Shows    bool // it takes pictures
	Button   string
	Kind     schedule.EntryKind
	Key      string
	Subject  string
	Fields   []field
	Now      string // when and who, in one line
	NowOpen  bool
	Times    []field // when and who
	More     []field
	MoreOpen bool
	Refusal  toMend
	Unwound  string // address of the form that says why it was not wound
	Full     string // address of the full form
	Others   []jobLink
	Whose    string // see whose
	Rendered int64  // when this page was made, in ms since 1970
}

// toMend says why nothing is logged yet: the first thing on a form's page.
type toMend struct {
	Faults []fault // none: it is not refused
	// Doubted: a reading or an error is asked back; Mark is what the tick sends
	// that it is right, and Ticked that it is ticked.
	Doubted, Ticked bool
	Mark            string
	Lost            string // what to say of the pictures that were sent with it
	named           string
	Repair          string // address of the form that logs a repair of the same bearing
}

// refused puts what is to be mended first.
func (f entryForm) refused(faults []fault) toMend {
	out := toMend{Faults: faults, Doubted: f.doubted && len(faults) > 0, Mark: f.sureMark(), Lost: f.lost(faults), named: "error"}
	out.Ticked = f.values.Get("sure") == out.Mark
	switch f.values.Get("kind") {
	case string(schedule.Stopped):
		out.named = "cause"
	case string(schedule.Measured):
		out.named = "reading"
		out.Repair = formFor(f.a.Clock.Slug, schedule.Repaired, url.Values{"bearing": {f.values.Get("bearing")}})
	}
	return out
}

// Named is what is asked back, in a word.
func (r toMend) Named() string { return r.named }

// quick is a quick form under way.
type quick struct {
	job
	entryForm
	reader  schedule.Actor
	subject string
}

// quickly finds the job that the address names and the clock, and sees that the
// reader may log it.
func (s *server) quickly(w http.ResponseWriter, r *http.Request) (q quick, ok bool) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return q, false
	}
	j, ok := jobNamed(r.PathValue("work"))
	if !ok || j.word == "line" && !j.fits(a) {
		s.nowhere(w, r)
		return q, false
	}
	q = quick{job: j, reader: by(r), subject: r.URL.Query().Get("subject"),
		entryForm: entryForm{a: a, fleet: snap.Fleet, values: url.Values{}, now: s.Now(), shows: s.Album != nil}}
	if err := snap.Fleet.AllowEntry(q.reader, schedule.Entry{Clock: a.Clock.Slug, Kind: q.kind}, nil, q.now); err != nil {
		s.failed(w, r, err)
		return q, false
	}
	return q, true
}

// doForm shows a quick form.
func (s *server) doForm(w http.ResponseWriter, r *http.Request) {
	q, ok := s.quickly(w, r)
	if !ok {
		return
	}
	v := q.values
	v.Set("kind", string(q.kind))
	t, _ := q.due()
	if ofOne[q.word] == "" { // all of them are meant
		t.Subject = q.subject
	}
	fillFromTask(v, q.a, t)
	v.Set("by", q.reader.Person)
	v.Set("at", wallText(q.now, q.a.Zone))
	v.Set("key", s.NewKey())
	v.Set("valueUnit", string(unitsOf(q.fleet, q.reader)))
	if len(q.a.Outlooks) == 1 && q.kind == schedule.Measured {
		v.Set("bearing", q.a.Outlooks[0].Bearing.Code) // there is no other to choose
	}
	if last, ok := q.last(func(e schedule.Entry) bool { return e.Oil != "" }); ok && q.kind == schedule.Oiled {
		v.Set("oil", last.Oil)
	}
	if last, ok := q.last(func(e schedule.Entry) bool { return e.Reading != nil && e.Reading.Instrument != "" }); ok && q.kind == schedule.Measured {
		v.Set("instrument", last.Reading.Instrument)
	}
	s.showDo(w, r, http.StatusOK, q, nil)
}

// last finds the last entry that counts and is of the same bearing or train,
// where one is asked for.
func (q quick) last(is func(schedule.Entry) bool) (schedule.Entry, bool) {
	bearing, train := q.values.Get("bearing"), q.values.Get("train")
	var any schedule.Entry
	found := false
	for _, e := range slices.Backward(q.a.Entries) {
		if !is(e) {
			continue
		}
		if (bearing == "" || e.Bearing == bearing) && (train == "" || e.Train == train) {
			return e, true
		}
		if !found {
			any, found = e, true
		}
	}
	return any, found
}

// due is the task that the form is for: where it is of one, that of the one chosen.
func (q quick) due() (schedule.Task, bool) {
	subjects := []string{q.subject}
	if one := q.values.Get(ofOne[q.word]); one != "" {
		subjects = []string{one, "bearing/" + one}
	}
	i := slices.IndexFunc(q.a.Tasks, func(t schedule.Task) bool {
		return t.Kind == q.job.task && q.job.task != "" && (subjects[0] == "" || slices.Contains(subjects, t.Subject))
	})
	if i < 0 {
		return schedule.Task{Kind: q.job.task, Subject: q.subject}, false
	}
	return q.a.Tasks[i], true
}

// do logs what a quick form says, and goes to what came of it.
func (s *server) do(w http.ResponseWriter, r *http.Request) {
	q, ok := s.quickly(w, r)
	if !ok {
		return
	}
	if !s.readForm(w, r, &q.entryForm) {
		return
	}
	q.values.Set("kind", string(q.kind))
	q.values.Del("replaces") // the full form corrects
	if faults := q.missing(); len(faults) > 0 {
		s.showDo(w, r, http.StatusUnprocessableEntity, q, faults)
		return
	}
	if q.values.Get("went") == "no" && q.mayStand() {
		s.doFromStop(w, r, q)
		return
	}
	s.logFilled(w, r, q.entryForm, formOf{
		again: func(f entryForm, status int, faults []fault) {
			q.entryForm = f
			s.showDo(w, r, status, q, faults)
		},
		done: "/clock/" + url.PathEscape(q.a.Clock.Slug) + "/done/",
	})
}

// missing says what the quick form wants that the full one can do without.
func (q quick) missing() []fault {
	switch {
	case q.word == "unwound":
		return q.unwound()
	case q.wentNotSaid():
		return []fault{{"went", "Say whether it was going when you came."}}
	case q.word == "line" && q.values.Get("line") == "": // it would be a look at the whole clock
		return []fault{{"line", "Choose the line that was looked at."}}
	}
	return nil
}

func (s *server) showDo(w http.ResponseWriter, r *http.Request, status int, q quick, faults []fault) {
	v, t := q.values, schedule.Task{}
	page := doPage{
		Clock: q.a.Clock, Head: q.head, Action: q.address(q.a.Clock.Slug, q.subject), Button: q.button, Kind: q.kind, Key: v.Get("key"),
		Access: q.a.Site.Access, People: duties(q.fleet, q.a.Clock),
		Refusal: q.refused(faults), Shows: q.shows, Locked: lockWords(q.a), Findings: foundWords(q.a), Caution: q.caution(q.kind), Subject: q.subject, Whose: s.whose(r), Rendered: q.now.UnixMilli(),
	}
	t, ok := q.due()
	if which := ofOne[q.word]; which != "" && t.Subject != "" && q.values.Get(which) == "" {
		t, ok = schedule.Task{}, false // which is not said: nor here
	}
	if ok {
		page.What, page.Caution = schedule.Capital(t.What())+": "+t.Next, t.Caution
		page.When = sentence(when(t, schedule.DateOf(q.a.Now, q.a.Zone)))
		if t.State == schedule.Ahead {
			page.When += " What was done already is logged all the same."
		}
	}
	if c := q.a.Change; q.word == "change" && ok && c != nil && c.How != "" { // how, before all else
		page.What = schedule.Capital(t.What()) + ": " + c.How
	}
	if many := q.wound(); q.word == "wind" && len(many) > 1 && q.subject == "" {
		page.Head = "Wind " + allTrains(len(many))
		page.What = schedule.Capital(schedule.And(trainNames(many)))
		if ok && t.Next != "" && slices.ContainsFunc(q.a.Trains, func(st schedule.TrainState) bool { return st.Wind.Past }) {
			page.What += ": " + t.Next
		}
	}
	if q.word == "wind" {
		page.Unwound = unwoundForm(q.reader, q.a, q.subject)
	}
	page.Barred = slices.ContainsFunc(q.a.Locks, func(l schedule.Lock) bool { return l.Kind == schedule.DoNotRun }) &&
		(q.kind == schedule.Wound || q.kind == schedule.Started)
	full := url.Values{}
	fillFromTask(full, q.a, t)
	page.Full = formFor(q.a.Clock.Slug, q.kind, full)
	q.place(&page, faults)
	for _, l := range jobLinks(q.reader, q.a) {
		if l.Head != q.head {
			page.Others = append(page.Others, l)
		}
	}
	title := q.head + ", " + q.a.Clock.Name
	if len(faults) > 0 {
		title = "Not logged yet: " + title
	}
	s.show(w, r, status, "do", view{Title: title, Here: "/", Body: page, Now: q.a.Now, Zone: q.a.Zone})
}

// place puts the questions of the full form where the quick one has them: few
// first, when and who in one line, and the rest under More.
func (q quick) place(page *doPage, faults []fault) {
	all := map[string]field{}
	for _, x := range q.fields(q.kind, faults) {
		x = q.shape(x)
		switch {
		case x.Name == "sure" && page.Refusal.Doubted: // it stands with the notice
		case x.Name == "at" || x.Name == "by":
			page.Times = append(page.Times, x)
			page.NowOpen = page.NowOpen || x.Fault != "" || x.Name == "at" && x.Value != wallText(q.now, q.a.Zone)
		case slices.Contains(q.asks, x.Name) && !(x.Input == "select" && len(x.Options) < 2) && !q.ofMany(x):
			all[x.Name] = x
		default:
			page.More = append(page.More, x)
			page.MoreOpen = page.MoreOpen || x.Fault != "" || x.filled() || x.Name == "picture" && page.Refusal.Lost != ""
		}
	}
	page.Fields = q.standFields(faults)
	if q.word == "unwound" {
		page.Fields = q.unwoundFields(faults)
		page.More = slices.DeleteFunc(page.More, func(x field) bool { return x.Input != "file" })
		page.MoreOpen = false
	}
	for _, name := range q.asks {
		if x, ok := all[name]; ok {
			page.Fields = append(page.Fields, x)
		}
	}
	page.Now = "Done now, by " + personName(q.fleet, q.values.Get("by"))
	if q.values.Get("by") == "" {
		page.Now = "Done now; by whom is not said"
	}
}

// ofMany reports whether a question is of one train, while several are meant.
func (q quick) ofMany(x field) bool {
	return (x.Name == "turns" || x.Name == "fallLeft") && q.values.Get("train") == "" && len(q.wound()) > 1
}

// wound are the trains of the clock that are wound by hand.
func (q quick) wound() []wear.Train {
	return slices.DeleteFunc(slices.Clone(q.a.Clock.Trains), func(t wear.Train) bool { return t.Drive != wear.HandWound })
}

// shape makes a question of the full form one for a telephone.
func (q quick) shape(x field) field {
	zone := q.a.Zone
	switch x.Name {
	case "at":
		x.Hint += " As it stands: now."
	case "train":
		if q.kind == schedule.Wound {
			x.Options = slices.DeleteFunc(x.Options, func(o option) bool {
				t, ok := q.a.Clock.Train(o.Value)
				return ok && t.Drive != wear.HandWound
			})
		}
		if len(x.Options) == 2 { // there is one: no question
			x.Options = x.Options[:1]
		}
	case "line":
		if q.word == "line" {
			x.Label, x.Required, x.Options[0].Label = "Which line?", true, "Choose one"
		}
	case "value":
		x.Label, x.Input, x.Hint = "Reading", "length", ""
		x.Unit = cmp.Or(q.values.Get("valueUnit"), string(unitsOf(q.fleet, q.reader)))
		b := q.values.Get("bearing")
		if last, ok := q.last(func(e schedule.Entry) bool { return e.Reading != nil && e.Bearing == b }); ok {
			x.Hint = "Last time " + last.Reading.Value.String() + " " + string(last.Reading.Shake) + ", on " + day(last.At, zone) + "."
		}
	case "oil":
		if last, ok := q.last(func(e schedule.Entry) bool { return e.Oil != "" }); ok {
			x.Hint = "Last time " + last.Oil + ", on " + day(last.At, zone) + ". Mend it if it was another."
		}
	case "instrument":
		if x.Value != "" {
			x.Hint = "As last time. Mend it if it was another."
		}
	case "errorFound":
		x.Hint = "Like 90, 1:30 fast or 2 min slow. Leave empty if not looked at."
		if last, ok := q.last(func(e schedule.Entry) bool { return e.ErrorFound != nil }); ok {
			x.Hint += " Last time " + schedule.FastSlow(*last.ErrorFound) + ", on " + day(last.At, zone) + "."
		}
	}
	return x
}

// donePage says what was logged and what moved by it.
type donePage struct {
	Clock   schedule.Clock
	Logged  []string // the entry, and what was logged with it
	Note    string
	Instead string   // the entry that it corrects, in words
	Follows []string // what comes of it, beside the dates that moved
	Shown   []pictureLine
	Moved   []string
	Again   bool // it was logged before
	Correct string
	Bearing string // address of the one that was measured or repaired
	Others  []jobLink
}

// done shows what became of an entry.
func (s *server) done(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	e, ok := entryOf(a, r.PathValue("entry"))
	if !ok {
		s.failed(w, r, &schedule.Error{Code: schedule.NotFound, Field: "entry",
			Message: "the entry is not in the log of " + a.Clock.Name + ", or it was corrected already: open the clock's page"})
		return
	}
	facts, err := s.Desk.Facts(r.Context(), a.Clock.Slug)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	page := donePage{Clock: a.Clock, Note: e.Note, Again: r.URL.Query().Has("again"), Others: jobLinks(by(r), a)}
	with := beside(a, e)
	all := append(slices.Clone(with), e)
	slices.SortFunc(all, func(x, y schedule.Entry) int { return x.At.Compare(y.At) })
	for _, x := range all {
		words := schedule.Capital(schedule.EntryWords(a.Clock, a.Zone, x)) + ", " + wall(x.At, a.Zone)
		if x.By != "" {
			words += ", by " + personName(snap.Fleet, x.By)
		}
		page.Logged = append(page.Logged, words)
	}
	shown, err := s.pictures(r.Context(), a.Clock.Slug)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	page.Shown = shown[e.ID]
	if _, ok := a.Outlook(e.Bearing); ok {
		page.Bearing = bearingPath(a.Clock.Slug, e.Bearing)
	}
	if page.Instead, page.Follows, err = s.doneFollows(r.Context(), s.Desk.Snapshot().Fleet, a, e); err != nil {
		s.fault(w, r, err)
		return
	}
	if n := len(page.Shown); n > 0 {
		page.Follows = append(page.Follows, schedule.Count(n, "picture is", "pictures are")+" kept with it.")
	}
	facts.Before = nil
	facts.Entries = slices.DeleteFunc(slices.Clone(facts.Entries), func(x schedule.Entry) bool {
		return slices.ContainsFunc(all, func(y schedule.Entry) bool { return x.ID == y.ID || x.Replaces == y.ID })
	})
	page.Moved = moves(schedule.Assess(facts, a.Now), a, e)
	if _, card := ofCard(e); !card && snap.Fleet.AllowEntry(by(r), e, &e, s.Now()) == nil { // of a card, which line is not known
		page.Correct = formFor(a.Clock.Slug, e.Kind, url.Values{"replaces": {e.ID}})
	}
	s.show(w, r, http.StatusOK, "done", view{Title: "Logged for " + a.Clock.Name, Here: "/", Body: page, Now: a.Now, Zone: a.Zone})
}

// doneFollows says what an entry corrects, and what comes of it beside dates. The
// fleet is the whole one: who has a mailbox is known there alone.
func (s *server) doneFollows(ctx context.Context, f schedule.Fleet, a schedule.Assessment, e schedule.Entry) (instead string, follows []string, err error) {
	if e.Replaces != "" {
		history, err := s.history(ctx, a)
		if err != nil {
			return "", nil, err
		}
		for _, old := range history {
			if old.ID == e.Replaces {
				instead = schedule.Instant(old.At, a.Zone) + ", " + schedule.EntryWords(a.Clock, a.Zone, old)
				if old.Kind == schedule.Stopped && e.Kind != schedule.Stopped {
					follows = append(follows, "That stop is undone: by its log it did not happen.")
				}
			}
		}
	}
	if words := a.Uncounted(e); words != "" {
		follows = append(follows, words)
	}
	switch {
	case e.Kind == schedule.Stopped && !e.Cause.Deliberate():
		follows = append(follows, s.stopTold(ctx, f, a.Clock, e))
	case e.Kind == schedule.Started:
		for _, old := range slices.Backward(a.Entries) {
			if old.Kind == schedule.Stopped && old.At.Before(e.At) && (old.Train == e.Train || e.Train == "") {
				follows = append(follows, "The stop of "+schedule.Instant(old.At, a.Zone)+" is at its end.")
				break
			}
		}
	case e.Kind == schedule.Measured:
		if o, ok := a.Outlook(e.Bearing); ok {
			follows = append(follows, o.Sentence)
		}
	case e.Kind == schedule.Noted && strings.HasPrefix(e.Note, "Not done: winding"):
		follows = append(follows, s.askedNext(ctx, f, a, e.By))
	}
	return instead, follows, nil
}

// moves says which dates an entry has moved: those of its own work first.
func moves(was, is schedule.Assessment, e schedule.Entry) []string {
	var first, others []string
	find := func(a schedule.Assessment, t schedule.Task) (schedule.Task, bool) {
		i := slices.IndexFunc(a.Tasks, func(x schedule.Task) bool { return x.Kind == t.Kind && x.Subject == t.Subject })
		if i < 0 {
			return schedule.Task{}, false
		}
		return a.Tasks[i], true
	}
	say := func(t schedule.Task, words string) {
		line := schedule.Capital(t.What()) + " " + words + "."
		if old, ok := find(was, t); !t.Due.IsZero() && (!ok || old.Due != t.Due) && t.Reason != "" { // why it moved
			line += " Why: " + sentence(t.Reason)
		}
		if answeredBy[t.Kind] == e.Kind {
			first = append(first, line)
			return
		}
		others = append(others, line)
	}
	for _, t := range is.Tasks {
		old, ok := find(was, t)
		switch {
		case ok && old.Due == t.Due && old.State == t.State:
		case t.Due.IsZero():
			say(t, "is "+string(t.State)+" now")
		case ok && old.Due != t.Due && !old.Due.IsZero():
			say(t, "was due "+old.Due.Words()+", now "+t.Due.Words())
		case ok:
			say(t, "is due "+t.Due.Words())
		default:
			say(t, "is new here, due "+t.Due.Words())
		}
	}
	for _, t := range was.Tasks {
		if _, ok := find(is, t); !ok {
			words := "is not asked for now"
			if answeredBy[t.Kind] == e.Kind {
				words = "is done: it " + words
			}
			say(t, words)
		}
	}
	for _, st := range is.Trains {
		if stops := st.Wind.Stops; e.Kind == schedule.Wound && (e.Train == "" || e.Train == st.Train.Code) && stops.After(is.Now) {
			first = append(first, schedule.Capital(schedule.NameOfTrain(st.Train))+" stops about "+wall(stops, is.Zone)+" if nobody winds it.")
		}
	}
	return append(first, others...)
}

// pressedAgo reads how long before it was sent a form was pressed: one that was
// kept on a telephone without a signal means then by "now". Both instants are
// the telephone's, so that its clock may be wrong.
func (r *reader) pressedAgo() (ago time.Duration, ok bool) {
	if r.text("ago") == "" || r.text("at") != "" {
		return 0, false
	}
	d, err := time.ParseDuration(r.text("ago") + "s")
	if err != nil || d < 0 || d > mostKept || strings.ContainsAny(r.text("ago"), "hmnuµ") {
		r.fault("at", "The form was kept too long, or the clock of the telephone was moved: say when it happened.")
		return 0, false
	}
	return d, true
}

// mostKept is how long a form may lie on a telephone until "now" means nothing
// (judgement, no source).
const mostKept = 60 * 24 * time.Hour
