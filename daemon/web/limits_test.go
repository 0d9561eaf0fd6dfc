package web

import (
	"net/url"
	"strings"
	"testing"

	"endshake/schedule"
	"endshake/wear"
)

// settles makes a site whose Corn Hall has a bearing with an act limit that is a
// starting value, and whoever runs the fleet logs in.
func settles(t *testing.T) (*entrance, *visit) {
	t.Helper()
	e := newEntrance(t)
	c, _ := e.desk.f.fleet.Clock("corn-hall")
	b, _, _, _ := c.Bearing("centre-front")
	b.Watch, b.Act = nil, &wear.Limit{Size: 820, Source: "starting value, confirm"}
	edda, _ := e.desk.f.fleet.Person("edda")
	edda.Units = wear.Thou
	if err := e.desk.save(t.Context(), "test", schedule.Fleet{People: []schedule.Person{edda}, Clocks: []schedule.Clock{c.WithBearing(b)}}, func(schedule.Fleet) error { return nil }); err != nil {
		t.Fatal(err)
	}
	e.lets("edda", runsFleet)
	e.lets("tom")
	return e, e.in("edda")
}

func (e *entrance) limitsNow() (watch, act *wear.Limit) {
	c, _ := e.desk.Snapshot().Fleet.Clock("corn-hall")
	b, _, _, _ := c.Bearing("centre-front")
	return b.Watch, b.Act
}

const limitsPath = "/clock/corn-hall/bearing/centre-front/limits"

// A limit that nobody has answered for is confirmed on its page as it is, to the
// micrometre, and the bearing's page asks for that no more.
func TestConfirmALimit(t *testing.T) {
	e, b := settles(t)
	_, body := b.get("/clock/corn-hall/bearing/centre-front")
	if !strings.Contains(body, limitsPath) || !strings.Contains(body, "starting value") {
		t.Error("the bearing's page does not lead there")
	}
	res, body := b.get(limitsPath)
	status(t, "the page", res, 200, "")
	checkPage(t, limitsPath, body)
	in := url.Values{"version": {hiddenOn(t, body, "version")}, "act": {"32.3 thou"}, "actSource": {"Edda, survey of 2026"}}
	if !strings.Contains(body, `value="32.3 thou"`) {
		t.Fatalf("the size is not offered: %s", body)
	}
	res, _ = b.send(limitsPath, in)
	status(t, "confirmed", res, 303, "/clock/corn-hall/bearing/centre-front#figures")
	if watch, act := e.limitsNow(); watch != nil || act == nil || *act != (wear.Limit{Size: 820, Source: "Edda, survey of 2026"}) {
		t.Errorf("kept: watch %v, act %v", watch, act)
	}
	if _, body = b.get("/clock/corn-hall/bearing/centre-front"); strings.Contains(body, "starting value: have") {
		t.Error("it is still asked for")
	}
	// Whoever filled in the form before that learns of it, and nothing is lost.
	in.Set("act", "1 mm")
	res, _ = b.send(limitsPath, in)
	status(t, "from an older page", res, 409, "")
	if _, act := e.limitsNow(); act.Size != 820 {
		t.Errorf("changed from an older page: %v", act)
	}
	// Both empty: none holds. Inches are taken.
	_, body = b.get(limitsPath)
	in = url.Values{"version": {hiddenOn(t, body, "version")}, "watch": {"32 thou"}, "watchSource": {"the makers' drawing"}, "act": {""}, "actSource": {""}}
	res, _ = b.send(limitsPath, in)
	status(t, "another", res, 303, "")
	if watch, act := e.limitsNow(); act != nil || watch == nil || watch.Size != 813 {
		t.Errorf("kept: watch %v, act %v", watch, act)
	}
}

// The limit to watch is set without answering for the other, which stays as it is.
func TestOneLimitWithoutTheOther(t *testing.T) {
	e, b := settles(t)
	_, body := b.get(limitsPath)
	in := url.Values{"version": {hiddenOn(t, body, "version")}, "watch": {"20 thou"}, "watchSource": {"Edda"}, "act": {"32.3 thou"}, "actSource": {""}}
	res, _ := b.send(limitsPath, in)
	status(t, "the limit to watch", res, 303, "")
	watch, act := e.limitsNow()
	if watch == nil || watch.Size != 508 || act == nil || act.Size != 820 || act.Confirmed() {
		t.Errorf("kept: watch %v, act %v", watch, act)
	}
	// A size that is changed wants somebody to answer for it.
	_, body = b.get(limitsPath)
	in.Set("version", hiddenOn(t, body, "version"))
	in.Set("act", "33 thou")
	if res, _ = b.send(limitsPath, in); res.StatusCode != 422 {
		t.Errorf("another size, and nobody answers for it: %d", res.StatusCode)
	}
}

// What cannot be a limit is refused at its field, with what was typed still there.
func TestLimitsThatCannotBe(t *testing.T) {
	e, b := settles(t)
	_, page := b.get(limitsPath)
	mark := hiddenOn(t, page, "version")
	for name, x := range map[string]struct {
		in    url.Values
		field string
	}{
		"no unit":             {url.Values{"act": {"0.8"}, "actSource": {"Edda"}}, "act"},
		"words":               {url.Values{"act": {evil}, "actSource": {"Edda"}}, "act"},
		"below nothing":       {url.Values{"act": {"-1 mm"}, "actSource": {"Edda"}}, "act"},
		"of a house":          {url.Values{"act": {"12 m"}, "actSource": {"Edda"}}, "act"},
		"nobody":              {url.Values{"act": {"0.9 mm"}, "actSource": {" "}}, "actSource"},
		"no size":             {url.Values{"actSource": {"Edda"}}, "act"},
		"a starting value":    {url.Values{"act": {"0.9 mm"}, "actSource": {"Starting value"}}, "actSource"},
		"a book":              {url.Values{"act": {"0.9 mm"}, "actSource": {strings.Repeat("long ", 100)}}, "actSource"},
		"the wrong way round": {url.Values{"watch": {"1 mm"}, "watchSource": {"Edda"}, "act": {"0.9 mm"}, "actSource": {"Edda"}}, "act"},
	} {
		x.in.Set("version", mark)
		res, body := b.send(limitsPath, x.in)
		status(t, name, res, 422, "")
		checkTame(t, name, body)
		if !strings.Contains(body, `href="#f-`+x.field+`"`) {
			t.Errorf("%s: not told at %s: %s", name, x.field, body)
		}
	}
	if watch, act := e.limitsNow(); watch != nil || act == nil || act.Confirmed() {
		t.Errorf("something was kept: %v, %v", watch, act)
	}
	res, _ := b.get("/clock/corn-hall/bearing/none/limits")
	status(t, "no such bearing", res, 404, "")
	if res, _ = e.in("tom").get(limitsPath); res.StatusCode != 403 {
		t.Errorf("tom: %d", res.StatusCode)
	}
}

// hiddenOn is what a page's form sends unseen under a name.
func hiddenOn(t *testing.T, page, name string) string {
	t.Helper()
	_, after, ok := strings.Cut(page, `name="`+name+`" value="`)
	if !ok {
		t.Fatalf("no %s on the page: %s", name, page)
	}
	value, _, _ := strings.Cut(after, `"`)
	return value
}
