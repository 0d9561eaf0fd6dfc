package web

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http/httptest"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/schedule"
)

// After an entry the lines of the other clocks are those of before, and its own
// is not; nothing of the page is left of before.
func TestDeckTakesOverWhatIsAsItWas(t *testing.T) {
	s := newSite(t)
	_, before := get(t, s, "/")
	shelf := &shelf{}
	old := shelf.of(s.desk.snap)
	if shelf.of(s.desk.snap) != old {
		t.Fatal("one snapshot has two decks")
	}
	for _, by := range []order{byPressing, byName, byPlace, byUsed} {
		old.in(by)
	}
	old.due()
	if _, err := s.desk.Log(t.Context(), schedule.Entry{Clock: "mill", Kind: schedule.Wound, By: "tom", At: now}); err != nil {
		t.Fatal(err)
	}
	deck := shelf.of(s.desk.snap)
	fresh := newDeck(s.desk.snap, nil)
	for i, l := range deck.lines {
		slug := deck.snap.Clocks[i].Clock.Slug
		if kept := l == old.lines[i]; kept == (slug == "mill") {
			t.Errorf("%s: its line is kept: %v", slug, kept)
		}
		if deck.index[slug] != i {
			t.Errorf("%s is the %d. clock, want %d.", slug, deck.index[slug], i)
		}
	}
	for _, by := range []order{byPressing, byName, byPlace, byUsed} {
		if got, want := fmt.Sprint(deck.in(by)), fmt.Sprint(fresh.in(by)); got != want {
			t.Errorf("by %s: %s, want %s", by, got, want)
		}
	}
	if got, want := deck.due(), fresh.due(); !slices.Equal(got, want) || slices.Equal(got, old.due()) {
		t.Errorf("due are %v, want %v", got, want)
	}
	holdsDueList(t, deck)
	if _, after := get(t, s, "/"); after == before || !strings.Contains(after, "going") {
		t.Error("the page is the one of before the winding")
	}
}

// holdsDueList holds the tasks of a deck to the due-list as it is worked out anew.
func holdsDueList(t *testing.T, d *deck) {
	t.Helper()
	want := d.snap.DueList().Tasks
	if len(d.due()) != len(want) {
		t.Fatalf("%d tasks, want %d", len(d.due()), len(want))
	}
	for i, at := range d.due() {
		a := zoned(d.snap.Clocks[at.clock])
		far := want[i].State == schedule.Ahead && want[i].From.Sub(schedule.DateOf(a.Now, a.Zone)) > daysAhead
		if !reflect.DeepEqual(*d.task(at), want[i]) || at.far != far {
			t.Fatalf("the %d. task is %s of %s, far %v, want %s of %s, %v", i, d.task(at).What(), d.task(at).Clock, at.far, want[i].What(), want[i].Clock, far)
		}
	}
}

// However the tasks of any clocks change, one after another or many at once, and
// with however many that press alike, the list that is taken over is that of the
// snapshot alone.
func TestDueTakenOverIsThatWorkedOutAnew(t *testing.T) {
	const seed = 20261126
	rng := rand.New(rand.NewPCG(seed, 1))
	anew := func(snap *schedule.Snapshot, i int) {
		a := &snap.Clocks[i]
		a.Now = a.Now.Add(time.Minute)
		a.Tasks = nil
		for range rng.IntN(6) {
			from := schedule.DateOf(a.Now, time.UTC).Add(40*rng.IntN(10) - 100)
			a.Tasks = append(a.Tasks, schedule.Task{Clock: a.Clock.Slug, Kind: schedule.TaskKinds[rng.IntN(3)], Rank: schedule.Rank(1 + rng.IntN(3)),
				State: schedule.TaskStates[rng.IntN(len(schedule.TaskStates))], From: from, Due: from, Latest: from, Reason: fmt.Sprint(rng.Int())})
		}
		slices.SortStableFunc(a.Tasks, func(x, y schedule.Task) int { return schedule.Pressing(&x, &y) })
	}
	snap, shelf := large(40), &shelf{}
	for i := range snap.Clocks {
		anew(snap, i)
	}
	holdsDueList(t, shelf.of(snap))
	for range 200 {
		next := *snap
		next.Clocks = slices.Clone(snap.Clocks)
		for range 1 + rng.IntN(3) {
			anew(&next, rng.IntN(len(next.Clocks)))
		}
		snap = &next
		holdsDueList(t, shelf.of(snap))
	}
}

// Many readers at once get what is theirs.
func TestDeckForManyReaders(t *testing.T) {
	s := newSite(t)
	shelf := &shelf{}
	var wg sync.WaitGroup
	for n := range 200 {
		wg.Go(func() {
			by := schedule.Actor{Person: []string{"eve", "tom", "nobody", fmt.Sprint("p", n)}[n%4]}
			rd := shelf.of(s.desk.snap).reader(by)
			f := rd.readSieve("/", nil, clockStates, orders)
			for _, i := range rd.sift(&f) {
				if err := s.desk.snap.Fleet.Allow(by, schedule.SeeClock, s.desk.snap.Clocks[i].Clock.Slug); err != nil {
					t.Errorf("%s sees a clock: %v", by.Person, err)
				}
			}
			if want := map[string]int{"eve": 1, "tom": 3}[by.Person]; len(rd.sift(&f)) != want {
				t.Errorf("%s sees %d clocks, want %d", by.Person, len(rd.sift(&f)), want)
			}
		})
	}
	wg.Wait()
	if n := len(shelf.deck.readers); n > mostReaders {
		t.Errorf("what %d readers see is kept", n)
	}
}

// A program is nobody's neighbour: what it sees is kept for no other.
func TestDeckKeepsNothingForPrograms(t *testing.T) {
	d := newDeck(newDesk().snap, nil)
	for _, clock := range []string{"mill", "quay"} {
		rd := d.reader(schedule.Actor{Machine: &schedule.Machine{Name: "x", Scopes: []schedule.Scope{schedule.ScopeRead}, Clocks: []string{clock}}})
		if len(rd.seen.Clocks) != 1 || rd.seen.Clocks[0].Clock.Slug != clock || rd.key != "" {
			t.Errorf("a program of %s sees %d clocks, kept as %q", clock, len(rd.seen.Clocks), rd.key)
		}
	}
	if len(d.readers) > 0 {
		t.Error("what a program sees is kept")
	}
}

// A kept page is made once, squeezed only for who takes it, and the oldest goes.
func TestKeptPages(t *testing.T) {
	var p pages
	made := 0
	page := func(key string) *keptPage {
		return p.page(key, func() ([]byte, error) { made++; return []byte("page " + key), nil })
	}
	for range 3 {
		for i := range mostPages {
			page(fmt.Sprint(i))
		}
	}
	if made != mostPages {
		t.Errorf("%d pages were made %d times", mostPages, made)
	}
	page("one more")
	page("0") // which went for it
	if made != mostPages+2 || p.use.Len() != mostPages || len(p.by) != mostPages {
		t.Errorf("%d are kept after %d were made", p.use.Len(), made)
	}
	fail := func() ([]byte, error) { made++; return nil, io.ErrUnexpectedEOF }
	for range 2 {
		if p.page("broken", fail).err == nil {
			t.Error("a page that could not be made has no error")
		}
	}
	if made != mostPages+4 {
		t.Error("a page that could not be made is kept")
	}
}

func TestFleetPageIsSqueezed(t *testing.T) {
	s := newSite(t)
	_, plain := get(t, s, "/")
	for accept, want := range map[string]bool{"gzip": true, "br, gzip;q=0.5": true, "gzip;q=0": false, "": false, "identity": false, "x-gzip": false} {
		r := httptest.NewRequest("GET", "/", nil)
		r.Header.Set("Accept-Encoding", accept)
		res, body := ask(t, s, r)
		if got := res.Header.Get("Content-Encoding") == "gzip"; got != want || res.Header.Get("Vary") != "Accept-Encoding" {
			t.Errorf("%q is answered squeezed: %v, want %v", accept, got, want)
		}
		if want {
			z, err := gzip.NewReader(bytes.NewReader([]byte(body)))
			if err != nil {
				t.Fatal(err)
			}
			out, err := io.ReadAll(z)
			if err != nil || string(out) != plain || len(body) > len(plain)/2 {
				t.Errorf("%d bytes squeezed for %d: %v", len(body), len(plain), err)
			}
		}
	}
}

// The worst are those that sorting all would put first.
func TestAmongTheWorst(t *testing.T) {
	var worst, all []bearingAt
	for i := range 500 {
		b := bearingAt{i, 0, float64(i * 7919 % 101)}
		worst, all = among(worst, b), append(all, b)
	}
	slices.SortStableFunc(all, func(x, y bearingAt) int { return int(y.used - x.used) })
	if !slices.Equal(worst, all[:mostWorst]) {
		t.Errorf("the worst are %v, want %v", worst, all[:mostWorst])
	}
}
