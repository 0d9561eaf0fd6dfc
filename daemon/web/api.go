package web

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// A page of a list under /api/ holds so many, unless asked otherwise.
const (
	usualLimit = 100
	mostLimit  = 1000
)

// apiRoutes are the addresses under /api/. Each is described in
// api/openapi.json, which a test holds to this table.
func (s *server) apiRoutes() []route {
	const member = schedule.SeeClock
	return []route{
		{"/api", anyProgram, s.apiIndex, nil},
		{"/api/openapi.json", anyProgram, s.apiDescription, nil},
		{"/api/fleet", member, s.apiFleet, nil},
		{"/api/clocks/{clock}", member, s.apiClock, nil},
		{"/api/clocks/{clock}/log", member, s.apiLog, s.apiLogEntry},
		{"/api/clocks/{clock}/bearings", member, s.apiBearings, nil},
		{"/api/clocks/{clock}/bearings/{bearing}", member, s.apiBearing, nil},
		{"/api/clocks/{clock}/pictures", member, s.apiPictures, nil},
		{"/api/clocks/{clock}/pictures/{picture}", member, s.apiPicture, nil},
		{"/api/due", member, s.apiDue, nil},
		{"/api/outlook", member, s.apiOutlook, nil},
		{"/api/lesson", member, s.apiLesson, nil},
	}
}

// apiAbout says what each address is for.
var apiAbout = map[string]string{
	"/api":                                   "what there is",
	"/api/openapi.json":                      "the description of it all (OpenAPI)",
	"/api/fleet":                             "the clocks that you may see",
	"/api/clocks/{clock}":                    "one clock: description, trains, time, locks, what is due",
	"/api/clocks/{clock}/log":                "its log, newest first; POST adds an entry",
	"/api/clocks/{clock}/bearings":           "its bearings in short, the worst first",
	"/api/clocks/{clock}/bearings/{bearing}": "one bearing: readings, level, rate, limits, when the limit is reached",
	"/api/clocks/{clock}/pictures":           "the pictures of its entries, in words and by their ID",
	"/api/clocks/{clock}/pictures/{picture}": "one of them, as JPEG",
	"/api/due":                               "the due-list, the most pressing first",
	"/api/outlook":                           "the work of the twelve months ahead",
	"/api/lesson":                            "what the fleet has taught, and how good its forecasts were",
}

// sendJSON answers with JSON. A GET carries a tag of what it says, and says nothing
// again to whoever has that already.
func (s *server) sendJSON(w http.ResponseWriter, r *http.Request, status int, kind string, v any) {
	body, ok := v.([]byte)
	if !ok {
		var err error
		if body, err = json.Marshal(v); err != nil {
			s.Log.ErrorContext(r.Context(), "page failed", "method", r.Method, "path", masked(r.URL.Path), "error", err)
			status, kind, body = http.StatusInternalServerError, "application/problem+json",
				[]byte(`{"type":"about:blank","title":"Internal Server Error","status":500,"detail":"`+apiSorry[http.StatusInternalServerError]+`"}`)
		}
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	s.aged(h)
	if status == http.StatusOK && (r.Method == http.MethodGet || r.Method == http.MethodHead) {
		sum := sha256.Sum256(body)
		tag := `"` + hex.EncodeToString(sum[:12]) + `"`
		h.Set("ETag", tag)
		h.Set("Cache-Control", "private, no-cache")
		if tagged(r.Header.Get("If-None-Match"), tag) {
			h.Del("Content-Type")
			w.WriteHeader(http.StatusNotModified)
			return
		}
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(status)
	if r.Method != http.MethodHead {
		_, _ = w.Write(body)
	}
}

// tagged reports whether a tag is among those of an If-None-Match.
func tagged(tags, tag string) bool {
	for t := range strings.SplitSeq(tags, ",") {
		if t = strings.TrimPrefix(strings.TrimSpace(t), "W/"); t == tag || t == "*" {
			return true
		}
	}
	return false
}

// answerJSON sends what was asked for.
func (s *server) answerJSON(w http.ResponseWriter, r *http.Request, v any) {
	s.sendJSON(w, r, http.StatusOK, "application/json", v)
}

// asked reads the address of a list: limit, cursor, and the filters it has. A
// name that it does not have is a slip of spelling.
type asked struct {
	url.Values
	limit  int
	cursor string
}

func (s *server) asked(w http.ResponseWriter, r *http.Request, names ...string) (asked, bool) {
	q, err := readAsked(r, names)
	if err != nil {
		var mend *schedule.Error
		errors.As(err, &mend)
		s.problem(w, r, http.StatusBadRequest, mend)
	}
	return q, err == nil
}

func readAsked(r *http.Request, names []string) (asked, error) {
	wrong := func(field, format string, args ...any) error {
		return &schedule.Error{Code: schedule.Invalid, Field: field, Message: fmt.Sprintf(format, args...)}
	}
	values, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return asked{}, wrong("", "what comes after the ? of the address cannot be read: write it as name=value, with & between")
	}
	q := asked{Values: values, limit: usualLimit}
	for name, v := range values {
		switch {
		case !slices.Contains(names, name):
			return q, wrong("", "this address cannot be asked for with the name that it was, only with %s", schedule.And(append(slices.Clone(names), "nothing else")))
		case len(v) != 1 || v[0] == "" || len(v[0]) > 200:
			return q, wrong(name, "%s must be said once, in up to 200 letters, or left out", name)
		}
	}
	if v := values.Get("limit"); v != "" {
		n, err := strconv.Atoi(v)
		if err != nil || n < 1 || n > mostLimit || strconv.Itoa(n) != v {
			return q, wrong("limit", "limit must be a whole number from 1 to %d", mostLimit)
		}
		q.limit = n
	}
	q.cursor = values.Get("cursor")
	return q, nil
}

// oneOfWords holds a filter to the words that it can be.
func oneOfWords[T ~string](s *server, w http.ResponseWriter, r *http.Request, q asked, name string, all []T) bool {
	v := q.Get(name)
	if v == "" || slices.Contains(all, T(v)) {
		return true
	}
	words := make([]string, len(all))
	for i, x := range all {
		words[i] = string(x)
	}
	s.problem(w, r, http.StatusBadRequest, &schedule.Error{Code: schedule.Invalid, Field: name,
		Message: name + " must be one of " + strings.Join(words, ", ")})
	return false
}

func (s *server) apiIndex(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); !ok {
		return
	}
	out := api.Index{Service: "endshake", You: by(r).Name(), AsOf: s.Now().UTC().Truncate(time.Minute), Description: "/api/openapi.json"}
	for _, rt := range s.apiRoutes() {
		out.Addresses = append(out.Addresses, api.Address{Path: rt.path, Methods: methods(rt), About: apiAbout[rt.path]})
	}
	s.answerJSON(w, r, out)
}

func (s *server) apiDescription(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); ok {
		s.answerJSON(w, r, api.Description)
	}
}

func (s *server) apiFleet(w http.ResponseWriter, r *http.Request) {
	q, ok := s.asked(w, r, "find", "site", "kind", "state", "limit", "cursor")
	if !ok || !oneOfWords(s, w, r, q, "state", schedule.TaskStates) {
		return
	}
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	var found []schedule.Assessment
	for _, a := range snap.Clocks {
		if q.wants(a) {
			found = append(found, a)
		}
	}
	slices.SortFunc(found, func(a, b schedule.Assessment) int { return strings.Compare(a.Clock.Slug, b.Clock.Slug) })
	out := api.Fleet{AsOf: snap.Now.UTC(), Total: len(found), Clocks: []api.Line{}}
	from := slices.IndexFunc(found, func(a schedule.Assessment) bool { return a.Clock.Slug > q.cursor })
	if from >= 0 {
		page := found[from:]
		if len(page) > q.limit {
			page = page[:q.limit]
			out.Next = &page[q.limit-1].Clock.Slug
		}
		for _, a := range page {
			out.Clocks = append(out.Clocks, api.NewLine(a))
		}
	}
	s.answerJSON(w, r, out)
}

// wants reports whether the filter of a list of clocks lets one through.
func (q asked) wants(a schedule.Assessment) bool {
	c := a.Clock
	if v := q.Get("site"); v != "" && c.Site != v {
		return false
	}
	if v := q.Get("kind"); v != "" && string(c.Kind) != v {
		return false
	}
	if v := q.Get("state"); v != "" && !slices.ContainsFunc(a.Tasks, func(t schedule.Task) bool { return string(t.State) == v }) {
		return false
	}
	find := strings.ToLower(q.Get("find"))
	return find == "" || strings.Contains(strings.ToLower(c.Slug+"\n"+c.Name+"\n"+a.Site.Name), find)
}

// apiAssessment finds the clock that an address names, or answers that there is
// none: in the same words where it is not theirs.
func (s *server) apiAssessment(w http.ResponseWriter, r *http.Request) (schedule.Assessment, *schedule.Snapshot, bool) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return schedule.Assessment{}, nil, false
	}
	slug := r.PathValue("clock")
	if err := snap.Fleet.Allow(by(r), schedule.SeeClock, slug); err != nil {
		s.failed(w, r, err)
		return schedule.Assessment{}, nil, false
	}
	a, _ := snap.Clock(slug)
	return zoned(a), snap, true
}

func zoned(a schedule.Assessment) schedule.Assessment {
	if a.Zone == nil {
		a.Zone = time.UTC
	}
	return a
}

func (s *server) apiClock(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); !ok {
		return
	}
	a, snap, ok := s.apiAssessment(w, r)
	if !ok {
		return
	}
	c, err := api.NewClock(snap.Fleet, a)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	s.answerJSON(w, r, c)
}

func (s *server) apiBearings(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); !ok {
		return
	}
	if a, _, ok := s.apiAssessment(w, r); ok {
		s.answerJSON(w, r, api.NewBearings(a))
	}
}

func (s *server) apiBearing(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); !ok {
		return
	}
	a, _, ok := s.apiAssessment(w, r)
	if !ok {
		return
	}
	o, ok := a.Outlook(r.PathValue("bearing"))
	if !ok {
		s.problem(w, r, http.StatusNotFound, &schedule.Error{Code: schedule.NotFound, Field: "bearing",
			Message: fmt.Sprintf("%s has no bearing %q: see /api/clocks/%s/bearings", a.Clock.Name, r.PathValue("bearing"), a.Clock.Slug)})
		return
	}
	s.answerJSON(w, r, api.NewBearing(a, o))
}

func (s *server) apiDue(w http.ResponseWriter, r *http.Request) {
	q, ok := s.asked(w, r, "clock", "person", "kind", "state", "limit", "cursor")
	if !ok || !oneOfWords(s, w, r, q, "state", schedule.TaskStates) || !oneOfWords(s, w, r, q, "kind", schedule.TaskKinds) {
		return
	}
	from := 0
	if q.cursor != "" {
		var err error
		if from, err = strconv.Atoi(q.cursor); err != nil || from < 0 {
			s.problem(w, r, http.StatusBadRequest, &schedule.Error{Code: schedule.Invalid, Field: "cursor", Message: "cursor must be the next of the page before"})
			return
		}
	}
	rd, ok := s.reader(w, r)
	if !ok {
		return
	}
	out := api.Due{Today: rd.seen.Today()}
	var page []schedule.Task
	for _, at := range rd.due() {
		if t := rd.task(at); rd.sees(int(at.clock)) && q.wantsTask(t) {
			if out.Total >= from && len(page) < q.limit {
				page = append(page, *t)
			}
			out.Total++
		}
	}
	if out.Total-from > q.limit {
		next := strconv.Itoa(from + q.limit)
		out.Next = &next
	}
	out.Tasks = api.NewTasks(page)
	s.answerJSON(w, r, out)
}

// wantsTask reports whether the filter of the due-list lets a task through.
func (q asked) wantsTask(t *schedule.Task) bool {
	is := func(name, v string) bool { return q.Get(name) == "" || q.Get(name) == v }
	return is("clock", t.Clock) && is("kind", string(t.Kind)) && is("state", string(t.State)) &&
		(q.Get("person") == "" || slices.Contains(t.People, q.Get("person")))
}

func (s *server) apiOutlook(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); !ok {
		return
	}
	if snap, ok := s.snapshot(w, r); ok {
		s.answerJSON(w, r, snap.YearAhead())
	}
}

func (s *server) apiLesson(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); ok {
		s.answerJSON(w, r, api.NewLesson(s.Desk.Lesson()))
	}
}
