package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// ask asks what some work would do to a bearing of the wearing clock.
func (s site) ask(t *testing.T, bearing string, q url.Values) (*http.Response, string) {
	t.Helper()
	res, body := get(t, s, "/clock/"+wearing+"/bearing/"+bearing+"?"+q.Encode())
	checkPage(t, bearing+" "+q.Encode(), body)
	return res, body
}

// The answer on the page is that of package schedule for the same facts, in
// words, in a table and as a second fan; nothing is logged.
func TestWhatIfIsAnswered(t *testing.T) {
	d := wearingDesk()
	s := siteOf(t, d)
	f, err := d.Facts(t.Context(), wearing)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		bearing string
		q       url.Values
		c       schedule.Change
		with    string
	}{
		{"worn", url.Values{"washer": {"0.5 mm"}}, schedule.Change{Washer: 500}, "With a washer of 0.50 mm (19.7 thou) the end-shake would be about "},
		// 20 thou is 0.508 mm (an inch is exactly 25.4 mm).
		{"worn", url.Values{"washer": {"20 thou"}, "faceOff": {"0,1 mm"}, "outer": {"24 mm"}, "inner": {"10 mm"}},
			schedule.Change{Washer: 508, FaceOff: 100, Outer: 24000, Inner: 10000}, "With a washer of 0.508 mm (20.0 thou), 0.10 mm (3.9 thou) taken off the pocket and a face from 10 mm (0.394 in) to 24 mm (0.945 in) across the end-shake"},
		{"worn", url.Values{"fitted": {"0.25 mm"}, "pair": {"steel on plastic"}, "oilDays": {"90"}},
			schedule.Change{Fitted: 250, Pair: wear.SteelOnPlastic, OilDays: 90}, "With 0.25 mm (9.8 thou) left after the work, steel on plastic and oil every 90 days"},
		{"worn", url.Values{"oilDays": {"30"}}, schedule.Change{OilDays: 30}, "With oil every 30 days the end-shake stays as it is, and wears on from there."},
		{"never", url.Values{"fitted": {"0.25 mm"}}, schedule.Change{Fitted: 250}, "what it is now is not known"},
		{"bush", url.Values{"fitted": {"0.2 mm"}}, schedule.Change{Fitted: 200}, "With 0.20 mm (7.9 thou) left after the work"},
		{"meshed", url.Values{"washer": {"0.2 mm"}}, schedule.Change{Washer: 200}, "Depth left in motion bevel"},
	} {
		before, after, err := schedule.WhatIf(f, now, tc.bearing, tc.c)
		if err != nil {
			t.Fatal(err)
		}
		res, body := s.ask(t, tc.bearing, tc.q)
		text := flat(t, body)
		if res.StatusCode != http.StatusOK {
			t.Errorf("%s %v answers %d", tc.bearing, tc.q, res.StatusCode)
		}
		for _, want := range []string{tc.with, "Then " + lifeWords(after) + ".", "As it is, " + lifeWords(before) + ".", "Caution.",
			"Local rules and licensed people decide.", fmt.Sprintf("%s ± %.2f mm", both(after.Level.Mean), after.Level.SD)} {
			if !strings.Contains(text, want) {
				t.Errorf("%s %v: the page does not say %q: %s", tc.bearing, tc.q, want, text)
			}
		}
		if fan := after.Taught || after.Dated; strings.Contains(text, "if done today") != fan || strings.Contains(text, "There is no second fan") == fan {
			t.Errorf("%s %v: rate known %v, and the page says otherwise: %s", tc.bearing, tc.q, fan, text)
		}
		for name := range tc.q {
			if got := filled(t, body).Get(name); got != tc.q.Get(name) {
				t.Errorf("%s %v: %s is now %q", tc.bearing, tc.q, name, got)
			}
		}
	}
	if len(d.logged) > 0 {
		t.Errorf("asking logged %v", d.logged)
	}
}

// What the work gains counts from the later of today and the middle date as it is,
// in the very dates that the chart marks.
func TestWhatIfGains(t *testing.T) {
	d := wearingDesk()
	for _, tc := range []struct {
		act  wear.Length
		c    schedule.Change
		says string
	}{
		{1200, schedule.Change{Washer: 500}, "In the middle of the two ranges that puts it off by %[3]s, from %[1]s to %[2]s."},
		{1200, schedule.Change{FaceOff: 100}, "In the middle of the two ranges that brings it nearer by %[3]s, from %[1]s to %[2]s."},
		{900, schedule.Change{Washer: 500}, "The limit is past already: with the work done today the middle of the range is %[2]s, %[4]s from today."},
		{900, schedule.Change{OilDays: 30}, ""}, // past already, and stays so
	} {
		f, err := d.Facts(t.Context(), wearing)
		if err != nil {
			t.Fatal(err)
		}
		f.Clock.Trains = slices.Clone(f.Clock.Trains)
		f.Clock.Trains[0].Arbors = slices.Clone(f.Clock.Trains[0].Arbors)
		bearings := slices.Clone(f.Clock.Trains[0].Arbors[0].Bearings)
		f.Clock.Trains[0].Arbors[0].Bearings = bearings
		bearings[1].Act = &wear.Limit{Size: tc.act, Source: "invented"}
		before, after, err := schedule.WhatIf(f, now, bearings[1].Code, tc.c)
		if err != nil {
			t.Fatal(err)
		}
		today, want := schedule.DateOf(now, time.UTC), ""
		if tc.says != "" {
			want = fmt.Sprintf(tc.says+"%.0[1]s%.0[2]s%.0[3]s%.0[4]s", before.Likely.MonthWords(), after.Likely.MonthWords(),
				schedule.Days(after.Likely.Sub(before.Likely)), schedule.Days(after.Likely.Sub(today)))
		}
		if got := putOffWords(before, after, today); got != want {
			t.Errorf("limit %v, %+v: %q, want %q", tc.act, tc.c, got, want)
		}
	}
	// As the page says it.
	if _, body := siteOf(t, d).ask(t, "worn", url.Values{"washer": {"0.5 mm"}}); !strings.Contains(flat(t, body), "In the middle of the two ranges that puts it off by ") {
		t.Errorf("the page does not say what is gained: %s", flat(t, body))
	}
}

// A size that the work leaves is the size of that day, whatever stood before.
func TestWhatIfLeavesWhatIsSaid(t *testing.T) {
	s := siteOf(t, wearingDesk())
	for bearing, was := range map[string]string{"worn": "now it is about ", "bush": "now it is about ", "repaired": "now it is about ", "never": "what it is now is not known"} {
		for _, left := range []float64{.11, .27} {
			size := both(left)
			_, body := s.ask(t, bearing, url.Values{"fitted": {fmt.Sprintf("%.2f mm", left)}})
			for _, want := range []string{"would be about " + size + " today; " + was, size + " ± 0.03 mm (1.2 thou)"} {
				if !strings.Contains(flat(t, body), want) {
					t.Errorf("%s with %.2f mm left: the page does not say %q: %s", bearing, left, want, flat(t, body))
				}
			}
		}
	}
}

// A page that nobody asked anything on has the form, and no answer.
func TestWhatIfUnasked(t *testing.T) {
	s := siteOf(t, wearingDesk())
	for bearing, fields := range map[string]string{"worn": "washer faceOff outer inner fitted pair oilDays", "bush": "fitted pair oilDays"} {
		_, body := get(t, s, "/clock/"+wearing+"/bearing/"+bearing)
		v := filled(t, body)
		for _, name := range strings.Fields(fields) {
			if !v.Has(name) || v.Get(name) != "" {
				t.Errorf("%s: the field %s is %q", bearing, name, v.Get(name))
			}
		}
		if len(v) != len(strings.Fields(fields)) {
			t.Errorf("%s: the form asks for %v", bearing, v)
		}
		if strings.Contains(body, "if done today") || strings.Contains(body, `role="alert"`) || !strings.Contains(body, "nothing is logged by asking") {
			t.Errorf("%s: there is an answer to what was not asked", bearing)
		}
	}
}

// hostileAsks are values for the form with what is said of them.
var hostileAsks = []struct {
	bearing, field, value, says string
}{
	{"worn", "washer", "NaN mm", "NaN"},
	{"worn", "washer", "-0.3 mm", "cannot be right"},
	{"worn", "washer", "0.3", "has no unit"},
	{"worn", "washer", "1e400 mm", "mm"},
	{"worn", "washer", "31 m", "m"},
	{"worn", "washer", "200 mm", "cannot be right"},
	{"worn", "washer", "2 mm", "choose a thinner one"},
	{"worn", "washer", "", "Nothing is filled in"},
	{"worn", "washer", "<script>alert(1)</script>", "script"},
	{"worn", "washer", evil, "length"},
	{"worn", "washer", "\xff\xfe", "bytes that are not letters"},
	{"worn", "washer", strings.Repeat("9", 3000) + " mm", "mm"},
	{"worn", "faceOff", "-1 in", "cannot be right"},
	{"worn", "outer", "20 mm", "both diameters"},
	{"worn", "fitted", "5 mm", "is not below the limit"},
	{"worn", "pair", "cheese on toast", "not known"},
	{"worn", "pair", "<script>", "not known"},
	{"worn", "oilDays", "NaN", "not a plain number"},
	{"worn", "oilDays", "Inf", "not a plain number"},
	{"worn", "oilDays", "-30", "nothing less than 0"},
	{"worn", "oilDays", "0", "cannot be right"},
	{"worn", "oilDays", "1.5", "whole number"},
	{"worn", "oilDays", "1e18", "cannot be right"},
	{"worn", "oilDays", "99999", "cannot be right"},
	{"worn", "oilDays", "0x10", "not a plain number"},
	{"never", "washer", "0.3 mm", "measure it, or give the freedom left"},
}

// Whatever is typed, the page comes back whole with one sentence at the field,
// the form as it was filled in, the chart as it is, and no answer.
func TestWhatIfRefuses(t *testing.T) {
	d := wearingDesk()
	s := siteOf(t, d)
	for _, tc := range hostileAsks {
		what := fmt.Sprintf("%s with %s=%.40q", tc.bearing, tc.field, tc.value)
		q := url.Values{tc.field: {tc.value}}
		res, body := s.ask(t, tc.bearing, q)
		checkTame(t, what, body)
		if res.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s answers %d", what, res.StatusCode)
			continue
		}
		refusal, faults := "", 0
		for _, n := range nodes(t, body) {
			switch class, _ := attr(n, "class"); class {
			case "refusal":
				refusal = textOf(n)
			case "fault":
				faults++
			}
		}
		if !strings.Contains(strings.ToLower(refusal), strings.ToLower(tc.says)) {
			t.Errorf("%s: it says %q, wanted %q", what, refusal, tc.says)
		}
		if faults != 1 {
			t.Errorf("%s: %d faults at fields", what, faults)
		}
		if got := filled(t, body).Get(tc.field); tc.field != "pair" && strings.ToValidUTF8(tc.value, "\ufffd") != got {
			t.Errorf("%s: the field is now %.60q", what, got)
		}
		if strings.Contains(body, "if done today") {
			t.Errorf("%s: it is answered all the same", what)
		}
	}
	if len(d.logged) > 0 {
		t.Error("something was logged")
	}
}

// Fields that the form of a bush does not have are read as nothing, and a fault
// without a field of its own stands at the head.
func TestWhatIfOfABush(t *testing.T) {
	s := siteOf(t, wearingDesk())
	if res, body := s.ask(t, "bush", url.Values{"washer": {"0.3 mm"}}); res.StatusCode != 200 || strings.Contains(body, "if done today") {
		t.Errorf("a washer for a bush alone answers %d", res.StatusCode)
	}
	res, body := s.ask(t, "bush", url.Values{"washer": {"0.3 mm"}, "fitted": {""}})
	if res.StatusCode != 422 || !strings.Contains(flat(t, body), "takes no washer") {
		t.Errorf("a washer for a bush answers %d", res.StatusCode)
	}
}

// A desk that cannot be asked is our fault, and says nothing of why.
func TestWhatIfWithoutFacts(t *testing.T) {
	d := wearingDesk()
	s := siteOf(t, d)
	d.err = fmt.Errorf("the secret shelf is locked")
	res, body := s.ask(t, "worn", url.Values{"washer": {"0.3 mm"}})
	if res.StatusCode != 500 || strings.Contains(body, "secret") {
		t.Errorf("answers %d", res.StatusCode)
	}
	if res, _ := get(t, s, "/clock/"+wearing+"/bearing/worn"); res.StatusCode != 200 {
		t.Errorf("the page itself answers %d", res.StatusCode)
	}
}

// Every outlook has words for its life, without a date that it does not have.
func TestLifeWords(t *testing.T) {
	l := &wear.Limit{Size: wear.FromMM(.8)}
	early, late := schedule.Date{Year: 2031, Month: 3, Day: 1}, schedule.Date{Year: 2040, Month: 5, Day: 1}
	for _, tc := range []struct {
		o    schedule.Outlook
		want string
	}{
		{schedule.Outlook{Known: true}, "no limit is set, so there is no date to give"},
		{schedule.Outlook{Limit: l}, "nothing is measured, so there is no date to give"},
		{schedule.Outlook{Known: true, Limit: l, Over: true}, "it is probably past its limit of 0.80 mm (31.5 thou) already"},
		{schedule.Outlook{Known: true, Limit: l, Beyond: true}, "it is not expected to reach 0.80 mm (31.5 thou) within 40 years"},
		{schedule.Outlook{Known: true, Limit: l}, "no date can be given for 0.80 mm (31.5 thou): its rate is not known well enough"},
		{schedule.Outlook{Known: true, Limit: l, Dated: true, Early: early, Late: late}, "it is likely to reach 0.80 mm (31.5 thou) between March 2031 and May 2040"},
	} {
		if got := lifeWords(tc.o); got != tc.want {
			t.Errorf("%q, want %q", got, tc.want)
		}
	}
}

// FuzzWhatIf types anything into the form.
func FuzzWhatIf(f *testing.F) {
	for _, tc := range hostileAsks {
		f.Add(tc.value, tc.value, tc.value, tc.value)
	}
	f.Add("0.3 mm", "20 mm", "steel on brass", "90")
	f.Fuzz(func(t *testing.T, length, wide, pair, days string) {
		c, faults := readChange(url.Values{"washer": {length}, "faceOff": {length}, "fitted": {length}, "outer": {wide}, "inner": {wide}, "pair": {pair}, "oilDays": {days}})
		if len(faults) == 0 && (c.OilDays < 0 || float64(c.OilDays) > 1e6 || math.Abs(c.Washer.MM()) > wear.MaxLength.MM()) {
			t.Errorf("%q, %q gives %+v", length, days, c)
		}
	})
}

// Asked with nothing filled in, a part of known first size is reckoned new at that
// size.
func TestWhatIfBare(t *testing.T) {
	d := wearingDesk()
	s := siteOf(t, d)
	a, _ := d.snap.Clock(wearing)
	o, ok := a.Outlook("repaired")
	size := lastFitted(o)
	if !ok || size == 0 {
		t.Fatal("it is not known at what size it was fitted")
	}
	bare, body := s.ask(t, "repaired", url.Values{"fitted": {""}, "oilDays": {""}})
	want := "would be about " + both(size.MM()) + " today"
	if text := flat(t, body); bare.StatusCode != http.StatusOK || !strings.Contains(text, want) || !strings.Contains(text, "Nothing was filled in, so this is a new ") {
		t.Errorf("%d, without %q: %s", bare.StatusCode, want, text)
	}
}

func TestLettersForRoles(t *testing.T) {
	all := len(schedule.NoticeKinds)
	for _, tt := range []struct {
		role schedule.Role
		runs bool
		want int
	}{{schedule.Owner, false, all - 2}, {schedule.Winder, false, all - 2}, {schedule.Conservator, false, all - 1}, {schedule.Owner, true, all}} {
		if got := lettersFor([]dutyAt{{Role: tt.role}}, tt.runs); len(got) != tt.want {
			t.Errorf("%s, running the fleet %v: %v", tt.role, tt.runs, got)
		}
	}
}
