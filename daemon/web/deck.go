package web

import (
	"slices"
	"strings"
	"sync"
	"time"

	"endshake/schedule"
)

// shelf keeps what the pages derive from the snapshot in force, and nothing of
// those before it.
type shelf struct {
	mu   sync.Mutex
	deck *deck
}

// of gives the deck of a snapshot; what a new one has in common with the last
// is taken over.
func (s *shelf) of(snap *schedule.Snapshot) *deck {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.deck == nil || s.deck.snap != snap {
		s.deck = newDeck(snap, s.deck)
	}
	return s.deck
}

// deck is what is derived from one snapshot, worked out once. A snapshot never
// changes, and so what is derived from it holds as long as it does.
type deck struct {
	snap   *schedule.Snapshot
	latest time.Time    // when the clock that was assessed last was
	lines  []*clockLine // beside snap.Clocks
	index  map[string]int
	pages  pages
	plans  plans

	mu      sync.Mutex
	readers map[string]*onlooker
	orders  map[order][]int
	tasks   []taskAt // nil: not worked out yet
}

// mostReaders is for how many readers a deck keeps what they see.
const mostReaders = 64

func newDeck(snap *schedule.Snapshot, before *deck) *deck {
	d := &deck{snap: snap, latest: snap.Now, lines: make([]*clockLine, len(snap.Clocks)), readers: map[string]*onlooker{}, orders: map[order][]int{}}
	alike := before != nil && len(before.lines) == len(d.lines) // clock beside clock
	for i := range snap.Clocks {
		a := &snap.Clocks[i]
		if a.Now.After(d.latest) {
			d.latest = a.Now
		}
		if before != nil && i < len(before.lines) && before.lines[i].holds(a) {
			d.lines[i] = before.lines[i]
		} else {
			d.lines[i] = newClockLine(a)
		}
		alike = alike && before.snap.Clocks[i].Clock.Slug == a.Clock.Slug
	}
	if alike {
		d.index = before.index
		before.mu.Lock()
		for by, was := range before.orders { // sorted but for what has changed
			d.orders[by] = d.sorted(by, slices.Clone(was))
		}
		if before.tasks != nil {
			d.takeDue(before)
		}
		before.mu.Unlock()
		return d
	}
	d.index = make(map[string]int, len(snap.Clocks))
	for i := range snap.Clocks {
		d.index[snap.Clocks[i].Clock.Slug] = i
	}
	return d
}

// order is an order of clocks.
type order string

// The orders that a reader may choose, the first where they do not.
const (
	byPressing order = "pressing"
	byName     order = "name"
	byPlace    order = "place"
	byUsed     order = "used"
)

// orders are all of them, with their words.
var orders = []option{
	{string(byPressing), "what presses most"}, {string(byName), "name"}, {string(byPlace), "place"}, {string(byUsed), "limit used"},
}

// in gives all clocks in an order, as indexes of the snapshot.
func (d *deck) in(by order) []int {
	d.mu.Lock()
	defer d.mu.Unlock()
	if o, ok := d.orders[by]; ok {
		return o
	}
	all := make([]int, len(d.lines))
	for i := range all {
		all[i] = i
	}
	d.orders[by] = d.sorted(by, all)
	return d.orders[by]
}

// sorted puts clocks in an order; those with nothing to compare come last.
func (d *deck) sorted(by order, clocks []int) []int {
	compare := map[order]func(x, y int) int{byPressing: d.pressing, byName: d.named, byPlace: d.placed, byUsed: d.used}[by]
	slices.SortFunc(clocks, func(x, y int) int {
		if c := compare(x, y); c != 0 {
			return c
		}
		return strings.Compare(d.snap.Clocks[x].Clock.Slug, d.snap.Clocks[y].Clock.Slug)
	})
	return clocks
}

func (d *deck) pressing(x, y int) int {
	a, b := &d.snap.Clocks[x], &d.snap.Clocks[y]
	if len(a.Tasks) == 0 || len(b.Tasks) == 0 {
		return min(1, len(b.Tasks)) - min(1, len(a.Tasks))
	}
	return schedule.Pressing(&a.Tasks[0], &b.Tasks[0])
}

func (d *deck) named(x, y int) int { return strings.Compare(d.lines[x].name, d.lines[y].name) }

func (d *deck) placed(x, y int) int {
	if c := strings.Compare(d.lines[x].place, d.lines[y].place); c != 0 {
		return c
	}
	return d.named(x, y)
}

func (d *deck) used(x, y int) int {
	switch a, b := d.lines[x].used, d.lines[y].used; {
	case a > b:
		return -1
	case a < b:
		return 1
	}
	return 0
}

// onlooker is what one reader sees of a deck.
type onlooker struct {
	*deck
	key  string
	seen *schedule.Snapshot
	mine []bool    // by clock of the deck; nil: all are theirs
	asOf time.Time // when the one of theirs that was assessed last was

	once   sync.Once
	lede   string
	places []option
	lies   map[string]string // where each of them is, in words
	people []option
	worst  []bearingAt

	change func() string // see changeLink

	kindsOnce sync.Once
	byKind    map[string][]bearingAt
}

// reader gives what an actor sees of the deck. It is kept for people; a program or a link asks
// seldom, and for little.
func (d *deck) reader(by schedule.Actor) *onlooker {
	key, kept := readerKey(by)
	if !kept {
		return d.look(by, "")
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	rd, ok := d.readers[key]
	if !ok {
		rd = d.look(by, key)
		for old := range d.readers { // any one of them: they are soon made again
			if len(d.readers) < mostReaders {
				break
			}
			delete(d.readers, old)
		}
		d.readers[key] = rd
	}
	return rd
}

// readerKey tells readers apart who may see different things.
func readerKey(by schedule.Actor) (key string, ok bool) {
	if by.Machine != nil || by.Pass != nil {
		return "", false
	}
	if by.Conservator {
		return "conservator " + by.Person, true
	}
	return "person " + by.Person, true
}

func (d *deck) look(by schedule.Actor, key string) *onlooker {
	rd := &onlooker{deck: d, key: key, seen: d.snap.Seen(by), asOf: d.latest}
	rd.change = sync.OnceValue(func() string { return changeLink(rd.seen) })
	if rd.seen != d.snap {
		rd.mine, rd.asOf = make([]bool, len(d.lines)), d.snap.Now
		for i := range rd.seen.Clocks {
			a := &rd.seen.Clocks[i]
			rd.mine[d.index[a.Clock.Slug]] = true
			if a.Now.After(rd.asOf) {
				rd.asOf = a.Now
			}
		}
	}
	return rd
}

// sees reports whether a clock of the deck is the reader's to see.
func (rd *onlooker) sees(i int) bool { return rd.mine == nil || rd.mine[i] }
