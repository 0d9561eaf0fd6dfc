package schedule

import (
	"fmt"
	"strings"
	"testing"

	"endshake/wear"
)

// ten is a clock with ten bearings of unknown age, and one policy to measure.
func ten(policies ...Policy) Clock {
	c := alone()
	c.Policies = policies
	c.Trains[0].Arbors = nil
	for i := range 10 {
		b := bush()
		b.Code, b.Name, b.FittedAt, b.Fitted = fmt.Sprintf("b%d", i), fmt.Sprintf("bush %d", i), utc("0001-01-01"), 0
		c.Trains[0].Arbors = append(c.Trains[0].Arbors, wear.Arbor{Code: fmt.Sprintf("a%d", i), Revs: 1, Bearings: []wear.Bearing{b}})
	}
	return c
}

// flat are two readings each of bearings, ten years apart and almost alike, so
// that nothing is urgent; the second on the given days.
func flat(days ...string) []Entry {
	var out []Entry
	for i, day := range days {
		for j, when := range []string{d(day).Add(-1000).String(), day} {
			e := did(Measured, when, gave(0.11+0.001*float64(j)))
			e.Bearing = fmt.Sprintf("b%d", i)
			out = append(out, e)
		}
	}
	return out
}

func measuringOf(a Assessment) string {
	var out []string
	for _, x := range a.Tasks {
		if x.Kind == Measuring {
			out = append(out, fmt.Sprintf("%s|%s|%s", x.Subject, x.What(), x.Due))
		}
	}
	return strings.Join(out, "\n")
}

func TestMeasuringVisits(t *testing.T) {
	yearly := Policy{Task: Measuring, Days: 365, Lead: 45, Grace: 60, Reason: "while the weight is held", Source: "keeper"}
	for _, tt := range []struct {
		name string
		days []string
		want string
	}{
		{"all on one day", []string{"2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01"},
			"|measuring of the 10 bearings due together|2025-05-01"},
		{"a month apart: one visit, when the first is due", []string{"2024-05-01", "2024-06-01", "2024-05-20", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01"},
			"|measuring of the 10 bearings due together|2025-05-01"},
		{"two seasons: two visits", []string{"2024-05-01", "2024-05-01", "2024-09-01", "2024-09-02", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01"},
			"|measuring of the 8 bearings due together|2025-05-01\nb2|measuring of the 2 bearings due together|2025-09-01"},
		{"one much later is not left out", []string{"2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-12-24"},
			"|measuring of the 9 bearings due together|2025-05-01\nb9|measuring of the bush 9|2025-12-24"},
		{"never measured: from the first day in care", nil, "|measuring of the 10 bearings due together|2020-12-31"},
	} {
		c := ten(yearly)
		if tt.days != nil { // what is left of the first years is done with
			c.InCare = d("2020-01-01")
		}
		a := assess(c, book(flat(tt.days...)...), "2025-01-15")
		if got := measuringOf(a); got != tt.want {
			t.Errorf("%s: got\n%s\nwant\n%s", tt.name, got, tt.want)
		}
	}
	a := assess(ten(yearly), book(flat("2024-05-01", "2024-05-02", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01")...), "2025-04-20")
	got := taskOf(t, a, Measuring, "")
	if got.Minutes != 60+9*15 { // an hour for the first, a quarter for each more
		t.Errorf("ten bearings take %d minutes", got.Minutes)
	}
	again := Assess(Facts{Clock: a.Clock, Site: a.Site, Entries: a.Entries, Before: &a}, a.Now)
	if x := taskOf(t, again, Measuring, ""); x.Minutes != got.Minutes {
		t.Errorf("with an earlier answer at hand %d minutes", x.Minutes)
	}
	if windowOf(got) != "2025-03-17 2025-05-01 2025-06-30" || got.State != Open || got.Source != "keeper" ||
		!strings.HasPrefix(got.Reason, "1 year after 1 May 2024 (while the weight is held): bush 0; bush 2; ") || !strings.HasSuffix(got.Reason, "; bush 1") {
		t.Errorf("%s, %s, %q, %q", windowOf(got), got.State, got.Reason, got.Source)
	}
}

// A bearing that its own risk makes urgent, or that has its own policy, has its
// own task.
func TestMeasuringOnItsOwn(t *testing.T) {
	yearly := Policy{Task: Measuring, Days: 365, Lead: 45, Grace: 60, Source: "keeper"}
	own := Policy{Task: Measuring, Bearing: "b3", Days: 182, Source: "firm"}
	log := flat("2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01", "2024-05-01")
	near := []Entry{
		did(Measured, "2022-05-01", gave(0.20), onBearing("b1")), did(Measured, "2023-05-01", gave(0.26), onBearing("b1")), did(Measured, "2024-05-02", gave(0.32), onBearing("b1")),
	}
	for i := range near {
		near[i].Bearing = "b1"
	}
	c := ten(yearly, own)
	c.Trains[0].Arbors = c.Trains[0].Arbors[:5]
	a := assess(c, book(append(log, near...)...), "2024-05-10")
	for _, tt := range []struct {
		subject, about string
		own            bool
	}{{"", "3 bearings due together", false}, {"b1", "bush 1", true}, {"b3", "bush 3", true}} {
		got := taskOf(t, a, Measuring, tt.subject)
		if got.About != tt.about || tt.own && got.Latest.Sub(got.Due) > 30 {
			t.Errorf("%q: %q, %s", tt.subject, got.About, windowOf(got))
		}
	}
	if got := taskOf(t, a, Measuring, "b3"); got.Due != d("2024-05-01").Add(182) || got.Source != "firm" {
		t.Errorf("b3 by its own policy: %s, %q", windowOf(got), got.Source)
	}
	if got := taskOf(t, a, Measuring, "b1"); !got.Due.Before(d("2024-09-01")) || got.From.Before(d("2024-05-10")) {
		t.Errorf("b1 near its limit: %s", windowOf(got))
	}
}

// With no policy a bearing is measured for the sake of its limit; without that
// nobody is asked.
func TestMeasuringWithoutPolicy(t *testing.T) {
	c := ten()
	c.Trains[0].Arbors = c.Trains[0].Arbors[:2]
	c.Trains[0].Arbors[1].Bearings[0].Watch, c.Trains[0].Arbors[1].Bearings[0].Act = nil, nil
	a := assess(c, nil, "2021-01-15")
	if got := measuringOf(a); got != "b0|measuring of the bush 0|2021-12-31" {
		t.Errorf("got %s", got)
	}
	if got := taskOf(t, a, Measuring, "b0"); !strings.Contains(got.Reason, "no interval is set") || !strings.Contains(got.Source, "starting value, confirm") {
		t.Errorf("%q, %q", got.Reason, got.Source)
	}
}

// Whoever measured today is not asked again before half the time is over.
func TestMeasuringIsNotOpenAtOnce(t *testing.T) {
	for _, days := range []int{10, 31, 60, 100, 365, 3650} {
		c := ten(Policy{Task: Measuring, Days: days, Lead: 60, Source: "x"})
		c.Trains[0].Arbors = c.Trains[0].Arbors[:1]
		for _, sizes := range [][]float64{{0.11, 0.112}, {0.20, 0.34}, {0.20, 0.50}} {
			log := []Entry{did(Measured, "2022-05-01", gave(sizes[0])), did(Measured, "2024-05-01 09:00", gave(sizes[1]))}
			for i := range log {
				log[i].Bearing = "b0"
			}
			got := taskOf(t, assess(c, book(log...), "2024-05-01 09:05"), Measuring, "b0")
			if got.State != Ahead || got.From.Sub(d("2024-05-01")) < got.Due.Sub(got.From)-1 {
				t.Errorf("every %d days, %v: %s, %s", days, sizes, got.State, windowOf(got))
			}
		}
	}
}
