package dbtest

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
	"endshake/wear"
)

// lesson is what a fleet may have taught, with a value in every field.
func lesson() schedule.Learned {
	var l schedule.Learned
	fill(reflect.ValueOf(&l).Elem(), new(float64))
	l.Version, l.FittedAt = 0, time.Date(2026, 11, 25, 2, 15, 0, 987654000, time.UTC)
	return l
}

// fill puts something into all that a value holds: figures that have no short
// decimal, of all sizes, and texts that need care.
func fill(v reflect.Value, n *float64) {
	*n++
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(math.Sqrt(*n+1) * math.Pow(10, math.Mod(*n*37, 600)-300))
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(*n))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.String:
		v.SetString(fmt.Sprintf("steel on brass, <indoors> & “%v”\n\\\u2028", *n))
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(v.Index(i), n)
		}
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		for range 2 {
			key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			fill(key, n)
			fill(value, n)
			v.SetMapIndex(key, value)
		}
	case reflect.Struct:
		if v.Type() != reflect.TypeFor[time.Time]() {
			for i := range v.NumField() { // a field that JSON would leave out panics here
				fill(v.Field(i), n)
			}
		}
	}
}

func learnedRoundTrip(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	if l, ok, err := s.Learned(ctx); ok || err != nil || !reflect.DeepEqual(l, schedule.Learned{}) {
		t.Errorf("before anything was learned: %+v, %v, %v", l, ok, err)
	}
	full, bare, edges := lesson(), schedule.Learned{FittedAt: Day}, lesson()
	full.FittedAt = full.FittedAt.Add(600).In(time.FixedZone("far", 3600)) // finer than is kept, in another zone
	edges.Version = 77                                                     // not the caller's to give
	edges.Model.Groups = map[string]wear.Group{"": {Shift: -math.SmallestNonzeroFloat64}, "b": {Shift: math.MaxFloat64}}
	want := []schedule.Learned{full, bare, edges}
	for i := range want {
		rev := revision(t, s)
		got, err := s.SaveLearned(ctx, want[i])
		must(t, err)
		want[i].Version = i + 1
		want[i].FittedAt = want[i].FittedAt.UTC().Truncate(time.Microsecond)
		wantEqual(t, "learned as returned", got, want[i])
		newest, ok, err := s.Learned(ctx)
		must(t, err)
		wantEqual(t, "learned last", newest, want[i])
		rows, err := s.Audit(ctx, 1)
		must(t, err)
		r := rows[0]
		if !ok || r.ID != rev+1 || revision(t, s) != rev+1 || r.Action != "learned" || r.Subject != fmt.Sprintf("the fleet, version %d", i+1) ||
			r.Detail != fmt.Sprintf("from %d bearings with %d readings", want[i].Model.Bearings, want[i].Model.Readings) || !r.At.Equal(want[i].FittedAt) {
			t.Errorf("found %v, revision %d after %d, audit row %+v", ok, revision(t, s), rev, r)
		}
	}
	for v := range 5 {
		got, ok, err := s.LearnedVersion(ctx, v)
		must(t, err)
		if there := v >= 1 && v <= 3; ok != there {
			t.Errorf("version %d: found %v", v, ok)
		} else if there {
			wantEqual(t, fmt.Sprint("version ", v), got, want[v-1])
		}
	}
}

func learnedRefused(t *testing.T, address string, s *db.Store) {
	_, err := s.SaveLearned(t.Context(), lesson())
	must(t, err)
	for _, test := range []struct {
		name, sentence string
		mend           func(*schedule.Learned)
	}{
		{"no number", "crps: NaN is not a number", func(l *schedule.Learned) { l.Track.Next.Ours.CRPS = math.NaN() }},
		{"no end", "om: +Inf is not a number", func(l *schedule.Learned) { l.Model.Om = math.Inf(1) }},
		{"no number in a group", "shift: NaN is not a number", func(l *schedule.Learned) { l.Model.Groups["x"] = wear.Group{Shift: math.NaN()} }},
		{"a group without a proper name", "not valid UTF-8", func(l *schedule.Learned) { l.Model.Groups["\xff"] = wear.Group{} }},
		{"no time", "say when it was fitted", func(l *schedule.Learned) { l.FittedAt = time.Time{} }},
		{"a year that is none", "the year 10000", func(l *schedule.Learned) { l.FittedAt = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) }},
	} {
		t.Run(test.name, func(t *testing.T) {
			l, rev := lesson(), revision(t, s)
			test.mend(&l)
			got, err := s.SaveLearned(t.Context(), l)
			wantCode(t, err, schedule.Invalid)
			if !strings.Contains(err.Error(), test.sentence) || !reflect.DeepEqual(got, schedule.Learned{}) {
				t.Errorf("got %+v, %v; want %q in it", got, err, test.sentence)
			}
			if n := count(t, address, `SELECT count(*) FROM learned`); n != 1 || revision(t, s) != rev {
				t.Errorf("%d versions, revision %d after %d", n, revision(t, s), rev)
			}
		})
	}
	_, err = raw(t, address).Exec(`INSERT INTO learned (version, fitted_at, body) SELECT 9, fitted_at, 'not JSON' FROM learned`)
	must(t, err)
	if _, ok, err := s.Learned(t.Context()); err == nil || ok {
		t.Errorf("what cannot be read was read: %v, %v", ok, err)
	}
}

// learnedSideBySide: two processes learn at once, while the log grows.
func learnedSideBySide(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	const writers, each = 6, 10
	rev := revision(t, s)
	stores := []*db.Store{s, Open(t, address)}
	var mu sync.Mutex
	var versions []int
	var all sync.WaitGroup
	for w := range writers {
		all.Go(func() {
			for i := range each {
				l := lesson()
				l.Model.Readings = 100*w + i
				got, err := stores[w%2].SaveLearned(t.Context(), l)
				if err != nil {
					t.Error(err)
				}
				if _, _, err := stores[w%2].Append(t.Context(), "tester", Day, measured("clock-0", minutes(i), i), nil); err != nil {
					t.Error(err)
				}
				if back, ok, err := stores[1-w%2].LearnedVersion(t.Context(), got.Version); err != nil || !ok || back.Model.Readings != 100*w+i {
					t.Errorf("version %d came back with %d readings, %v, %v", got.Version, back.Model.Readings, ok, err)
				}
				mu.Lock()
				versions = append(versions, got.Version)
				mu.Unlock()
			}
		})
	}
	all.Wait()
	slices.Sort(versions)
	for i, v := range versions {
		if v != i+1 {
			t.Fatalf("versions given: %v", versions)
		}
	}
	if got := revision(t, s); got != rev+2*writers*each {
		t.Errorf("revision %d after %d", got, rev)
	}
}
