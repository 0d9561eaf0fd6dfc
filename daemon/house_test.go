package daemon

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/net/html"

	"endshake/daemon/mail"
	"endshake/db/dbtest"
	"endshake/schedule"
	"endshake/wear"
)

// house is a whole service on a loopback port, with a real mail server.
type house struct {
	*Daemon
	t    *testing.T
	sink *mail.Sink
	now  atomic.Pointer[time.Time]
	http *http.Client
	dir  string
	stop func()
	// before is called before it runs; nil: nothing is.
	before func()
}

// at reads an instant in the zone of the test fleet.
func at(t *testing.T, s string) time.Time {
	t.Helper()
	v, err := time.ParseInLocation("2006-01-02 15:04", s, DemoZone())
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestMain stops the private PostgreSQL server that a test may have started.
func TestMain(m *testing.M) { os.Exit(dbtest.Main(m)) }

// open starts the service on testdata/fleet.json with a log, standing at now,
// on the embedded database.
func open(t *testing.T, now string, log ...schedule.Entry) *house {
	t.Helper()
	return openOn(t, t.TempDir(), now, log...)
}

// openOn does so on a database of one's own.
func openOn(t *testing.T, database, now string, log ...schedule.Entry) *house {
	t.Helper()
	h, smtp := furnish(t, database, now, func(*schedule.Fleet) {}, log...)
	h.start(h.options(smtp))
	return h
}

// furnish puts the fleet, changed as told, and a log into a database, and starts
// the mail server; nothing runs on them yet.
func furnish(t *testing.T, database, now string, change func(*schedule.Fleet), log ...schedule.Entry) (h *house, smtp string) {
	t.Helper()
	data, err := os.ReadFile("testdata/fleet.json")
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	change(&fleet)
	h = &house{t: t, dir: database, sink: mail.NewSink(100)}
	h.set(now)
	ctx := context.Background()
	store := dbtest.Open(t, h.dir)
	if err := store.SaveFleet(ctx, "test", h.clock(), fleet, nil); err != nil {
		t.Fatal(err)
	}
	if err := store.AppendAll(ctx, "test", h.clock(), log); err != nil {
		t.Fatal(err)
	}
	store.Close()
	if smtp, err = h.sink.Start("127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	return h, smtp
}

func (h *house) clock() time.Time { return *h.now.Load() }

func (h *house) set(s string) {
	v := at(h.t, s)
	h.now.Store(&v)
}

// options are those of a service where nobody logs in.
func (h *house) options(smtp string) Options {
	return Options{
		Config: Config{Database: h.dir, Listen: "127.0.0.1:0", SMTP: "smtp://" + smtp, MailFrom: "Clock desk <desk@example.org>",
			BaseURL: "http://127.0.0.1/", Zone: "Europe/London", FirstRun: true},
		Version: "test", Now: h.clock, Log: slog.New(slog.DiscardHandler), Sink: h.sink,
		Everyone: schedule.Actor{Conservator: true},
	}
}

// start runs the daemon until the test ends or h.stop is called.
func (h *house) start(o Options) {
	h.t.Helper()
	d, err := New(context.Background(), o)
	if err != nil {
		h.t.Fatal(err)
	}
	h.Daemon = d
	if h.before != nil {
		h.before()
	}
	jar, _ := cookiejar.New(nil)
	h.http = &http.Client{Jar: jar}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	stopped := false
	h.stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		if err := <-done; err != nil {
			h.t.Errorf("Run() = %v, want a clean stop", err)
		}
		_ = h.sink.Stop(context.Background())
	}
	h.t.Cleanup(h.stop)
}

func (h *house) get(path string) (int, string) {
	h.t.Helper()
	r, err := h.http.Get("http://" + h.Addr() + path)
	if err != nil {
		h.t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	return r.StatusCode, string(b)
}

// page gets a page that must be there.
func (h *house) page(path string) string {
	h.t.Helper()
	code, body := h.get(path)
	if code != http.StatusOK {
		h.t.Fatalf("GET %s = %d, want 200\n%.500s", path, code, body)
	}
	return body
}

// fill sends the entry form of a clock with the fields that the page itself
// holds, changed by the given ones, as a browser would.
func (h *house) fill(clock, kind string, change map[string]string) (int, string) {
	h.t.Helper()
	path := "/clock/" + clock + "/log?kind=" + kind
	fields, action := formOf(h.t, h.page(path))
	for k, v := range change {
		if _, ok := fields[k]; !ok && k != "sure" { // which is offered only when a reading was asked back
			h.t.Fatalf("the %s form has no field %q, only %v", kind, k, reflect.ValueOf(fields).MapKeys())
		}
		fields.Set(k, v)
	}
	if action == "" {
		action = path
	}
	r, err := h.http.PostForm("http://"+h.Addr()+action, fields)
	if err != nil {
		h.t.Fatal(err)
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	return r.StatusCode, string(b)
}

// log fills the form and must be taken.
func (h *house) log(clock, kind string, change map[string]string) {
	h.t.Helper()
	if code, body := h.fill(clock, kind, change); code != http.StatusOK {
		h.t.Fatalf("logging %s %v: status %d\n%s", kind, change, code, textOf(body))
	}
}

// formOf reads the fields of the page's entry form with the values they hold.
func formOf(t *testing.T, page string) (fields url.Values, action string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	fields = url.Values{}
	attr := func(n *html.Node, key string) (string, bool) {
		for _, a := range n.Attr {
			if a.Key == key {
				return a.Val, true
			}
		}
		return "", false
	}
	var walk func(n *html.Node, in bool)
	walk = func(n *html.Node, in bool) {
		name, _ := attr(n, "name")
		if n.Type == html.ElementNode {
			switch n.Data {
			case "form":
				if m, _ := attr(n, "method"); strings.EqualFold(m, "post") {
					in = true
					action, _ = attr(n, "action")
				}
			case "input":
				kind, _ := attr(n, "type")
				_, checked := attr(n, "checked")
				value, _ := attr(n, "value")
				if in && name != "" && ((kind != "radio" && kind != "checkbox") || checked) {
					fields.Set(name, value)
				} else if in && name != "" && !fields.Has(name) {
					fields.Set(name, "")
				}
			case "textarea":
				if in && name != "" {
					fields.Set(name, textNode(n))
				}
			case "select":
				if in && name != "" {
					fields.Set(name, chosen(n, attr))
				}
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c, in)
		}
	}
	walk(doc, false)
	return fields, action
}

func chosen(n *html.Node, attr func(*html.Node, string) (string, bool)) string {
	first, picked, any := "", "", false
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode && n.Data == "option" {
			v, ok := attr(n, "value")
			if !ok {
				v = textNode(n)
			}
			if !any {
				first, any = v, true
			}
			if _, ok := attr(n, "selected"); ok {
				picked = v
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(n)
	if picked != "" {
		return picked
	}
	return first
}

func textNode(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

var tags = regexp.MustCompile(`<[^>]*>`)

func textOf(page string) string {
	return strings.Join(strings.Fields(html.UnescapeString(tags.ReplaceAllString(page, " "))), " ")
}

// metric reads one series of /metrics.
func (h *house) metric(series string) (float64, bool) {
	h.t.Helper()
	for line := range strings.Lines(h.page("/metrics")) {
		if rest, ok := strings.CutPrefix(line, series+" "); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(rest), 64)
			if err != nil {
				h.t.Fatal(err)
			}
			return v, true
		}
	}
	return 0, false
}

func (h *house) assessment(clock string) schedule.Assessment {
	h.t.Helper()
	a, ok := h.desk.Snapshot().Clock(clock)
	if !ok {
		h.t.Fatalf("no clock %s", clock)
	}
	return a
}

func (h *house) task(clock string, kind schedule.TaskKind) schedule.Task {
	h.t.Helper()
	for _, t := range h.assessment(clock).Tasks {
		if t.Kind == kind {
			return t
		}
	}
	h.t.Fatalf("%s has no task %s", clock, kind)
	return schedule.Task{}
}

// wound is a log of weekly winds.
func wound(t *testing.T, from, to string) []schedule.Entry {
	var out []schedule.Entry
	for d := at(t, from); !d.After(at(t, to)); d = d.AddDate(0, 0, 7) {
		out = append(out, schedule.Entry{Clock: "moot-hall", Kind: schedule.Wound, At: d.UTC(), By: "ned", Source: "test"})
	}
	return out
}

func reading(t *testing.T, when string, mm float64) schedule.Entry {
	return schedule.Entry{Clock: "moot-hall", Kind: schedule.Measured, At: at(t, when).UTC(), Bearing: "centre-front", By: "ada", Source: "test",
		Detail: schedule.Detail{Reading: &wear.Reading{Shake: wear.SideShake, Value: wear.FromMM(mm), Gauge: 20}}}
}
