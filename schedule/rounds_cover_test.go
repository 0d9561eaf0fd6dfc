package schedule

import (
	"fmt"
	"math/bits"
	"math/rand/v2"
	"testing"
)

// A site that somebody may go to on any day is visited as often as its tasks'
// windows ask for and no more: the least number of days of which each window that
// ends within the months holds one, found by trying all sets of days.
func TestRoundsVisitsAreFewest(t *testing.T) {
	all, saved := 0, 0
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(11, seed))
		var clocks []Clock
		log := map[string][]Entry{}
		for i := range 1 + r.IntN(4) {
			c := bare(fmt.Sprintf("clock-%d", i))
			c.Duties = []Duty{{"ann", Keeper}}
			entries := []Entry{did(Set, "2026-03-29 12:00", func(e *Entry) { e.Change = d("2026-03-29") })}
			for _, x := range []struct {
				kind  TaskKind
				entry EntryKind
			}{{Oiling, Oiled}, {Inspection, Inspected}} {
				p := Policy{Task: x.kind, Days: 400, Lead: 5 + r.IntN(40), Grace: 1 + r.IntN(40), Source: "x"}
				c.Policies = append(c.Policies, p)
				// due within the three months to come, its window not over
				entries = append(entries, doneAt(x.entry, d("2026-05-05").Add(r.IntN(80)-400).At(10, 0, location("UTC"))))
			}
			clocks, log[c.Slug] = append(clocks, c), book(entries...)
		}
		f := fleetOf("UTC", clocks...) // which has no change of time
		f.People[0].Going = Going{Days: Week, From: 0, To: 24 * 60}
		s := Survey(f, log, Model{}, utc("2026-05-04 07:00"))
		got := s.roundsOver(RoundAsk{Months: 3}, s.Now, 3)
		var windows [][2]int
		for _, task := range s.DueList().Tasks {
			if from := latestDay(task.From, got.From); !task.Latest.After(got.Until) && !task.Latest.Before(got.From) {
				windows = append(windows, [2]int{from.number(), task.Latest.number()})
			}
		}
		if len(got.Unmet) > 0 || len(got.Days) != fewestDays(windows) {
			t.Errorf("seed %d: %d days, and %d would do for %v\n%s", seed, len(got.Days), fewestDays(windows), windows, got.Text(s))
		}
		all, saved = all+len(windows), saved+len(windows)-len(got.Days)
	}
	if all < 150 || saved < 50 {
		t.Errorf("%d tasks on %d days fewer: too few to tell", all, saved)
	}
}

// fewestDays is the least number of days of which each window holds one, by trying
// all sets of last days: a day that is none can be moved on to one.
func fewestDays(windows [][2]int) int {
	fewest := len(windows)
	for set := range 1 << len(windows) {
		held := 0
		for _, w := range windows {
			for i, o := range windows {
				if set>>i&1 == 1 && w[0] <= o[1] && o[1] <= w[1] {
					held++
					break
				}
			}
		}
		if n := bits.OnesCount(uint(set)); held == len(windows) && n < fewest {
			fewest = n
		}
	}
	return fewest
}
