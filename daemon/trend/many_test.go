package trend

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
)

// manyPoints is a file of very many points of two readings, in three groups of
// which each wears twice as fast as the one before.
func manyPoints(n int) string {
	var b strings.Builder
	b.WriteString(head)
	rnd := rand.New(rand.NewPCG(7, 7))
	for i := range n {
		rate := .004 * math.Pow(2, float64(i%3)) * math.Exp(.2*rnd.NormFloat64())
		fmt.Fprintf(&b, "p%d,g%d,5000,%.3f\np%d,g%d,45000,%.3f\n", i, i%3, .2+.01*rnd.NormFloat64(), i, i%3, .2+40*rate+.01*rnd.NormFloat64())
	}
	return b.String()
}

// Of more points than are learned from, all are answered, in the order of the
// file, and both forms of the answer say that a sample taught.
func TestManyPoints(t *testing.T) {
	const n = sheetRows + 50
	r, err := Run(context.Background(), strings.NewReader(manyPoints(n)), Options{Name: "fleet.csv", Unit: "mm", Gauge: "0.01"})
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Learned Lesson
		Points  []Point
	}
	if err := json.Unmarshal([]byte(asJSON(t, answered{Report: r})), &doc); err != nil {
		t.Fatal(err)
	}
	if doc.Learned.Sample != mostSampled || len(doc.Points) != n {
		t.Errorf("a sample of %d and %d points, want %d and %d", doc.Learned.Sample, len(doc.Points), mostSampled, n)
	}
	for i, p := range doc.Points {
		if p.Point != fmt.Sprintf("p%d", i) || p.Readings != 2 {
			t.Fatalf("point %d of the answer is %+v", i, p)
		}
	}
	for i, g := range doc.Learned.Groups { // the file was made so
		if want := .004 * math.Pow(2, float64(i)); g.Points != n/3+(n%3+2-i)/3 || off(g.Rate, want, .1*want) {
			t.Errorf("group %+v, want %d points at about %v", g, n/3, want)
		}
	}
	text := asText(t, answered{Report: r})
	lines := strings.Split(text, "\n")
	if !strings.HasPrefix(lines[0], "point ") || !strings.HasPrefix(lines[sheetRows+1], "point ") || strings.Count(text, "point ") != 2 {
		t.Errorf("the table's head is not said once for each %d points", sheetRows)
	}
	for i, line := range lines[1:sheetRows] {
		if strings.Index(line, "45,000") != strings.Index(lines[0], "hours") {
			t.Fatalf("line %d is not laid below the others: %q", i+2, line)
		}
	}
	if !strings.Contains(text, "of a sample of 4,000 of the file's 10,050 points, chosen by their names alone") {
		t.Errorf("the sample is not said:\n%s", strings.Join(lines[n+2:], "\n"))
	}
}

// What a file leaves behind while it is answered is its readings and its names,
// not what was made of them.
func TestHeldCompactly(t *testing.T) {
	const n = 10000
	csv := manyPoints(n)
	live := func() uint64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.GC()
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before := live()
	r, err := Run(context.Background(), strings.NewReader(csv), Options{Name: "fleet.csv", Unit: "mm"})
	if err != nil {
		t.Fatal(err)
	}
	held := float64(live()-before) / n
	runtime.KeepAlive(r)
	runtime.KeepAlive(csv)
	// Two readings of 28 bytes, and some 130 of a point and its name.
	if held > 250 {
		t.Errorf("a point of two readings takes %.0f bytes, want 250 or less", held)
	}
}

// The sample is the same whatever the order of the file, has only points that
// can teach, and favours no group.
func TestSample(t *testing.T) {
	names := func(of []*point) (out []string) {
		for _, p := range of {
			out = append(out, p.name)
		}
		return out
	}
	var rows []string
	for i := range 6000 {
		row := fmt.Sprintf("p%d,g%d,0,0.1\n", i, i%2)
		if i%3 > 0 { // every third is read once: it cannot teach
			row += fmt.Sprintf("p%d,g%d,9,0.2\n", i, i%2)
		}
		rows = append(rows, row)
	}
	l, _ := taken(t, head+strings.Join(rows, ""), Options{})
	some := l.sample(1000)
	if len(some) != 1000 || !slices.IsSortedFunc(some, func(a, b *point) int { return int(a.number) - int(b.number) }) {
		t.Errorf("a sample of %d, want 1000 in the order of the file", len(some))
	}
	first := 0
	for _, p := range some {
		if p.readings < 2 {
			t.Fatalf("%s was read once and cannot teach", p.name)
		}
		if p.group == "g0" {
			first++
		}
	}
	if first < 440 || first > 560 { // 500 ± 16 by the binomial law, less for a finite fleet
		t.Errorf("%d of 1000 are of the group of one half", first)
	}
	slices.Reverse(rows)
	turned, _ := taken(t, head+strings.Join(rows, ""), Options{})
	got, want := names(turned.sample(1000)), names(some)
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Error("another order of the file gave another sample")
	}
	if all := l.sample(6000); len(all) != 6000 {
		t.Errorf("of no more points than are wanted, %d are taken, want all", len(all))
	}
	if all := l.sample(5000); len(all) != 4000 {
		t.Errorf("%d can teach, want 4000", len(all))
	}
}

// Results are handed on in order, never more than a window ahead, and the first
// error ends it.
func TestInOrder(t *testing.T) {
	const n = 3*window + 7
	var made atomic.Int64
	var taken []int
	err := inOrder(context.Background(), n, func(i int) (int, error) {
		made.Add(1)
		return i * i, nil
	}, func(v int) error {
		taken = append(taken, v)
		if ahead := int(made.Load()) - len(taken); ahead >= window {
			t.Fatalf("%d results wait", ahead)
		}
		return nil
	})
	if err != nil || len(taken) != n {
		t.Fatalf("%d taken, %v", len(taken), err)
	}
	for i, v := range taken {
		if v != i*i {
			t.Fatalf("result %d is %d, want %d", i, v, i*i)
		}
	}
}

func TestInOrderStops(t *testing.T) {
	const n = 3*window + 7
	broken := errors.New("broken")
	ctx, stop := context.WithCancel(context.Background())
	for _, tt := range []struct {
		name string
		do   func(i int) (int, error)
		take func(v int) error
		want error
	}{
		{"in the work", func(i int) (int, error) {
			if i == window+3 {
				return 0, broken
			}
			return i, nil
		}, func(v int) error {
			if v >= window {
				t.Errorf("%d was taken after an error", v)
			}
			return nil
		}, broken},
		{"in the taking", func(i int) (int, error) { return i, nil }, func(v int) error {
			if v > 4 {
				t.Errorf("%d was taken after an error", v)
			}
			if v == 4 {
				return broken
			}
			return nil
		}, broken},
		{"stopped", func(i int) (int, error) { return i, nil }, func(int) error { stop(); return nil }, context.Canceled},
	} {
		if err := inOrder(ctx, n, tt.do, tt.take); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.want)
		}
	}
}

// full is a place with room for so many bytes.
type full struct{ room int }

var errFull = errors.New("no room is left")

func (f *full) Write(b []byte) (int, error) {
	if f.room -= len(b); f.room < 0 {
		return 0, errFull
	}
	return len(b), nil
}

// An answer that cannot be written to its end is an error, in words and as JSON,
// at once or later; so is one that nobody waits for.
func TestWriteFails(t *testing.T) {
	r := answer(t, fleet(t), Options{Limit: "0.8"})
	ctx, stop := context.WithCancel(context.Background())
	stop()
	for name, write := range map[string]func(ctx context.Context, w *full) error{
		"words": func(ctx context.Context, w *full) error { return r.WriteText(ctx, w) },
		"JSON":  func(ctx context.Context, w *full) error { return r.WriteJSON(ctx, w) },
	} {
		for _, room := range []int{0, 1000} {
			if err := write(context.Background(), &full{room}); !errors.Is(err, errFull) {
				t.Errorf("%s, %d bytes: %v, want %v", name, room, err, errFull)
			}
		}
		if err := write(ctx, &full{1 << 20}); !errors.Is(err, context.Canceled) {
			t.Errorf("%s, stopped: %v, want %v", name, err, context.Canceled)
		}
	}
	if _, err := r.Picture(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("a picture, stopped: %v, want %v", err, context.Canceled)
	}
}

// Drawing readings together keeps their mean, their order and their hours, and
// each of them counts once.
func TestFold(t *testing.T) {
	for _, n := range []int{1, mostReadings, mostReadings + 1, 250, 12345} {
		var b strings.Builder
		b.WriteString(head)
		for i := range n {
			fmt.Fprintf(&b, "a,g,%d,%d\n", i, i%7)
		}
		l, _ := taken(t, b.String(), Options{})
		hours, sizes := 0.0, 0.0
		for _, g := range l.gauges {
			hours, sizes = hours+g.H, sizes+g.Y
		}
		l.fold()
		left := l.gauges[:min(n, mostReadings)]
		if folded := l.points[0].folded; folded != (n > mostReadings) {
			t.Errorf("%d readings: drawn together: %v", n, folded)
		}
		var h, y float64
		for i, g := range left {
			share := float64((i+1)*n/len(left) - i*n/len(left)) // of the readings, dealt evenly
			h, y = h+share*g.H, y+share*g.Y
			if i > 0 && g.H <= left[i-1].H {
				t.Fatalf("%d readings: hours %v after %v", n, g.H, left[i-1].H)
			}
		}
		if math.Abs(h-hours) > 1e-9*hours || math.Abs(y-sizes) > 1e-9*sizes {
			t.Errorf("%d readings: sums %v and %v, want %v and %v", n, h, y, hours, sizes)
		}
	}
}
