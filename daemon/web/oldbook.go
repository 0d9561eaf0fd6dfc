package web

import (
	"bytes"
	"compress/gzip"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"endshake/daemon/oldbook"
	"endshake/schedule"
)

// The bounds of a form with an old book: a file, and the one that was sent before,
// packed and as text. Nothing of it is kept here between one form and the next.
const (
	mostPacked = 3 << 20
	mostBook   = 2<<20 + mostPacked + 2*mostAnswered
	// mostAnswered is how much all that is chosen beside it may take.
	mostAnswered = 512 << 10
)

// mostShown is how many refusals, and questions with all their choices, a page has.
const mostShown, mostToChoose = 200, 100

// oldBookPage shows what would be logged of an old book.
type oldBookPage struct {
	Done      string // what was logged just now; empty: nothing
	Fault     string // why nothing can be read
	File      string // empty: none was sent yet
	Lede      string
	Packed    string // the file, for the next form
	Answers   string
	Notes     []string
	Problems  []string
	Questions []field
	Keys      []string // of the questions, beside them
	Columns   []field
	Were      []string // what the columns were taken for, beside them
	Counts    []string
	Refusals  []refusedRow
	Flags     []string
	More      int // refusals that are not shown
	LeaveOut  bool
	Keep      string // the words of the button that logs it; empty: it cannot be logged yet
	Limit     int    // MB
}

// refusedRow is a row that is refused; Sure is its number where it may be said to be
// right.
type refusedRow struct {
	Words string
	Sure  int
}

// withBook reports whether a request brings an old book.
func withBook(r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "multipart/form-data" && r.Pattern == "/old-book"
}

func (s *server) oldBookForm(w http.ResponseWriter, r *http.Request) {
	page := oldBookPage{}
	if n, err := strconv.Atoi(r.URL.Query().Get("logged")); err == nil && n >= 0 {
		page.Done = "Logged " + schedule.Count(n, "entry", "entries") + " of the old book."
		if n == 0 {
			page.Done = "The log has all of it already: nothing was added."
		}
	}
	s.showOldBook(w, r, http.StatusOK, page)
}

func (s *server) showOldBook(w http.ResponseWriter, r *http.Request, status int, page oldBookPage) {
	title := "An old logbook"
	if page.File != "" {
		title = "Not logged yet: " + page.File
	}
	page.Limit = oldbook.OfPage.Bytes >> 20
	s.show(w, r, status, "oldbook", view{Title: title, Here: "/people", Body: page})
}

// oldBook shows what would be logged of a file, and logs it where the form says so.
func (s *server) oldBook(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	values, name, data, err := readBook(r)
	if err != nil {
		s.unread(w, r, err)
		return
	}
	if len(data) == 0 {
		s.showOldBook(w, r, http.StatusUnprocessableEntity, oldBookPage{Fault: "No file was chosen: choose one, and send it."})
		return
	}
	answers, err := bookAnswers(values)
	if err != nil {
		s.sorry(w, r, http.StatusBadRequest, "The form could not be read", "Nothing was logged. Choose the file again and send it.")
		return
	}
	done, err := s.reading.take(r.Context(), by(r).Name()) // one book at a time
	if err != nil {
		return // the reader has gone
	}
	defer done()
	book, err := s.bookOf(r, snap.Fleet, name, data, answers)
	switch {
	case err != nil && book != nil:
		s.fault(w, r, err)
		return
	case err != nil:
		s.showOldBook(w, r, http.StatusUnprocessableEntity, oldBookPage{Fault: sentence(err.Error())})
		return
	}
	es, err := book.Keep()
	if err == nil && values.Has("keep") {
		s.logBook(w, r, snap.Fleet, es)
		return
	}
	page, problem := newBookPage(book, name, data, answers)
	if problem != nil {
		s.fault(w, r, problem)
		return
	}
	if err == nil && len(es) > 0 {
		page.Keep = "Log " + schedule.Count(len(es), "entry", "entries")
	}
	s.showOldBook(w, r, http.StatusOK, page)
}

// bookOf reads a file and holds it to the log. Where the error is of the file there is
// no book.
func (s *server) bookOf(r *http.Request, fleet schedule.Fleet, name string, data []byte, a oldbook.Answers) (*oldbook.Book, error) {
	sheet, err := oldbook.Open(r.Context(), name, data, oldbook.OfPage, a)
	if err != nil {
		return nil, err
	}
	now := s.Now()
	book := oldbook.Take(sheet, fleet, a, schedule.DateOf(now, time.UTC), "page")
	logs, model, err := s.Desk.Logs(r.Context())
	if err != nil {
		return book, err
	}
	return book, book.Against(r.Context(), oldbook.Log{Entries: logs, Model: model, Now: now})
}

// logBook logs the entries of a book, all of them or none.
func (s *server) logBook(w http.ResponseWriter, r *http.Request, fleet schedule.Fleet, es []schedule.Entry) {
	for i := range es {
		if err := fleet.AllowEntry(by(r), es[i], nil, s.Now()); err != nil {
			s.failed(w, r, err)
			return
		}
		es[i].Source = sourceOf(by(r), es[i])
	}
	stored, err := s.Desk.LogTogether(r.Context(), es)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, "/old-book?logged="+strconv.Itoa(len(stored)), http.StatusSeeOther)
}

// readBook reads a form with a file, or with one that was sent before.
func readBook(r *http.Request) (values url.Values, name string, data []byte, err error) {
	if !withBook(r) {
		return nil, "", nil, errors.New("the form has no file")
	}
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, "", nil, err
	}
	values = url.Values{}
	left, packed := int64(mostAnswered), ""
	for n := 0; ; n++ {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil || n > 5000 {
			return nil, "", nil, errors.Join(err, errors.New("the form cannot be read to its end"))
		}
		most := left
		if part.FormName() == "file" || part.FormName() == "packed" {
			most = mostPacked
		}
		text, err := io.ReadAll(io.LimitReader(part, most+1))
		switch {
		case err != nil:
			return nil, "", nil, err
		case int64(len(text)) > most:
			return nil, "", nil, &http.MaxBytesError{Limit: most}
		case part.FormName() == "file":
			if len(text) > 0 {
				name, data = fileName(part), text
			}
		case part.FormName() == "packed":
			packed = string(text)
		default:
			left -= int64(len(text))
			values.Add(part.FormName(), string(text))
		}
	}
	if len(data) == 0 && packed != "" {
		name = fileNameOf(values.Get("name"))
		data, err = unpack(packed)
	}
	return values, name, data, err
}

// fileName is what the reader calls a file, without folders.
func fileName(part *multipart.Part) string { return fileNameOf(part.FileName()) }

func fileNameOf(name string) string {
	name = schedule.Visible(name[strings.LastIndexAny(name, `/\`)+1:])
	if r := []rune(name); len(r) > 80 {
		name = string(r[:80])
	}
	if name == "" {
		return "The file"
	}
	return name
}

// pack makes a text of a file for the next form, and unpack gives it back: no more
// than a file may have.
func pack(data []byte) (string, error) {
	var b bytes.Buffer
	text := base64.NewEncoder(base64.StdEncoding, &b)
	z := gzip.NewWriter(text)
	_, err := z.Write(data)
	err = errors.Join(err, z.Close(), text.Close())
	return b.String(), err
}

func unpack(text string) ([]byte, error) {
	z, err := gzip.NewReader(base64.NewDecoder(base64.StdEncoding, strings.NewReader(text)))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(io.LimitReader(z, int64(oldbook.OfPage.Bytes)+1))
}

// bookAnswers are those of the forms before, and of this one.
func bookAnswers(v url.Values) (oldbook.Answers, error) {
	a := oldbook.Answers{}
	if text := v.Get("answers"); text != "" {
		var err error
		if a, err = oldbook.ParseAnswers([]byte(text)); err != nil {
			return nil, err
		}
	}
	for i, key := range v["k"] {
		if said := v.Get("q-" + strconv.Itoa(i)); said != "" {
			a[key] = said
		}
	}
	for i, was := range v["was"] {
		letters, role, _ := strings.Cut(was, " ")
		if said := v.Get("c-" + strconv.Itoa(i)); said != "" && said != role {
			a["column "+letters] = said
		}
	}
	if more := v["sure"]; len(more) > 0 {
		a["sure"] = strings.TrimSpace(a["sure"] + " " + strings.Join(more, " "))
	}
	if delete(a, "leave out"); v.Has("leaveOut") {
		a["leave out"] = "yes"
	}
	return a, nil
}

// newBookPage shows a book with the form that goes on with it.
func newBookPage(b *oldbook.Book, name string, data []byte, a oldbook.Answers) (page oldBookPage, err error) {
	page = oldBookPage{File: name, Lede: sentence(b.Lede()), Notes: b.Notes, Problems: b.Problems, LeaveOut: a.LeaveOut(), Answers: string(a.JSON())}
	if page.Packed, err = pack(data); err != nil {
		return page, err
	}
	asked := map[string]bool{}
	for i, q := range b.Questions {
		asked[q.Key] = true
		page.Questions = append(page.Questions, bookQuestion(i, q))
		page.Keys = append(page.Keys, q.Key)
	}
	for _, c := range b.Columns {
		if asked["column "+oldbook.Letters(c.At)] {
			continue
		}
		f := field{Name: "c-" + strconv.Itoa(len(page.Columns)), Label: "Column " + c.Name(), Input: "select", Value: c.String(), Hint: sentence(c.Why)}
		for _, choice := range oldbook.Roles() {
			f.Options = append(f.Options, option{choice.Value, choice.Words})
		}
		if !hasOption(f.Options, f.Value) { // readings of one bearing
			f.Options = append(f.Options, option{f.Value, f.Value})
		}
		page.Columns, page.Were = append(page.Columns, f), append(page.Were, oldbook.Letters(c.At)+" "+c.String())
	}
	for _, c := range b.Counts() {
		page.Counts = append(page.Counts, c.String())
	}
	for i, r := range b.Refusals {
		if i == mostShown {
			page.More = len(b.Refusals) - i
			break
		}
		line := refusedRow{Words: sentence(r.String())}
		if r.Asked && (i == 0 || b.Refusals[i-1].Row != r.Row) {
			line.Sure = r.Row
		}
		page.Refusals = append(page.Refusals, line)
	}
	for _, r := range b.Flags[:min(len(b.Flags), mostShown)] {
		page.Flags = append(page.Flags, sentence(r.String()))
	}
	return page, nil
}

// bookQuestion is a question as the form asks it: with its choices, or where those are
// very many, for the short name that one of them has.
func bookQuestion(i int, q oldbook.Question) field {
	f := field{Name: "q-" + strconv.Itoa(i), Label: q.Words, Input: "select", Options: []option{{"", "Choose"}}}
	var where []string
	for _, e := range q.Examples {
		if e.Row > 0 {
			where = append(where, e.String())
		}
	}
	if len(where) > 0 {
		f.Hint = sentence(strings.Join(where, "; "))
	}
	if q.Given != "" {
		f.Fault = fmt.Sprintf("“%s” is none of the answers.", q.Given)
	}
	if len(q.Choices) > mostToChoose {
		f.Input, f.Options = "text", nil
		f.Hint += " Write the short name."
		return f
	}
	for _, c := range q.Choices {
		f.Options = append(f.Options, option{c.Value, c.Words})
	}
	return f
}
