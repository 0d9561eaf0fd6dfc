package daemon

import (
	"bytes"
	"context"
	"fmt"
	"html"
	"log/slog"
	"net/http"
	netmail "net/mail"
	"os"
	"regexp"
	"strings"
	"testing"

	"endshake/daemon/mail"
	"endshake/schedule"
	"endshake/wear"
)

// weavers adds a clock whose seven bearings were measured often enough to teach.
func weavers(t *testing.T, h *house) {
	t.Helper()
	data, err := os.ReadFile("testdata/learning.json")
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	if err := h.store.SaveFleet(ctx, "test", h.clock(), fleet, nil); err != nil {
		t.Fatal(err)
	}
	var log []schedule.Entry
	for i, code := range []string{"great", "second", "centre", "third", "escape", "fly", "leading"} {
		for year := range 6 {
			size := 0.10 + float64(i+1)*0.004*float64(2*year+1) + 0.01*float64((i+year)%3-1)
			e := reading(t, fmt.Sprintf("%d-06-10 1%d:00", 2013+2*year, i), size)
			e.Clock, e.Bearing = "weavers-hall", code+"-front"
			log = append(log, e)
		}
	}
	if err := h.store.AppendAll(ctx, "test", h.clock(), log); err != nil {
		t.Fatal(err)
	}
	if _, err := h.desk.Follow(ctx); err != nil {
		t.Fatal(err)
	}
}

// lastRun is the day that a job was last done for.
func lastRun(t *testing.T, d *Daemon, job string) string {
	t.Helper()
	day, known, err := d.store.LastRun(context.Background(), job, d.o.Now())
	if err != nil {
		t.Fatal(err)
	}
	if !known {
		return "never"
	}
	return day.String()
}

// The nightly lesson is kept under a version, and the pages speak from it.
func TestLearnsAtNight(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	h.settled(3)
	first, ok, err := h.store.Learned(t.Context())
	if err != nil || !ok || first.Version != 1 || first.Model.Taught {
		t.Fatalf("after the first start: version %d, kept %v, taught %v, %v; want version 1 that could not teach", first.Version, ok, first.Model.Taught, err)
	}
	weavers(t, h)
	page := "/clock/weavers-hall/bearing/centre-front"
	if words := textOf(h.page(page)); strings.Contains(words, "learned from 7 bearings") {
		t.Fatal("the page speaks of a lesson that was not given yet")
	}
	before := h.assessment("weavers-hall")
	h.set("2026-11-26 03:39")
	h.runner.Wake(t.Context())
	if got := lastRun(t, h.Daemon, "learn"); got != "2026-11-25" {
		t.Errorf("before its time the lesson was last given on %s", got)
	}
	h.set("2026-11-26 03:41")
	h.runner.Wake(t.Context())
	l, _, err := h.store.Learned(t.Context())
	if err != nil || l.Version != 2 || !l.Model.Taught || l.Model.Bearings != 7 || l.Model.Readings != 42 || !l.FittedAt.Equal(h.clock()) {
		t.Fatalf("version %d, taught %v by %d bearings with %d readings, %v; want version 2 from 7 with 42", l.Version, l.Model.Taught, l.Model.Bearings, l.Model.Readings, err)
	}
	if words := textOf(h.page(page)); !strings.Contains(words, "learned from 7 bearings, steel on brass, indoors, by the lesson of 26 Nov 2026;") {
		t.Error("the bearing's page does not say what its forecast was learned from")
	}
	after, _ := h.assessment("weavers-hall").Outlook("centre-front")
	if was, _ := before.Outlook("centre-front"); after.Prior == was.Prior {
		t.Error("the lesson changed nothing in the forecast")
	}
	h.runner.Wake(t.Context())
	if l, _, _ := h.store.Learned(t.Context()); l.Version != 2 {
		t.Errorf("a second wake on the same day learned again: version %d", l.Version)
	}
	if v, ok := h.metric(`endshake_job_runs_total{name="learn",result="done"}`); !ok || v != 2 {
		t.Errorf("the metrics count %v lessons, want 2", v)
	}
	// Another start speaks from the same lesson.
	again, err := OpenDesk(t.Context(), h.store, h.clock)
	if err != nil {
		t.Fatal(err)
	}
	a, _ := again.Snapshot().Clock("weavers-hall")
	if o, _ := a.Outlook("centre-front"); o.Prior != after.Prior || o.Sentence != after.Sentence {
		t.Errorf("a new start says %q from %q", o.Sentence, o.Prior.From)
	}
}

// With no mail server the fleet is learned from all the same; what calls for
// mail stays owed until there is one.
func TestLearnsWithoutAMailServer(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	h.settled(3)
	h.stop()
	h.set("2026-12-01 10:00")
	d, err := New(t.Context(), Options{
		Config:  Config{Database: h.dir, Listen: "127.0.0.1:0", Zone: "Europe/London"},
		Version: "test", Now: h.clock, Log: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		t.Fatal(err)
	}
	d.runner.Wake(t.Context())
	if got := lastRun(t, d, "learn"); got != "2026-12-01" {
		t.Errorf("without a mail server the last lesson was for %s, want 2026-12-01", got)
	}
	if counts, err := d.store.NoticeCounts(t.Context()); err != nil || counts[schedule.Owed] != 0 {
		t.Errorf("without a mail server %v are owed, %v", counts, err)
	}
	if err := d.life.stop(); err != nil {
		t.Fatal(err)
	}
	h.sink = mail.NewSink(100)
	addr, err := h.sink.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h.start(h.options(addr))
	for _, a := range h.waitMail(3) {
		if s := subject(t, a); !strings.Contains(s, "Due-list for December 2026") && !strings.Contains(s, "in November 2026") {
			t.Errorf("with a mail server again came %q; want the letters of December", s)
		}
	}
}

// steady are yearly readings that wear evenly, on the bearing of the test fleet.
func steady(t *testing.T) []schedule.Entry {
	log := wound(t, "2018-01-01 09:00", "2026-11-23 09:00")
	for i := range 8 {
		log = append(log, reading(t, fmt.Sprintf("%d-11-10 10:00", 2018+i), 0.12+0.015*float64(i)))
	}
	return log
}

var sureBox = regexp.MustCompile(`<input[^>]*name="sure"[^>]*>`)

// A slip of the unit is asked back with its name, stored only when the reader is
// sure, and never changed.
func TestDoubtfulReadingIsAskedBack(t *testing.T) {
	h := open(t, "2026-11-25 10:00", steady(t)...)
	n := len(h.assessment("moot-hall").Entries)
	// About 0.24 mm is to be expected: 2.40 mm is a slip of the point.
	code, body := h.fill("moot-hall", "measured", map[string]string{"bearing": "centre-front", "value": "2.40 mm"})
	if words := textOf(body); code != http.StatusUnprocessableEntity || !strings.Contains(words, "0.24 mm, 9.4 thou (the decimal point)") || !strings.Contains(words, "sure") {
		t.Fatalf("status %d, want the reading asked back with the slip named\n%.900s", code, words)
	}
	if m := len(h.assessment("moot-hall").Entries); m != n {
		t.Fatalf("%d entries after it was asked back, want still %d", m, n)
	}
	box := sureBox.FindString(body)
	value := regexp.MustCompile(`value="([^"]*)"`).FindStringSubmatch(box)
	if value == nil {
		t.Fatalf("the form offers no way to be sure: %q", box)
	}
	fields, _ := formOf(t, body)
	fields.Set("sure", html.UnescapeString(value[1]))
	r, err := h.http.PostForm("http://"+h.Addr()+"/clock/moot-hall/log?kind=measured", fields)
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	entries := h.assessment("moot-hall").Entries
	last := entries[len(entries)-1]
	if r.StatusCode != http.StatusOK || len(entries) != n+1 || last.Reading.Value != 2400*wear.Micrometre || !last.Sure {
		t.Errorf("status %d, %d entries, last %v sure %v; want 2.40 mm kept as it was written", r.StatusCode, len(entries), last.Reading, last.Sure)
	}
}

// A misread reading is asked for again by task and by mail, moves no date, and
// is forgotten about after the next good one.
func TestMisreadReadingIsAskedForAgain(t *testing.T) {
	h := open(t, "2026-11-25 10:00", steady(t)...)
	h.settled(3)
	before, _ := h.assessment("moot-hall").Outlook("centre-front")
	h.log("moot-hall", "measured", map[string]string{"bearing": "centre-front", "value": "0.54 mm", "gauge": "0.02 mm", "sure": "centre-front 0.54 mm"})
	o, _ := h.assessment("moot-hall").Outlook("centre-front")
	if !o.ReadAgain || o.Condition != schedule.Watch || o.Level.Mean > before.Level.Mean+0.06 {
		t.Fatalf("read again %v, condition %s, level %.3f mm (was %.3f): %s", o.ReadAgain, o.Condition, o.Level.Mean, before.Level.Mean, o.Sentence)
	}
	task := h.task("moot-hall", schedule.Measuring)
	if !strings.HasPrefix(task.Reason, "read again: the reading of 25 Nov 2026, 0.54 mm") || task.Due != o.Measure {
		t.Errorf("the task: %q, due %v", task.Reason, task.Due)
	}
	if !strings.Contains(textOf(h.page("/due")), "does not fit the others") {
		t.Error("the due-list's page does not ask for it again")
	}
	h.set("2026-11-26 07:01")
	h.runner.Wake(t.Context())
	h.drain()
	h.settled(4)
	got := h.waitMail(4)[3]
	m, err := netmail.ReadMessage(bytes.NewReader(got.Raw))
	if err != nil || got.To[0] != "ada@example.org" || m.Header.Get("Subject") != "Moot hall clock: centre arbor, front bush is to be read again" {
		t.Errorf("the letter: %v, to %v\n%.300s", err, got.To, got.Raw)
	}
	for _, want := range []string{"do not act on that one reading", "0.54 mm (21.3 thou) on 25 Nov 2026", "/clock/moot-hall/bearing/centre-front", "image/png"} {
		if !bytes.Contains(bytes.ReplaceAll(got.Raw, []byte("=\r\n"), nil), []byte(want)) {
			t.Errorf("the letter does not hold %q", want)
		}
	}
	h.set("2026-11-26 10:31") // a day after, so that the two are not held against each other
	h.log("moot-hall", "measured", map[string]string{"bearing": "centre-front", "value": "0.25 mm", "gauge": "0.02 mm"})
	if o, _ := h.assessment("moot-hall").Outlook("centre-front"); o.ReadAgain || o.Condition != schedule.Sound {
		t.Errorf("after a good reading: read again %v, condition %s", o.ReadAgain, o.Condition)
	}
	if task := h.task("moot-hall", schedule.Measuring); strings.Contains(task.Reason, "read again") {
		t.Errorf("after a good reading the task says %q", task.Reason)
	}
	h.set("2026-11-27 07:01")
	h.runner.Wake(t.Context())
	h.drain()
	h.stop()
	if n := len(h.sink.Arrivals()); n != 4 {
		t.Errorf("%d mails in the end, want still 4", n)
	}
}
