package daemon

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// TestMemoryIsLikeAStore does the same at random with the memory of the simulation and
// with a real store: each answer must be the same, and what both hold in the end.
// ENDSHAKE_SEED repeats it.
func TestMemoryIsLikeAStore(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	if n, err := strconv.ParseUint(os.Getenv("ENDSHAKE_SEED"), 10, 64); err == nil {
		seed = n
	}
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("ENDSHAKE_SEED=%d runs it again", seed)
		}
	})
	ctx := t.Context()
	real, err := db.Open(ctx, simFolder(t))
	if err != nil {
		t.Fatal(err)
	}
	defer real.Close()
	if _, _, err := real.Migrate(ctx); err != nil {
		t.Fatal(err)
	}
	l := &alike{t: t, r: rand.New(rand.NewPCG(seed, 0)), stores: [2]simStore{real, newMemory()},
		now: time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)}
	for _, s := range l.stores {
		if err := s.SaveFleet(ctx, "test", l.now, simFleet(), nil); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 1200 {
		l.now = l.now.Add(time.Duration(l.r.IntN(1800)) * time.Second)
		what := l.one(i)
		if t.Failed() {
			t.Fatalf("at step %d, %s", i, what)
		}
	}
	l.same("the runs", func(s simStore) any { list, err := s.Runs(ctx, 10000); return fmt.Sprint(list, err) })
	l.same("the notices", func(s simStore) any { list, err := s.Notices(ctx, 10000); return fmt.Sprintf("%+v %v", list, err) })
	if l.handed == 0 || l.parked() == 0 || l.lost == 0 {
		t.Errorf("%d handed over, %d parked, %d claims lost: the test shows nothing", l.handed, l.parked(), l.lost)
	}
}

// alike is two stores that the same is done with.
type alike struct {
	t      *testing.T
	r      *rand.Rand
	stores [2]simStore
	now    time.Time
	held   map[string][]string // claimed notices, by owner
	handed int
	lost   int
}

// same asks both and compares.
func (l *alike) same(what string, ask func(simStore) any) any {
	l.t.Helper()
	a, b := ask(l.stores[0]), ask(l.stores[1])
	if fmt.Sprint(a) != fmt.Sprint(b) {
		l.t.Errorf("%s: the store says\n%v\nand the memory\n%v", what, a, b)
	}
	return a
}

func (l *alike) parked() (n int) {
	list, _ := l.stores[1].Notices(l.t.Context(), 10000)
	for _, x := range list {
		if x.State == schedule.Parked {
			n++
		}
	}
	return n
}

func (l *alike) owner() string { return []string{"one", "two"}[l.r.IntN(2)] }

func (l *alike) key() string { return fmt.Sprintf("keeper-%d|reminder||%d", l.r.IntN(4), l.r.IntN(60)) }

// one does something, and says what.
func (l *alike) one(i int) string {
	ctx, now, who := l.t.Context(), l.now, l.owner()
	if l.held == nil {
		l.held = map[string][]string{}
	}
	code := schedule.CodeOf
	date := schedule.DateOf(now, time.UTC).Add(-l.r.IntN(3))
	switch l.r.IntN(9) {
	case 0:
		first := fmt.Sprint(l.same("Begin", func(s simStore) any {
			at, first, err := s.Begin(ctx, "letters", who, now)
			return fmt.Sprint(at, first, err)
		}))
		return "Begin " + first
	case 1:
		l.same("LastRun", func(s simStore) any { d, ok, err := s.LastRun(ctx, "learn", now); return fmt.Sprint(d, ok, err) })
		return "LastRun"
	case 2:
		lease := time.Duration(1+l.r.IntN(60)) * time.Minute
		l.same("ClaimRun", func(s simStore) any {
			n, ok, err := s.ClaimRun(ctx, "learn", date, who, now, lease)
			return fmt.Sprint(n, ok, err)
		})
		return "ClaimRun " + date.String()
	case 3:
		merged := []schedule.Date{date.Add(-1), date.Add(-2)}
		said := l.same("FinishRun", func(s simStore) any { return code(s.FinishRun(ctx, "learn", date, who, now, "note", nil, merged)) })
		if said == schedule.Conflict {
			l.lost++
		}
		return "FinishRun " + date.String()
	case 4:
		list := []schedule.Notice{l.notice(i, 0), l.notice(i, 1)}
		l.same("Owe", func(s simStore) any { n, err := s.Owe(ctx, now, list); return fmt.Sprint(n, err) })
		return "Owe " + list[0].Key + " " + list[1].Key
	case 5:
		keys := []string{l.key(), l.key(), l.key()}
		l.same("KnownKeys", func(s simStore) any { m, err := s.KnownKeys(ctx, keys); return fmt.Sprint(m, err) })
		return "KnownKeys"
	case 6:
		n, lease := 1+l.r.IntN(4), time.Duration(1+l.r.IntN(90))*time.Minute
		l.same("ClaimNotices", func(s simStore) any {
			list, err := s.ClaimNotices(ctx, who, now, lease, n)
			if s == l.stores[1] {
				for _, x := range list {
					if !slices.Contains(l.held[who], x.ID) {
						l.held[who] = append(l.held[who], x.ID)
					}
				}
			}
			return fmt.Sprintf("%+v %v", list, err)
		})
		return "ClaimNotices"
	case 7:
		l.same("Trouble", func(s simStore) any {
			x, err := s.Trouble(ctx, now.Add(-72*time.Hour), now)
			return fmt.Sprintf("%+v %v", x, err)
		})
		return "Trouble"
	}
	var marks []schedule.Mark
	for _, id := range l.held[who] {
		if l.r.IntN(3) > 0 {
			marks = append(marks, l.mark(id))
		}
	}
	said := l.same("Record", func(s simStore) any {
		var codes []schedule.Code
		for _, err := range s.Record(ctx, who, marks) {
			codes = append(codes, code(err))
		}
		return fmt.Sprint(codes)
	})
	l.handed += len(marks)
	return fmt.Sprint("Record ", marks, said)
}

// notice is one that may be owed already, may cover others, and may have no letter.
func (l *alike) notice(i, n int) schedule.Notice {
	x := schedule.Notice{ID: fmt.Sprintf("%06d-%d", i, n), Key: l.key(), Kind: schedule.WindReminder, Person: "keeper-0", From: "desk@example.org", To: "keeper-0@example.org",
		MessageID: fmt.Sprintf("<%d-%d@example.org>", i, n), Raw: []byte("Subject: x\r\n\r\nx\r\n")}
	switch l.r.IntN(6) {
	case 0:
		x.Covers = []string{l.key(), l.key()}
	case 1:
		x.Raw, x.State, x.Reply = nil, schedule.Refused, "it could not be written"
	case 2:
		x.NextTry = l.now.Add(time.Hour)
	}
	return x
}

// mark is a hand-over, or what became of one.
func (l *alike) mark(id string) schedule.Mark {
	m := schedule.Mark{Notice: id, At: l.now}
	o := schedule.Outcome{At: l.now, Reply: "said"}
	switch l.r.IntN(6) {
	case 0, 1, 2:
		return m
	case 3:
		o.State = schedule.Sent
	case 4:
		o.State, o.NextTry = schedule.Owed, l.now.Add(5*time.Minute)
	case 5:
		o.State, o.Uncertain = schedule.Owed, true
	}
	m.Outcome = &o
	return m
}
