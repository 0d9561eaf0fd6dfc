package web

import (
	"errors"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// logPageView is the entry form, empty or refused.
type logPageView struct {
	Clock    schedule.Clock
	Kind     schedule.EntryKind
	Kinds    []kindLink // to choose another kind
	Fields   []field
	More     []field // asked seldom
	MoreHead string  // what they are
	MoreOpen bool    // one of them is filled in, or at fault
	Caution  string
	Locked   string // against what the clock is locked; empty: it is not
	Action   string // where the form goes
	Shows    bool   // it takes pictures
	Made     int64  // when this page was made, in ms since 1970
	Key      string
	Replaces string
	Old      string // the entry to be corrected, in words
	Whose    string // see whose
	Refusal  toMend
}

// kindLink leads to the form for one kind of entry.
type kindLink struct {
	Kind  schedule.EntryKind
	Link  string // empty: the one shown
	Words string // what it is for
}

// kindWords says what each kind of entry is for.
var kindWords = map[schedule.EntryKind]string{
	schedule.Wound:     "weights wound, in full or in part",
	schedule.Oiled:     "the whole clock, a train or one bearing",
	schedule.Inspected: "looked over, and going; not the time alone",
	schedule.Measured:  "a gauge reading of a bearing",
	schedule.Stopped:   "stopped by somebody, or found stopped",
	schedule.Started:   "set going again",
	schedule.Set:       "the hands put right",
	schedule.Regulated: "the rating nut turned, or grams put on",
	schedule.Cleaned:   "taken apart and cleaned",
	schedule.Repaired:  "a bush, washer, face, pivot or line renewed",
	schedule.Noted:     "only the time looked at, a lock, a power cut, work of the season, anything else",
}

// fault is one thing to mend in a form.
type fault struct {
	Field   string // empty: no one field
	Message string
}

// logForm shows the form for a new entry or for a correction.
func (s *server) logForm(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	q := r.URL.Query()
	if err := mayLog(snap.Fleet, by(r), a.Clock, schedule.EntryKind(q.Get("kind"))); err != nil {
		s.failed(w, r, err)
		return
	}
	f := entryForm{a: a, fleet: snap.Fleet, values: url.Values{}, now: s.Now(), shows: s.Album != nil}
	if id := q.Get("replaces"); id != "" {
		old, ok := entryOf(a, id)
		if !ok {
			s.failed(w, r, &schedule.Error{Code: schedule.NotFound, Field: "replaces",
				Message: "The entry to correct is not in the log of " + a.Clock.Name + ", or it was corrected already: open it from the clock's page"})
			return
		}
		f.values = valuesOf(old, a.Zone)
	}
	for _, name := range append([]string{"kind", "train", "bearing", "by", "replaces", "change"}, opens...) {
		if v := q.Get(name); v != "" {
			f.values.Set(name, v)
		}
	}
	if f.values.Get("kind") == string(schedule.Repaired) && f.values.Get("line") != "" && f.values.Get("work") == "" {
		f.values.Set("work", string(schedule.NewLine)) // no other work is of a line
	}
	if f.values.Get("by") == "" && f.values.Get("replaces") == "" {
		f.values.Set("by", by(r).Person)
	}
	if f.values.Get("at") == "" {
		f.values.Set("at", wallText(s.Now(), a.Zone))
	}
	f.values.Set("key", s.NewKey())
	s.showForm(w, r, http.StatusOK, f, nil)
}

// mayLog answers whether a reader may log entries on a clock, and those of a
// kind where one is chosen.
func mayLog(f schedule.Fleet, reader schedule.Actor, c schedule.Clock, kind schedule.EntryKind) error {
	if !slices.Contains(schedule.EntryKinds, kind) {
		return f.Allow(reader, schedule.LogEntry, c.Slug)
	}
	return f.AllowEntry(reader, schedule.Entry{Clock: c.Slug, Kind: kind}, nil, time.Time{})
}

// logEntry reads the form and logs it. A refusal shows the form again as it
// was filled in.
func (s *server) logEntry(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	f := entryForm{a: a, fleet: snap.Fleet, now: s.Now()}
	if !s.readForm(w, r, &f) {
		return
	}
	s.logFilled(w, r, f, formOf{
		again: func(f entryForm, status int, faults []fault) { s.showForm(w, r, status, f, faults) },
		done:  "/clock/" + url.PathEscape(a.Clock.Slug) + "/done/",
	})
}

// readForm reads the form of a request, or answers why it cannot.
func (s *server) readForm(w http.ResponseWriter, r *http.Request, f *entryForm) bool {
	if f.shows = s.Album != nil; f.shows && withPictures(r) {
		var err error
		if f.values, f.raw, err = readParts(r); err != nil {
			s.unread(w, r, err)
			return false
		}
		return s.theirs(w, r, f.values)
	}
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/x-www-form-urlencoded" {
		s.sorry(w, r, http.StatusUnsupportedMediaType, "That is not a form of these pages", "Nothing was logged. Open the form here and send it again.")
		return false
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return false
	}
	f.values = r.PostForm
	return s.theirs(w, r, f.values)
}

// formOf is where a form comes from: how it is shown again when it is refused,
// and the address that the ID of what it logged is put to.
type formOf struct {
	again func(f entryForm, status int, faults []fault)
	done  string
}

// logFilled logs what is filled in. A form that was logged already, with
// whatever it said then, leads to what it logged.
func (s *server) logFilled(w http.ResponseWriter, r *http.Request, f entryForm, from formOf) {
	e, faults := f.entry()
	if f.values.Get("ago") != "" && f.values.Get("at") == "" && !e.At.IsZero() { // where it is shown again
		f.values.Set("at", wallText(e.At, f.a.Zone))
	}
	if f.values.Has("mend") {
		from.again(f, http.StatusOK, lookedOver(faults))
		return
	}
	if len(faults) > 0 {
		from.again(f, http.StatusUnprocessableEntity, faults)
		return
	}
	var replaced *schedule.Entry
	if old, ok := entryOf(f.a, e.Replaces); ok && e.Replaces != "" {
		replaced = &old
	}
	if err := f.fleet.AllowEntry(by(r), e, replaced, s.Now()); err != nil {
		s.failed(w, r, err)
		return
	}
	e.Source = sourceOf(by(r), e)
	pictures, faults, err := s.shrinkAll(r, f.raw)
	if err != nil {
		w.Header().Set("Retry-After", "60")
		s.sorry(w, r, http.StatusServiceUnavailable, "The pictures of others are being taken in",
			"Nothing was logged. Go back and send the form again in a minute: without its pictures it goes at once.")
		return
	}
	if len(faults) > 0 {
		from.again(f, http.StatusUnprocessableEntity, faults)
		return
	}
	for i := range pictures {
		pictures[i].Words = schedule.Capital(schedule.EntryWords(f.a.Clock, f.a.Zone, e)) + ", " + day(e.At, f.a.Zone)
	}
	logged, err := s.Desk.LogShown(r.Context(), e, pictures)
	var mend *schedule.Error
	switch {
	case errors.As(err, &mend) && mend.Field == "key":
		s.loggedBefore(w, r, f, mend, from)
	case errors.As(err, &mend):
		f.doubted = mend.Code == schedule.Doubtful
		from.again(f, statusOf(mend.Code), []fault{{mend.Field, sentence(mend.Message)}})
	case err != nil:
		if words, ok := s.formWords(err); ok {
			w.Header().Set("Retry-After", "10")
			from.again(f, http.StatusServiceUnavailable, []fault{{"", words}})
			return
		}
		s.fault(w, r, err)
	default:
		s.logged(w, r, f.values.Get("key"), from.done+url.PathEscape(logged.ID))
	}
}

// sourceOf is where an entry of a page comes from: where it names somebody else
// than whoever is logged in, or nobody, with who that is.
func sourceOf(by schedule.Actor, e schedule.Entry) string {
	if by.Person == "" || by.Person == e.By {
		return e.Source
	}
	return schedule.PagePrefix + by.Person
}

// loggedBefore answers a form whose key is in the log: it was sent again, and
// its minute has gone on since, or it was changed after its answer was lost.
func (s *server) loggedBefore(w http.ResponseWriter, r *http.Request, f entryForm, mend *schedule.Error, from formOf) {
	facts, err := s.Desk.Facts(r.Context(), f.a.Clock.Slug)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	i := slices.IndexFunc(facts.Entries, func(e schedule.Entry) bool { return e.Key == f.values.Get("key") })
	if i < 0 { // of another clock
		from.again(f, statusOf(mend.Code), []fault{{"", sentence(mend.Message)}})
		return
	}
	s.logged(w, r, f.values.Get("key"), "/clock/"+url.PathEscape(f.a.Clock.Slug)+"/done/"+url.PathEscape(facts.Entries[i].ID)+"?again")
}

// unread answers a form that could not be read at all.
func (s *server) unread(w http.ResponseWriter, r *http.Request, err error) {
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		s.failed(w, r, err)
		return
	case errors.Is(err, errPicture):
		s.sorry(w, r, http.StatusRequestEntityTooLarge, "Those pictures are too many or too large", sentence("nothing was logged: "+err.Error()))
		return
	}
	s.sorry(w, r, http.StatusBadRequest, "The form could not be read", "Nothing was logged. Open the form here and send it again.")
}

func (s *server) showForm(w http.ResponseWriter, r *http.Request, status int, f entryForm, faults []fault) {
	v := f.values
	page := logPageView{
		Clock: f.a.Clock, Kind: schedule.EntryKind(v.Get("kind")), Key: v.Get("key"), Replaces: v.Get("replaces"), Refusal: f.refused(faults),
		Action: "/clock/" + url.PathEscape(f.a.Clock.Slug) + "/log", Made: f.now.UnixMilli(), Shows: f.shows, Whose: s.whose(r), Locked: lockWords(f.a),
	}
	if !slices.Contains(schedule.EntryKinds, page.Kind) {
		page.Kind = ""
	}
	for _, k := range by(r).Kinds(f.a.Clock) {
		l := kindLink{Kind: k, Words: kindWords[k]}
		if k != page.Kind {
			q := url.Values{"kind": {string(k)}}
			for _, name := range []string{"train", "bearing", "replaces", "line", "change"} {
				if v.Get(name) != "" {
					q.Set(name, v.Get(name))
				}
			}
			l.Link = page.Action + "?" + q.Encode()
		}
		page.Kinds = append(page.Kinds, l)
	}
	page.MoreHead = "More"
	if old, ok := entryOf(f.a, page.Replaces); ok && page.Replaces != "" {
		if page.Kind == old.Kind {
			page.MoreHead = "More, of which it says nothing"
		}
		page.Old = schedule.Instant(old.At, f.a.Zone) + ", " + schedule.EntryWords(f.a.Clock, f.a.Zone, old)
	}
	if page.Kind != "" {
		for _, q := range f.fields(page.Kind, faults) {
			if q.Name == "sure" && page.Refusal.Doubted { // it stands with the notice
				continue
			}
			if !q.More {
				page.Fields = append(page.Fields, q)
				continue
			}
			page.More = append(page.More, q)
			page.MoreOpen = page.MoreOpen || q.Fault != "" || q.filled() || q.Name == "picture" && page.Refusal.Lost != ""
		}
		page.Caution = f.caution(page.Kind)
	}
	title := "Log for " + f.a.Clock.Name
	if len(faults) > 0 {
		title = "Not logged yet: " + title
	}
	s.show(w, r, status, "log", view{Title: title, Here: "/", Body: page, Zone: f.a.Zone})
}

func entryOf(a schedule.Assessment, id string) (schedule.Entry, bool) {
	i := slices.IndexFunc(a.Entries, func(e schedule.Entry) bool { return e.ID == id })
	if i < 0 {
		return schedule.Entry{}, false
	}
	return a.Entries[i], true
}

// caution is what can hurt somebody who does what the form logs on this clock.
func (f entryForm) caution(kind schedule.EntryKind) string {
	task := f.task(kind)
	hazards := slices.Clone(f.a.Clock.Cautions)
	add := func(h schedule.Hazard) {
		if !slices.Contains(hazards, h) {
			hazards = append(hazards, h)
		}
	}
	if task == schedule.Seasonal {
		for _, s := range f.a.Clock.Care.Seasons {
			if s.Code == f.values.Get("season") {
				for _, h := range s.Hazard {
					add(h)
				}
			}
		}
	}
	driven := slices.ContainsFunc(f.a.Clock.Trains, func(t wear.Train) bool { return t.Drive != wear.Electric })
	if task == schedule.Inspection && driven && slices.Contains([]schedule.EntryKind{schedule.Started, schedule.Stopped, schedule.Noted}, kind) {
		add(schedule.HeavyFall)
	}
	return schedule.Caution(task, f.a.Site, hazards)
}

// task is the kind of task whose caution stands with the form: what is filled
// in tells it, and otherwise the kind of entry.
func (f entryForm) task(kind schedule.EntryKind) schedule.TaskKind {
	has := func(name string) bool { return f.values.Get(name) != "" }
	switch {
	case kind == schedule.Inspected && has("line"):
		return schedule.LineLook
	case kind == schedule.Repaired && (has("line") || f.values.Get("work") == string(schedule.NewLine)):
		return schedule.LineAge
	case (kind == schedule.Inspected || kind == schedule.Noted) && has("season"):
		return schedule.Seasonal
	case kind == schedule.Inspected && has("visit"):
		return schedule.Visiting
	case kind == schedule.Set && has("change") && len(f.changeFields()) > 0:
		return schedule.TimeChange
	case len(f.a.Locks) > 0 && slices.Contains([]schedule.EntryKind{schedule.Started, schedule.Stopped, schedule.Noted}, kind):
		return schedule.Locked
	}
	return cautionOf[kind]
}

// cautionOf is the kind of task that each kind of entry is most like.
var cautionOf = map[schedule.EntryKind]schedule.TaskKind{
	schedule.Wound: schedule.Winding, schedule.Oiled: schedule.Oiling, schedule.Cleaned: schedule.Oiling,
	schedule.Inspected: schedule.Inspection, schedule.Measured: schedule.Measuring, schedule.Repaired: schedule.NearLimit,
	schedule.Set: schedule.Setting, schedule.Regulated: schedule.Setting,
	schedule.Started: schedule.Inspection, schedule.Stopped: schedule.Inspection, schedule.Noted: schedule.Inspection,
}

// atLayout is how a browser writes a date and time in a form.
const atLayout = "2006-01-02T15:04"

// wallText is an instant on the wall of a zone as a form holds it; nothing for
// no instant.
func wallText(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(zone).Format(atLayout)
}
