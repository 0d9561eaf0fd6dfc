package web

import (
	"fmt"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"rsc.io/qr"

	"endshake/schedule"
)

// cardLinesOf fills in the lines of a card.
func cardLinesOf(lines ...map[string]string) url.Values {
	v := url.Values{"key": {"card-1"}}
	for i, l := range lines {
		for name, value := range l {
			if name == "valueUnit" { // the unit stands beside its figure
				v.Set("value-"+strconv.Itoa(i+1)+"Unit", value)
				continue
			}
			v.Set(name+"-"+strconv.Itoa(i+1), value)
		}
	}
	return v
}

// A filled card is logged whole, in the order of its times, with a key a line.
func TestCardIsTypedIn(t *testing.T) {
	d := woundDesk()
	s := siteOf(t, d)
	_, body := get(t, s, "/clock/corn-hall/card/entry")
	checkPage(t, "/clock/corn-hall/card/entry", body)
	v := filled(t, body)
	if v.Get("key") != "key-1" || !v.Has("date-10") || v.Has("date-11") {
		t.Fatalf("the form is %v", v)
	}
	for name, values := range cardLinesOf(
		map[string]string{"date": "2026-11-24", "time": "09:10", "kind": "measured", "of": "bearing/centre-front", "value": "23", "valueUnit": "thou", "by": "edda"},
		map[string]string{"date": "2026-11-24", "time": "08:55", "kind": "wound", "of": "train/strike", "errorFound": "1:30", "errorFoundWay": "slow", "errorLeft": "0", "by": "tom"},
		nil,
		map[string]string{"date": "2026-11-23", "time": "08:00", "kind": "stopped", "note": "a dead bird in the <wheels>"},
		map[string]string{"date": "2026-11-23", "time": "08:30", "kind": "started"}) {
		v[name] = values
	}
	res, body := send(t, s, "/clock/corn-hall/card/entry", v)
	if res.StatusCode != 303 || !strings.HasPrefix(res.Header.Get("Location"), "/clock/corn-hall/done/") || len(d.logged) != 4 {
		t.Fatalf("%d, %d entries: %s", res.StatusCode, len(d.logged), flat(t, body))
	}
	var got []string
	for _, e := range d.logged {
		got = append(got, fmt.Sprintf("%s %s %s", e.At.Format("2 15:04"), e.Kind, e.Key))
	}
	if want := "23 08:00 stopped card-1 line 4|23 08:30 started card-1 line 5|24 08:55 wound card-1 line 2|24 09:10 measured card-1 line 1"; strings.Join(got, "|") != want {
		t.Errorf("logged %s, want %s", strings.Join(got, "|"), want)
	}
	if e := d.logged[2]; e.Train != "strike" || *e.ErrorFound != -90 || *e.ErrorLeft != 0 || e.By != "tom" {
		t.Errorf("line 2: %+v", e)
	}
	if e := d.logged[3]; e.Bearing != "centre-front" || e.Reading.Value != 584 { // 23 thou of 25.4 um each
		t.Errorf("line 1: %+v", e)
	}
	text := pageText(t, s, res.Header.Get("Location"))
	for _, want := range []string{"Wound", "Measured", "Found stopped", "Started", "Winding of the strike train was due ", ", now "} {
		if !strings.Contains(text, want) {
			t.Errorf("after it there is no %q: %s", want, text)
		}
	}
}

// A card is by whoever types it in, unless it says otherwise. What is in the log
// already is asked back at its line, and logged once more where that is meant.
func TestCardLoggedAlready(t *testing.T) {
	d := woundDesk()
	s := siteFor(t, d, winder)
	_, body := get(t, s, "/clock/corn-hall/card/entry")
	if v := filled(t, body); v.Get("by-1") != "wim" || v.Get("by-10") != "wim" {
		t.Errorf("by %q", v.Get("by-1"))
	}
	d.f.add(1, schedule.Entry{Clock: "corn-hall", Kind: schedule.Wound, Train: "strike", By: "tom"}) // 24 Nov, 10:00
	d.snap = d.f.snapshot()
	for _, tt := range []struct {
		time, of string
		alike    bool
	}{
		{"10:00", "train/strike", true}, {"09:01", "", true}, {"10:59", "train/strike", true}, {"12:01", "train/strike", false}, {"10:10", "train/going", false},
	} {
		n := len(d.logged)
		line := map[string]string{"date": "2026-11-24", "time": tt.time, "kind": "wound", "of": tt.of}
		v := cardLinesOf(nil, line)
		v.Set("key", "card "+tt.time)
		res, body := send(t, s, "/clock/corn-hall/card/entry", v)
		if tt.alike {
			checkPage(t, tt.time, body)
		}
		said := strings.Contains(flat(t, body), "Line 2: This is logged already")
		if said != tt.alike || (res.StatusCode == 303) == tt.alike || (len(d.logged) > n) == tt.alike {
			t.Errorf("%v: %d, said %v: %s", tt, res.StatusCode, said, flat(t, body))
		}
		if tt.time != "10:59" {
			continue
		}
		v = filled(t, body)
		v.Set("again-2", "2026-11-24 10:58 wound train/strike") // another line's tick
		if res, _ := send(t, s, "/clock/corn-hall/card/entry", v); res.StatusCode != 422 {
			t.Errorf("a tick for another line is taken: %d", res.StatusCode)
		}
		v.Set("again-2", "2026-11-24 10:59 wound train/strike")
		v.Set("time-2", "10:59")
		if res, body := send(t, s, "/clock/corn-hall/card/entry", v); res.StatusCode != 303 {
			t.Errorf("ticked, and refused: %d: %s", res.StatusCode, flat(t, body))
		}
	}
}

// One line that cannot be logged keeps all of them out, is named, and the rest
// stays as it was typed.
func TestCardRefused(t *testing.T) {
	good := map[string]string{"date": "2026-11-24", "time": "08:55", "kind": "wound", "note": "all <well>"}
	for name, tt := range map[string]struct {
		line map[string]string
		says string
	}{
		"no kind":          {map[string]string{"date": "2026-11-24", "time": "09:00"}, "Line 2: Choose what was done"},
		"another kind":     {map[string]string{"date": "2026-11-24", "time": "09:00", "kind": "repaired"}, "Line 2: Choose what was done"},
		"no time":          {map[string]string{"date": "2026-11-24", "kind": "wound"}, "Line 2: Give the date and the time"},
		"a wrong date":     {map[string]string{"date": "2026-13-24", "time": "09:00", "kind": "wound"}, "Line 2:"},
		"ahead":            {map[string]string{"date": "2026-12-24", "time": "09:00", "kind": "wound"}, "lies in the future"},
		"no unit":          {map[string]string{"date": "2026-11-24", "time": "09:00", "kind": "measured", "of": "bearing/centre-front", "value": "0.5"}, "Line 2:"},
		"no bearing":       {map[string]string{"date": "2026-11-24", "time": "09:00", "kind": "measured", "value": "0.5 mm"}, "Line 2: Choose the bearing"},
		"a reading wound":  {map[string]string{"date": "2026-11-24", "time": "09:00", "kind": "wound", "value": "0.5 mm"}, "Line 2: What was wound has no place for a reading"},
		"a bearing wound":  {map[string]string{"date": "2026-11-24", "time": "09:00", "kind": "wound", "of": "bearing/centre-front"}, "Line 2: What was wound is of the clock or of a train"},
		"twice the same":   {map[string]string{"date": "2026-11-24", "time": "08:55", "kind": "started"}, "Line 2:"},
		"somebody unknown": {map[string]string{"date": "2026-11-24", "time": "09:00", "kind": "wound", "by": "nobody"}, "Line 2:"},
		"doubted":          {map[string]string{"date": "2026-11-24", "time": "09:00", "kind": "measured", "of": "bearing/centre-front", "value": "16", "valueUnit": "mm"}, "Line 2:"},
	} {
		d := newDesk()
		s := siteOf(t, d)
		res, body := send(t, s, "/clock/corn-hall/card/entry", cardLinesOf(good, tt.line))
		checkPage(t, name, body)
		if text := flat(t, body); res.StatusCode < 400 || res.StatusCode > 499 || !strings.Contains(text, tt.says) || len(d.logged) > 0 {
			t.Errorf("%s: %d, %d entries: %s", name, res.StatusCode, len(d.logged), text)
		}
		if v := filled(t, body); v.Get("note-1") != "all <well>" || v.Get("kind-1") != "wound" || v.Get("key") != "card-1" {
			t.Errorf("%s: what was typed is lost: %v", name, v)
		}
		if name == "doubted" {
			v := filled(t, body)
			v.Set("sure-2", "centre-front 16 mm")
			if res, body := send(t, s, "/clock/corn-hall/card/entry", v); res.StatusCode != 303 || len(d.logged) != 2 || !d.logged[1].Sure {
				t.Errorf("said to be right: %d: %s", res.StatusCode, flat(t, body))
			}
		}
	}
	s := siteFor(t, woundDesk(), winder)
	if res, body := send(t, s, "/clock/corn-hall/card/entry", cardLinesOf(good, map[string]string{"date": "2026-11-24", "time": "09:00", "kind": "oiled"})); res.StatusCode != 422 || !strings.Contains(flat(t, body), "Line 2") {
		t.Errorf("a winder oils: %d", res.StatusCode)
	}
	if res, _ := send(t, s, "/clock/corn-hall/card/entry", url.Values{"key": {"x"}}); res.StatusCode != 422 {
		t.Errorf("an empty card: %d", res.StatusCode)
	}
	if res, _ := send(t, s, "/clock/mill/card/entry", cardLinesOf(good)); res.StatusCode != 404 {
		t.Errorf("a clock that is not theirs: %d", res.StatusCode)
	}
}

// Each kind that the card names can be typed in by whoever it is named to, as the
// card asks for it; what goes with another kind is told at its line.
func TestCardTakesWhatItNames(t *testing.T) {
	lines := map[schedule.EntryKind]map[string]string{
		schedule.Wound:     {"of": "train/strike", "errorFound": "1:30 fast"},
		schedule.Oiled:     {"of": "train/strike"},
		schedule.Inspected: {"found": "watch", "errorFound": "40 s slow"},
		schedule.Measured:  {"of": "bearing/centre-front", "value": "23 thou"},
		schedule.Set:       {"errorFound": "2 min slow", "errorLeft": "0"},
		schedule.Stopped:   {"note": "a dead bird"},
		schedule.Noted:     {"note": "pigeons", "errorFound": "+95"},
	}
	for name, actor := range map[string]schedule.Actor{"a conservator": {Conservator: true}, "a winder": winder} {
		_, body := get(t, siteFor(t, woundDesk(), actor), "/clock/corn-hall/card")
		asked := regexp.MustCompile(`What: (.*?)\. Error: like`).FindStringSubmatch(flat(t, body))
		if asked == nil {
			t.Fatal("the card does not say what a line can be")
		}
		named := 0
		for _, kind := range cardKinds {
			if !regexp.MustCompile(`\b` + string(kind) + `\b`).MatchString(regexp.MustCompile(`\(.*?\)`).ReplaceAllString(asked[1], "")) {
				continue
			}
			named++
			d := woundDesk()
			s := siteFor(t, d, actor)
			line := map[string]string{"date": "2026-11-24", "time": "09:30", "kind": string(kind)}
			for n, v := range lines[kind] {
				line[n] = v
			}
			before := []map[string]string{line}
			if kind == schedule.Started { // what goes cannot be started
				before = []map[string]string{{"date": "2026-11-24", "time": "09:00", "kind": "stopped"}, line}
			}
			if res, body := send(t, s, "/clock/corn-hall/card/entry", cardLinesOf(before...)); res.StatusCode != 303 || len(d.logged) != len(before) {
				t.Errorf("%s, %s: %d: %s", name, kind, res.StatusCode, flat(t, body))
			} else if e := d.logged[len(d.logged)-1]; e.Kind != kind || kind == schedule.Inspected && (e.Found != schedule.Watch || *e.ErrorFound != -40) {
				t.Errorf("%s: %+v", name, e)
			}
		}
		if want := len(cardKinds); name == "a conservator" && named != want || named < 2 || name == "a winder" && named == want {
			t.Errorf("%s is named %d kinds: %s", name, named, asked[1])
		}
	}
	for says, line := range map[string]map[string]string{
		"Line 1: What was wound has no place for how it was found": {"kind": "wound", "found": "sound"},
		"Line 1: Write fast or slow after it":                      {"kind": "wound", "errorFound": "90"},
		"can be read in two ways":                                  {"kind": "wound", "errorFound": "1.30 slow"},
		"Line 1: Say what was found":                               {"kind": "inspected"},
	} {
		line["date"], line["time"] = "2026-11-24", "09:30"
		d := woundDesk()
		if res, body := send(t, siteOf(t, d), "/clock/corn-hall/card/entry", cardLinesOf(line)); res.StatusCode != 422 && res.StatusCode != 400 || len(d.logged) > 0 || !strings.Contains(flat(t, body), says) {
			t.Errorf("%v: %d: %s", line, res.StatusCode, flat(t, body))
		}
	}
}

// The card says what is due, what can hurt, and the bearings by name.
func TestCard(t *testing.T) {
	s := siteFor(t, woundDesk(), winder)
	_, body := get(t, s, "/clock/corn-hall/card")
	checkPage(t, "/clock/corn-hall/card", body)
	text := flat(t, body)
	for _, want := range []string{"Winding of the strike train : ", "64 steps", "Low beam on the ladder", "never stand", "centre arbor, front", "22.4 thou (0.57 mm)", "Conservator: Edda Quillfeather"} {
		if !strings.Contains(text, want) {
			t.Errorf("the card does not say %q: %s", want, text)
		}
	}
	if n := strings.Count(body, "<tr><td></td>"); n != cardLines {
		t.Errorf("%d lines to write on", n)
	}
}

// The label's code holds the address of the clock's page.
func TestLabel(t *testing.T) {
	d := newDesk()
	s := siteOf(t, d)
	_, body := get(t, s, "/clock/corn-hall/label")
	checkPage(t, "/clock/corn-hall/label", body)
	if text := flat(t, body); !strings.Contains(text, "clocks.example.org/clock/corn-hall") || !strings.Contains(text, "Found stopped") || !strings.Contains(text, "Tell Edda Quillfeather") {
		t.Errorf("the label says %s", text)
	}
	m := regexp.MustCompile(`viewBox="0 0 (\d+) \d+"`).FindStringSubmatch(body)
	if m == nil {
		t.Fatal("there is no code")
	}
	code, err := qr.Encode("https://clocks.example.org/clock/corn-hall", qr.M)
	if err != nil {
		t.Fatal(err)
	}
	if m[1] != strconv.Itoa(code.Size+8) { // four modules of white all round (ISO/IEC 18004)
		t.Errorf("%s modules wide, the code has %d", m[1], code.Size)
	}
	black := map[[2]int]bool{}
	for _, run := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1`).FindAllStringSubmatch(body, -1) {
		x, _ := strconv.Atoi(run[1])
		y, _ := strconv.Atoi(run[2])
		n, _ := strconv.Atoi(run[3])
		for i := range n {
			black[[2]int{x + i - 4, y - 4}] = true
		}
	}
	for y := -4; y < code.Size+4; y++ {
		for x := -4; x < code.Size+4; x++ {
			if black[[2]int{x, y}] != code.Black(x, y) {
				t.Fatalf("the module at %d, %d is %v", x, y, black[[2]int{x, y}])
			}
		}
	}
	_, body = get(t, s, "/labels")
	checkPage(t, "/labels", body)
	if n := strings.Count(body, `<svg class="code"`); n != len(d.f.fleet.Clocks) {
		t.Errorf("%d codes", n)
	}
	s.Handler = New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: s.post, Now: func() time.Time { return now }})
	if text := pageText(t, s, "/clock/corn-hall/label"); !strings.Contains(text, "--base-url") || strings.Contains(text, "Code that leads") {
		t.Errorf("without an address: %s", text)
	}
}
