package web

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// now is the instant of every test: a wet Wednesday.
var now = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

// fixture is an invented fleet with its log.
type fixture struct {
	fleet schedule.Fleet
	log   map[string][]schedule.Entry
	ids   int
}

// add logs an entry some days before now.
func (f *fixture) add(days float64, e schedule.Entry) {
	f.ids++
	e.ID = fmt.Sprintf("e%03d", f.ids)
	e.At = now.Add(-time.Duration(days * 24 * float64(time.Hour)))
	e.RecordedAt = e.At
	f.log[e.Clock] = append(f.log[e.Clock], e)
}

func (f *fixture) read(days float64, clock, bearing string, mm float64) {
	f.add(days, schedule.Entry{Clock: clock, Kind: schedule.Measured, Bearing: bearing, By: "edda", Detail: schedule.Detail{
		Reading: &wear.Reading{Shake: wear.EndShake, Value: wear.FromMM(mm), Instrument: "dial indicator", Load: wear.LoadOff}}})
}

func thrust(code, name string, watch, act float64) wear.Bearing {
	return wear.Bearing{Code: code, Name: name, Form: wear.ThrustFace, Shake: wear.EndShake, Pair: wear.SteelOnBrass, In: wear.Indoors,
		Load: 40, Outer: wear.FromMM(18), Inner: wear.FromMM(10),
		Watch: &wear.Limit{Size: wear.FromMM(watch), Source: "starting value, confirm; common practice, no source"},
		Act:   &wear.Limit{Size: wear.FromMM(act), Source: "conservator, survey of 2019"}}
}

func turret(slug, name, site string) schedule.Clock {
	return schedule.Clock{
		Slug: slug, Name: name, Kind: schedule.Turret, Site: site, InCare: schedule.Date{Year: 2015, Month: 4, Day: 1},
		Duties: []schedule.Duty{{Person: "edda", Role: schedule.Conservator}, {Person: "tom", Role: schedule.Keeper}, {Person: "tom", Role: schedule.Winder}},
		Trains: []wear.Train{
			{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: 8 * 24 * time.Hour, Arbors: []wear.Arbor{
				{Code: "centre", Name: "centre arbor", Revs: 1, Bearings: []wear.Bearing{thrust("centre-front", "front washer", 0.8, 1.2), thrust("centre-rear", "rear washer", 0.8, 1.2)}},
				{Code: "escape", Name: "escape arbor", Revs: 40, Bearings: []wear.Bearing{thrust("escape-front", "front bush", 0.5, 0.8)}}}},
			{Code: "strike", Name: "strike train", Kind: wear.Strike, Drive: wear.HandWound, Reserve: 4 * 24 * time.Hour, StrokesPerDay: 156, Arbors: []wear.Arbor{
				{Code: "hammer", Name: "hammer arbor", Revs: 0.1, Bearings: []wear.Bearing{thrust("hammer-front", "front washer", 1.5, 2)}}}}},
		Policies: []schedule.Policy{
			{Task: schedule.Oiling, Days: 182, Reason: "dusty room", Source: "keeper's notebook, 2016"},
			{Task: schedule.Inspection, Days: 365, Reason: "yearly visit", Source: "conservator"},
			{Task: schedule.Measuring, Days: 730, Reason: "every second visit", Source: "conservator"}},
	}
}

// newFixture invents four clocks: one in good order, one at its limit, one
// resting and one stopped, whose name tries to be more than a name.
func newFixture() *fixture {
	f := &fixture{log: map[string][]schedule.Entry{}}
	f.fleet = schedule.Fleet{
		Sites: []schedule.Site{
			{Slug: "corn-hall", Name: "Corn Hall", Zone: "Europe/London", Place: "Market square of Osmery", Access: "Key at the porter's desk, 64 steps, no light above the second floor", Caution: "Low beam on the ladder"},
			{Slug: "quay", Name: "The quay", Zone: "America/New_York", Place: "Foot of the harbour wall", Access: "Open ground"},
			{Slug: "bad", Name: `<b>Site</b>`, Zone: "UTC", Place: `"><img src=x>`, Access: "{{.}}", Caution: "<script>alert(2)</script>"}},
		People: []schedule.Person{
			{Slug: "edda", Name: "Edda Quillfeather", Email: "edda@example.org"},
			{Slug: "tom", Name: "Tom Barleymow", Email: "tom@example.org"},
			{Slug: "eve", Name: `Eve <script>alert(3)</script>`, Email: "eve@example.org"}},
	}
	hall, mill := turret("corn-hall", "Corn Hall clock", "corn-hall"), turret("mill", "Old Mill clock", "corn-hall")
	mill.Cautions = []schedule.Hazard{schedule.BirdDirt, schedule.Radium}
	quay := turret("quay", "Quay post clock", "quay")
	quay.Kind = schedule.Post
	quay.Trains = quay.Trains[:1]
	quay.Trains[0].Drive, quay.Trains[0].Reserve = wear.Electric, 0
	bad := turret("bad", `<script>alert(1)</script> & "clock"`, "bad")
	bad.Duties = []schedule.Duty{{Person: "eve", Role: schedule.Keeper}}
	bad.Note = "</dl><script>alert(4)</script>"
	f.fleet.Clocks = []schedule.Clock{hall, mill, quay, bad}
	f.fill()
	return f
}

// fill writes the log.
func (f *fixture) fill() {
	for day := 900.0; day > 3; day -= 7 {
		f.add(day, schedule.Entry{Clock: "corn-hall", Kind: schedule.Wound, By: "tom"})
	}
	for day := 400.0; day > 14; day -= 7 {
		f.add(day, schedule.Entry{Clock: "mill", Kind: schedule.Wound, By: "tom"})
	}
	for i, mm := range []float64{.31, .36, .44, .49, .57} {
		f.read(3200-float64(i)*700, "corn-hall", "centre-front", mm)
		f.read(3200-float64(i)*700, "corn-hall", "escape-front", mm/2)
		f.read(3100-float64(i)*700, "mill", "centre-front", mm*2)
	}
	f.add(1000, schedule.Entry{Clock: "mill", Kind: schedule.Repaired, Bearing: "centre-rear", By: "edda", Detail: schedule.Detail{Work: schedule.NewWasher, Fitted: wear.FromMM(.25)}})
	f.read(2000, "mill", "centre-rear", .9)
	f.read(1500, "mill", "centre-rear", 1.05)
	f.read(600, "mill", "centre-rear", .32)
	f.read(100, "mill", "centre-rear", .41)
	f.add(120, schedule.Entry{Clock: "corn-hall", Kind: schedule.Oiled, By: "tom", Detail: schedule.Detail{Oil: "light marine oil"}, Note: "Black paste at the centre arbor.\nWiped off first."})
	f.add(300, schedule.Entry{Clock: "corn-hall", Kind: schedule.Inspected, By: "edda", Detail: schedule.Detail{Found: schedule.Sound}})
	slow := -12.0
	f.add(10, schedule.Entry{Clock: "corn-hall", Kind: schedule.Set, By: "tom", Detail: schedule.Detail{ErrorFound: &slow, ErrorLeft: new(float64)}})
	wrong := f.log["corn-hall"][len(f.log["corn-hall"])-1]
	f.add(10, schedule.Entry{Clock: "corn-hall", Kind: schedule.Set, By: "tom", Detail: wrong.Detail, Replaces: wrong.ID, Why: "slow, not fast"})
	f.add(30, schedule.Entry{Clock: "quay", Kind: schedule.Stopped, By: "tom", Detail: schedule.Detail{Cause: schedule.Rest, Until: schedule.Date{Year: 2027, Month: 4, Day: 1}}})
	f.add(2, schedule.Entry{Clock: "bad", Kind: schedule.Stopped, By: "eve", Detail: schedule.Detail{Cause: schedule.Birds}, Note: "<script>alert(5)</script>"})
	f.read(500, "bad", "escape-front", .3)
}

func (f *fixture) snapshot() *schedule.Snapshot {
	return schedule.Survey(f.fleet, f.log, schedule.Model{}, now)
}

// desk is a Desk in memory that validates as the real one does.
type desk struct {
	mu     sync.Mutex
	f      *fixture
	now    time.Time
	snap   *schedule.Snapshot
	logged []schedule.Entry
	err    error // answered instead, if set
	lesson *schedule.Learned
	former *schedule.Learned // the one before
	saved  []string          // who described something
	album  []schedule.Picture
	once   bool // every key guards, as those of passes do
	loose  bool // nothing is validated
	marks  []schedule.RoundMark
}

func newDesk() *desk {
	f := newFixture()
	return &desk{f: f, now: now, snap: f.snapshot()}
}

func (d *desk) Snapshot() *schedule.Snapshot {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.snap
}

func (d *desk) Log(_ context.Context, e schedule.Entry) (schedule.Entry, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.log(e)
}

func (d *desk) LogShown(ctx context.Context, e schedule.Entry, pictures []schedule.Picture) (schedule.Entry, error) {
	d.mu.Lock()
	var err error
	if len(pictures) == 0 {
		err = schedule.ValidateChange(e, d.f.log[e.Clock])
	}
	d.mu.Unlock()
	if err != nil {
		return e, err
	}
	stored, err := d.Log(ctx, e)
	for _, p := range pictures {
		if err == nil {
			p.ID, p.Clock, p.Entry, p.At = fmt.Sprintf("p%d", len(d.album)), stored.Clock, stored.ID, stored.At
			d.album = append(d.album, p)
		}
	}
	return stored, err
}

func (d *desk) LogTogether(_ context.Context, es []schedule.Entry) ([]schedule.Entry, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.err != nil {
		return nil, d.err
	}
	es = slices.Clone(es)
	slices.SortStableFunc(es, func(x, y schedule.Entry) int { return x.At.Compare(y.At) })
	by := map[string][]schedule.Entry{}
	for _, e := range es {
		by[e.Clock] = append(by[e.Clock], e)
	}
	for clock, these := range by {
		if _, err := schedule.ValidateTogether(these, d.f.fleet, d.f.log[clock], d.model(), d.now); err != nil {
			return nil, err
		}
	}
	for i := range es {
		var err error
		if es[i], err = d.log(es[i]); err != nil {
			return nil, err
		}
	}
	return es, nil
}

func (d *desk) Logs(context.Context) (map[string][]schedule.Entry, schedule.Model, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return maps.Clone(d.f.log), d.model(), d.err
}

// Pictures and Picture: the desk keeps them too.
func (d *desk) Pictures(_ context.Context, clock string) ([]schedule.Picture, error) {
	return slices.DeleteFunc(slices.Clone(d.album), func(p schedule.Picture) bool { return p.Clock != clock }), nil
}

func (d *desk) Picture(_ context.Context, id string) (schedule.Picture, error) {
	for _, p := range d.album {
		if p.ID == id {
			return p, nil
		}
	}
	return schedule.Picture{}, &schedule.Error{Code: schedule.NotFound, Message: "there is no such picture"}
}

func (d *desk) log(e schedule.Entry) (schedule.Entry, error) {
	if d.err != nil {
		return e, d.err
	}
	for _, old := range d.f.log[e.Clock] {
		if d.once && e.Key != "" && old.Key == e.Key { // whatever it says
			return e, &schedule.Error{Code: schedule.Conflict, Field: "key", Message: "this form was logged already"}
		}
		if strings.HasPrefix(e.Key, "pass ") && old.Key == e.Key {
			if old.Kind != e.Kind || old.Note != e.Note {
				return e, &schedule.Error{Code: schedule.Conflict, Field: "key", Message: "this form was logged already"}
			}
			return old, nil
		}
	}
	if err := schedule.Validate(e, d.f.fleet, d.f.log[e.Clock], d.model(), d.now); err != nil && !d.loose {
		return e, err
	}
	d.f.ids++
	e.ID, e.RecordedAt = fmt.Sprintf("n%03d", d.f.ids), d.now
	d.f.log[e.Clock] = append(d.f.log[e.Clock], e)
	d.logged = append(d.logged, e)
	d.snap = d.snap.With(e.Clock, d.f.log[e.Clock], d.model(), d.now)
	return e, nil
}

func (d *desk) LogAnswer(_ context.Context, p schedule.Pass, e schedule.Entry) (schedule.Entry, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	a, _ := d.snap.Clock(e.Clock)
	if _, used := p.Used(d.f.log[e.Clock]); !used {
		if err := p.Done(a, d.f.fleet); err != nil {
			return e, err
		}
	}
	return d.log(e)
}

func (d *desk) Facts(_ context.Context, clock string) (schedule.Facts, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	a, ok := d.snap.Clock(clock)
	if d.err != nil || !ok {
		return schedule.Facts{}, d.err
	}
	return schedule.Facts{Clock: a.Clock, Site: a.Site, Entries: d.f.log[clock], Model: d.model(), Before: &a}, nil
}

func (d *desk) Lesson() (schedule.Learned, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.lesson == nil {
		return schedule.Learned{}, false
	}
	return *d.lesson, true
}

func (d *desk) Former() (schedule.Learned, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.former == nil {
		return schedule.Learned{}, false
	}
	return *d.former, true
}

func (d *desk) model() schedule.Model { return schedule.Model{Learned: d.lesson} }

// teach has the fleet taught something, and assesses it by that.
func (d *desk) teach(l schedule.Learned) {
	d.former, d.lesson = d.lesson, &l
	d.snap = schedule.Survey(d.f.fleet, d.f.log, d.model(), d.now)
}

func (d *desk) history(_ context.Context, clock string) ([]schedule.Entry, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.f.log[clock], nil
}

// post is a Mailroom in memory.
type post struct {
	notices []schedule.Notice
	resent  []string
	err     error
	steps   map[string][]schedule.Step
	boxes   []schedule.Mailbox
	started []string
}

func (p *post) Steps(_ context.Context, id string) ([]schedule.Step, error) {
	return p.steps[id], p.err
}

func (p *post) Mailboxes(_ context.Context, limit int) ([]schedule.Mailbox, error) {
	return p.boxes[:min(limit, len(p.boxes))], p.err
}

func (p *post) StartMailbox(_ context.Context, actor, address string, _ time.Time) error {
	for i, m := range p.boxes {
		if m.Address == address {
			p.boxes = slices.Delete(p.boxes, i, i+1)
			p.started = append(p.started, actor+" "+address)
			return nil
		}
	}
	return &schedule.Error{Code: schedule.NotFound, Field: "address", Message: "the address is not stopped"}
}

func (p *post) Notices(_ context.Context, limit int) ([]schedule.Notice, error) {
	return p.notices[:min(limit, len(p.notices))], p.err
}

func (p *post) Notice(_ context.Context, id string) (schedule.Notice, error) {
	for _, n := range p.notices {
		if n.ID == id {
			return n, p.err
		}
	}
	return schedule.Notice{}, &schedule.Error{Code: schedule.NotFound, Message: "there is no notice " + id}
}

func (p *post) Resend(_ context.Context, actor, id string, _ time.Time) error {
	p.resent = append(p.resent, actor+" "+id)
	return p.err
}

// sample is a message as it goes out: text, HTML and a picture.
var sample = strings.ReplaceAll(`From: endshake <clocks@example.org>
To: Tom Barleymow <tom@example.org>
Subject: =?utf-8?q?Due_in_December_=E2=80=93_Corn_Hall?=
Date: Wed, 25 Nov 2026 07:00:00 +0000
Message-Id: <1@example.org>
MIME-Version: 1.0
Content-Type: multipart/alternative; boundary=b

--b
Content-Type: text/plain; charset=utf-8
Content-Transfer-Encoding: quoted-printable

Oiling of the going train is due. =E2=80=93 <script>alert(6)</script>
--b
Content-Type: multipart/related; boundary=r

--r
Content-Type: text/html; charset=utf-8

<p style="color:red">Oiling is due</p><img src="cid:chart1@example.org"><script>alert(7)</script>
--r
Content-Type: image/png
Content-Transfer-Encoding: base64
Content-Id: <chart1@example.org>
Content-Disposition: inline

iVBORw0KGgo=
--r--
--b--
`, "\n", "\r\n")

func newPost() *post {
	return &post{notices: []schedule.Notice{
		{ID: "m1", Kind: schedule.DueList, Person: "tom", Title: "Due in December", Raw: []byte(sample), State: schedule.Sent, Attempts: 1, Created: now, SentAt: now, Reply: "250 2.0.0 taken"},
		{ID: "m2", Kind: schedule.LimitReminder, Person: "edda", Title: "Near its limit: <b>centre</b>", Raw: []byte("no message at all"), State: schedule.Parked, Attempts: 2, Created: now, Reply: "no answer after the message"},
		{ID: "m3", Kind: schedule.DueList, Person: "eve", Title: "Due in December", Raw: []byte(sample), State: schedule.Owed, Attempts: 1, Created: now, NextTry: now.Add(time.Hour)}}}
}

// site is the handler of a test with what stands behind it.
type site struct {
	http.Handler
	desk  *desk
	post  *post
	links *passes
}

func newSite(t testing.TB) site {
	t.Helper()
	return siteOf(t, newDesk())
}

func siteOf(t testing.TB, d *desk, mend ...func(*Options)) site {
	p, l := newPost(), &passes{by: map[string]schedule.Pass{}}
	o := Options{Everyone: schedule.Actor{Conservator: true},
		Desk: d, Album: d, Mailroom: p, Passes: l, Base: "https://clocks.example.org/", History: d.history, Now: func() time.Time { return d.now },
		Arrivals: func() []schedule.Arrival {
			return []schedule.Arrival{{Number: 1, At: now, From: "clocks@example.org", To: []string{"tom@example.org"}, Raw: []byte(sample)}}
		},
		Settings: func(context.Context) (Settings, error) { return sampleSettings, nil },
		Tokens:   &handed{}, Audit: func(context.Context, string, int64, int) ([]Change, error) { return nil, nil },
		NewKey: func() string { return "key-1" }, Banner: "An invented fleet.",
		Log: slog.New(slog.NewTextHandler(t.Output(), nil)),
	}
	for _, m := range mend {
		m(&o)
	}
	s := newServer(o)
	s.rounds, s.kit = simpleRounds, simpleKit
	return site{s.handler(), d, p, l}
}

// torn adds a clock of which part cannot be read.
func torn(d *desk) {
	c := turret("lych-gate", "Lych Gate clock", "corn-hall")
	c.Damage = []string{"entry 01939f0a-52d1-7c1e-8a55-0c2b7f3e9d10, detail: unexpected end of JSON input"}
	fleet, snap := d.f.fleet, *d.snap
	fleet.Clocks = append(slices.Clone(fleet.Clocks), c)
	snap.Fleet = fleet
	alone := schedule.Fleet{Sites: fleet.Sites, People: fleet.People, Clocks: []schedule.Clock{c}}
	snap.Clocks = append(slices.Clone(snap.Clocks), schedule.Survey(alone, nil, schedule.Model{}, now).Clocks...)
	d.f.fleet, d.snap = fleet, &snap
}
