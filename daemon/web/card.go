package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// cardLines is how many lines a paper card has, and how many are typed in at
// once.
const cardLines = 10

// cardKinds are what a line of a card can say; for all else there is a form.
var cardKinds = []schedule.EntryKind{schedule.Wound, schedule.Oiled, schedule.Inspected, schedule.Measured, schedule.Set,
	schedule.Stopped, schedule.Started, schedule.Noted}

// cardPage is a paper card for a tower without a signal.
type cardPage struct {
	Clock    schedule.Clock
	Site     schedule.Site
	Printed  string
	Locked   string
	Findings []string // what was found to act on
	Tasks    []cardTask
	Here     string   // what to mind there whatever the work; empty: nothing
	Cautions []string // numbered: each kind of work's own
	Bearings []cardBearing
	Kinds    string // what a line can say, and what goes with each
	Lines    []int
	Who      []dutyLine
}

// cardTask is what is to be done, in a line.
type cardTask struct {
	What, When, Window string
	Caution            int // its number
}

// cardBearing is a bearing as its reading is written down.
type cardBearing struct{ Name, Last string }

// cardAsks is what a line must hold beside what was done.
var cardAsks = map[schedule.EntryKind]string{
	schedule.Inspected: "sound, watch or act",
	schedule.Measured:  "the bearing, and the reading with its unit",
	schedule.Set:       "the error found, or what is left of it",
	schedule.Noted:     "what was seen",
}

// cardKindsOf are the kinds that somebody's lines may be of.
func cardKindsOf(actor schedule.Actor, c schedule.Clock) []schedule.EntryKind {
	may := actor.Kinds(c)
	return slices.DeleteFunc(slices.Clone(cardKinds), func(k schedule.EntryKind) bool { return !slices.Contains(may, k) })
}

// cardWords says what a line can say: of whoever may log nothing, and prints the
// card for others, all of it.
func cardWords(kinds []schedule.EntryKind) string {
	if len(kinds) == 0 {
		kinds = cardKinds
	}
	var out []string
	for _, k := range kinds {
		line := string(k)
		if asks := cardAsks[k]; asks != "" {
			line += " (" + asks + ")"
		}
		out = append(out, line)
	}
	return strings.Join(out, "; ")
}

func (s *server) card(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	today := schedule.DateOf(a.Now, a.Zone)
	page := cardPage{Clock: a.Clock, Site: a.Site, Printed: today.Words(), Locked: lockWords(a), Findings: foundWords(a), Kinds: cardWords(cardKindsOf(by(r), a.Clock)),
		Lines: make([]int, cardLines), Who: duties(snap.Fleet, a.Clock)}
	here := schedule.Caution("", a.Site, a.Clock.Cautions)
	if here != deferral {
		page.Here = here
	}
	for _, t := range a.Tasks {
		if t.State == schedule.Ahead && t.From.Sub(today) > daysAhead {
			continue
		}
		if t.Rank != schedule.Danger {
			t.Caution = strings.TrimSuffix(ownCaution(t.Caution, here), " "+deferral) // which stands below them
		}
		line := cardTask{What: schedule.Capital(t.What()), When: when(t, today), Window: window(t)}
		if t.Caution != "" {
			if line.Caution = slices.Index(page.Cautions, t.Caution) + 1; line.Caution == 0 {
				page.Cautions = append(page.Cautions, t.Caution)
				line.Caution = len(page.Cautions)
			}
		}
		page.Tasks = append(page.Tasks, line)
	}
	for _, t := range a.Clock.Trains {
		for _, arbor := range t.Arbors {
			for _, b := range arbor.Bearings {
				l := cardBearing{Name: schedule.NameOf(b.Name, arbor.Name) + ", " + string(b.Shake)}
				for _, e := range slices.Backward(a.Entries) {
					if e.Bearing == b.Code && e.Reading != nil {
						l.Last = e.Reading.Value.String() + ", " + day(e.At, a.Zone)
						break
					}
				}
				page.Bearings = append(page.Bearings, l)
			}
		}
	}
	s.show(w, r, http.StatusOK, "card", view{Title: "Card for " + a.Clock.Name, Here: "/", Body: page, Now: a.Now, Zone: a.Zone})
}

// typedPage is a filled card being typed in.
type typedPage struct {
	Clock  schedule.Clock
	Action string
	Key    string
	Rows   []typedRow
	Faults []fault
	Kept   string // what was logged just now; empty: nothing
	Whose  string // see whose
	Made   int64
}

// typedRow is one line of a card.
type typedRow struct {
	Number int
	Fields []field
}

// paper is a card under way.
type paper struct {
	entryForm
	kinds   []schedule.EntryKind
	doubted int // the line whose reading was asked back; 0: none
	unit    wear.Unit
}

// typing finds the clock of a card, and sees that the reader may log there.
func (s *server) typing(w http.ResponseWriter, r *http.Request) (c paper, ok bool) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return c, false
	}
	if err := mayLog(snap.Fleet, by(r), a.Clock, ""); err != nil {
		s.failed(w, r, err)
		return c, false
	}
	c = paper{entryForm: entryForm{a: a, fleet: snap.Fleet, values: url.Values{}, now: s.Now()}, unit: unitsOf(snap.Fleet, by(r))}
	c.kinds = cardKindsOf(by(r), a.Clock)
	return c, true
}

func (s *server) cardForm(w http.ResponseWriter, r *http.Request) {
	c, ok := s.typing(w, r)
	if !ok {
		return
	}
	c.values.Set("key", s.NewKey())
	for n := 1; n <= cardLines; n++ {
		c.values.Set(fmt.Sprintf("by-%d", n), by(r).Person)
	}
	kept := ""
	if r.URL.Query().Get("kept") == "0" {
		kept = "That card was logged already: it stands in the log of the clock once."
	}
	s.showCard(w, r, http.StatusOK, c, nil, kept)
}

// cardEntry logs what is typed in: every line, or none where one is refused.
func (s *server) cardEntry(w http.ResponseWriter, r *http.Request) {
	c, ok := s.typing(w, r)
	if !ok || !s.readForm(w, r, &c.entryForm) {
		return
	}
	var es []schedule.Entry
	var faults []fault
	for n := 1; n <= cardLines; n++ {
		if !c.written(n) {
			continue
		}
		e, wrong := c.line(n)
		if len(wrong) == 0 {
			if err := c.fleet.AllowEntry(by(r), e, nil, c.now); err != nil {
				wrong = []fault{{"kind", sentence(err.Error())}}
			}
			e.Source = sourceOf(by(r), e)
		}
		if x, ok := c.alike(e); ok && len(wrong) == 0 && c.at(n, "again") != c.againMark(n) {
			wrong = []fault{{"again", "This is logged already: " + schedule.EntryWords(c.a.Clock, c.a.Zone, x) + ", " + wall(x.At, c.a.Zone) + "."}}
		}
		faults = append(faults, ofLine(n, wrong)...)
		es = append(es, e)
	}
	if len(es) == 0 {
		faults = []fault{{"date-1", "No line is filled in."}}
	}
	if c.values.Has("mend") {
		s.showCard(w, r, http.StatusOK, c, lookedOver(faults), "")
		return
	}
	if len(faults) > 0 {
		s.showCard(w, r, http.StatusUnprocessableEntity, c, faults, "")
		return
	}
	stored, err := s.Desk.LogTogether(r.Context(), es)
	var one *schedule.OneOfMany
	var mend *schedule.Error
	switch {
	case errors.As(err, &mend):
		n := 0
		if errors.As(err, &one) {
			n = c.numberOf(one.Key)
		}
		if mend.Code == schedule.Doubtful {
			c.doubted = n
		}
		s.showCard(w, r, statusOf(mend.Code), c, ofLine(n, []fault{{mend.Field, sentence(mend.Message)}}), "")
	case err != nil:
		if words, ok := s.formWords(err); ok {
			w.Header().Set("Retry-After", "10")
			s.showCard(w, r, http.StatusServiceUnavailable, c, []fault{{"", words}}, "")
			return
		}
		s.fault(w, r, err)
	case len(stored) > 0:
		s.logged(w, r, c.values.Get("key"), "/clock/"+url.PathEscape(c.a.Clock.Slug)+"/done/"+url.PathEscape(stored[len(stored)-1].ID))
	default:
		s.logged(w, r, c.values.Get("key"), "/clock/"+url.PathEscape(c.a.Clock.Slug)+"/card/entry?kept=0")
	}
}

// sameWind is within what time a train is not wound twice (judgement, no source).
const sameWind = time.Hour

// alike finds what stands in the log already of what a line says: the same work in
// the same minute, or the same wind within the hour. The card itself, sent twice,
// is not meant.
func (c paper) alike(e schedule.Entry) (schedule.Entry, bool) {
	for _, x := range slices.Backward(c.a.Entries) {
		if x.Kind != e.Kind || x.Key == e.Key {
			continue
		}
		minute := x.Train == e.Train && x.Bearing == e.Bearing && x.At.Truncate(time.Minute).Equal(e.At.Truncate(time.Minute))
		wind := e.Kind == schedule.Wound && (x.Train == e.Train || x.Train == "" || e.Train == "") && x.At.Sub(e.At).Abs() < sameWind
		if minute || wind {
			return x, true
		}
	}
	return schedule.Entry{}, false
}

// againMark is what the tick sends that a line is to be logged beside what is
// alike: it holds for the line as it stands.
func (c paper) againMark(n int) string {
	return strings.Join([]string{c.at(n, "date"), c.at(n, "time"), c.at(n, "kind"), c.at(n, "of")}, " ")
}

// ofLine puts faults to the fields of a line, and names it; 0: to none.
func ofLine(n int, wrong []fault) []fault {
	out := make([]fault, len(wrong))
	for i, x := range wrong {
		if n == 0 {
			out[i] = fault{"", x.Message}
			continue
		}
		if x.Field == "at" || x.Field == "" || x.Field == "key" {
			x.Field = "date"
		}
		if x.Field == "bearing" || x.Field == "train" {
			x.Field = "of"
		}
		if name, ok := strings.CutSuffix(x.Field, "Way"); ok { // it stands beside the figure
			x.Field, x.Message = name, "Write fast or slow after it."
		}
		out[i] = fault{fmt.Sprintf("%s-%d", x.Field, n), fmt.Sprintf("Line %d: %s", n, x.Message)}
	}
	return out
}

// at is a value of a line.
func (c paper) at(n int, name string) string {
	name, unit := strings.CutSuffix(name, "Unit")
	name += "-" + strconv.Itoa(n)
	if unit {
		name += "Unit"
	}
	return strings.TrimSpace(c.values.Get(name))
}

// written reports whether anything but a choice is filled in in a line.
func (c paper) written(n int) bool {
	return slices.ContainsFunc([]string{"date", "time", "kind", "found", "errorFound", "errorLeft", "value", "note"}, func(name string) bool { return c.at(n, name) != "" })
}

// keyOf and numberOf tie a line to the key of its entry.
func (c paper) keyOf(n int) string {
	return fmt.Sprintf("%s line %d", c.values.Get("key"), n)
}

// ofCard is the key of the card that an entry is a line of.
func ofCard(e schedule.Entry) (card string, ok bool) {
	card, n, ok := strings.Cut(e.Key, " line ")
	_, err := strconv.Atoi(n)
	return card, ok && err == nil
}

func (c paper) numberOf(key string) int {
	for n := 1; n <= cardLines; n++ {
		if c.keyOf(n) == key {
			return n
		}
	}
	return 0
}

// line makes the entry of a line, by way of the form of its kind.
func (c paper) line(n int) (schedule.Entry, []fault) {
	if !slices.Contains(c.kinds, schedule.EntryKind(c.at(n, "kind"))) {
		return schedule.Entry{}, []fault{{"kind", "Choose what was done."}}
	}
	if c.at(n, "date") == "" || c.at(n, "time") == "" {
		return schedule.Entry{}, []fault{{"date", "Give the date and the time: about will do for the time."}}
	}
	f := c.entryForm
	f.values = url.Values{"key": {c.keyOf(n)}, "at": {c.at(n, "date") + "T" + c.at(n, "time")}}
	for _, name := range []string{"kind", "by", "note", "found", "errorFound", "errorFoundWay", "errorLeft", "errorLeftWay", "value", "valueUnit", "sure"} {
		f.values.Set(name, c.at(n, name))
	}
	of := c.at(n, "of")
	if code, ok := strings.CutPrefix(of, "train/"); ok {
		f.values.Set("train", code)
	} else if code, ok := strings.CutPrefix(of, "bearing/"); ok {
		f.values.Set("bearing", code)
	}
	if f.values.Get("kind") == string(schedule.Stopped) {
		f.values.Set("cause", string(schedule.NotKnown)) // why stands in the note
	}
	e, faults := f.entry()
	// What the form of its kind does not ask is not passed over in silence.
	for name, words := range map[string]string{"value": "a reading", "errorLeft": "an error left", "errorFound": "an error found", "found": "how it was found"} {
		said := c.at(n, name) != ""
		kept := name == "found" && e.Found != "" || name == "value" && e.Reading != nil || name == "errorLeft" && e.ErrorLeft != nil || name == "errorFound" && e.ErrorFound != nil
		if said && !kept && len(faults) == 0 {
			faults = []fault{{name, fmt.Sprintf("What was %s has no place for %s: log that in a line of its own", e.Kind, words)}}
		}
	}
	if bearing := f.values.Get("bearing"); bearing != "" && e.Bearing == "" && len(faults) == 0 {
		faults = []fault{{"of", fmt.Sprintf("What was %s is of the clock or of a train, not of a bearing", e.Kind)}}
	}
	return e, faults
}

func (s *server) showCard(w http.ResponseWriter, r *http.Request, status int, c paper, faults []fault, kept string) {
	page := typedPage{Clock: c.a.Clock, Action: "/clock/" + url.PathEscape(c.a.Clock.Slug) + "/card/entry", Key: c.values.Get("key"), Faults: faults, Kept: kept, Whose: s.whose(r), Made: c.now.UnixMilli()}
	for n := 1; n <= cardLines; n++ {
		page.Rows = append(page.Rows, c.row(n, faults))
	}
	title := "Type in a card, " + c.a.Clock.Name
	if len(faults) > 0 {
		title = "Not logged yet: " + title
	}
	s.show(w, r, status, "cardentry", view{Title: title, Here: "/", Body: page, Now: c.a.Now, Zone: c.a.Zone})
}

// row are the questions of a line.
func (c paper) row(n int, faults []fault) typedRow {
	kind := field{Name: "kind", Label: "What", Input: "select", Options: []option{{"", "Choose"}}}
	for _, k := range c.kinds {
		kind.Options = append(kind.Options, option{string(k), string(k)})
	}
	of := field{Name: "of", Label: "Of", Input: "select", Options: []option{{"", "the clock"}}}
	for _, o := range c.trainField("").Options[1:] {
		of.Options = append(of.Options, option{"train/" + o.Value, o.Label})
	}
	for _, o := range c.bearingField(false).Options[1:] {
		of.Options = append(of.Options, option{"bearing/" + o.Value, o.Label})
	}
	whose := c.entryForm
	whose.values = url.Values{"by": {c.at(n, "by")}}
	who := whose.whoField()
	who.Label = "By"
	row := typedRow{Number: n, Fields: []field{{Name: "date", Label: "Date", Input: "date"}, {Name: "time", Label: "Time", Input: "time"}, kind, of}}
	if slices.Contains(c.kinds, schedule.Inspected) {
		row.Fields = append(row.Fields, field{Name: "found", Label: "Found", Input: "select", Options: []option{{"", "not said"},
			{string(schedule.Sound), "sound"}, {string(schedule.Watch), "watch"}, {string(schedule.Act), "act"}}})
	}
	row.Fields = append(row.Fields, []field{{Name: "errorFound", Label: "Error found", Input: "text"}, {Name: "errorLeft", Label: "Error left", Input: "text"},
		{Name: "value", Label: "Reading", Input: "length", Unit: string(c.unit)}}...)
	if c.doubted == n || c.at(n, "sure") != "" {
		mark := entryForm{values: url.Values{"bearing": {strings.TrimPrefix(c.at(n, "of"), "bearing/")}, "value": {c.at(n, "value")}, "valueUnit": {c.at(n, "valueUnit")}}}.sureMark()
		row.Fields = append(row.Fields, field{Name: "sure", Label: "The reading is right as written", Input: "checkbox", Mark: mark})
	}
	if c.at(n, "again") != "" || slices.ContainsFunc(faults, func(x fault) bool { return x.Field == fmt.Sprintf("again-%d", n) }) {
		row.Fields = append(row.Fields, field{Name: "again", Label: "Log it all the same", Input: "checkbox", Mark: c.againMark(n)})
	}
	row.Fields = append(row.Fields, who, field{Name: "note", Label: "Note", Input: "text"})
	for i := range row.Fields {
		q := &row.Fields[i]
		q.Value = c.at(n, q.Name)
		if q.Mark != "" && q.Value != q.Mark {
			q.Value = ""
		}
		if unit := c.at(n, q.Name+"Unit"); unit != "" {
			q.Unit = unit
		}
		q.Name += "-" + strconv.Itoa(n)
		for _, x := range faults {
			if x.Field == q.Name {
				q.Fault = x.Message
			}
		}
	}
	return row
}
