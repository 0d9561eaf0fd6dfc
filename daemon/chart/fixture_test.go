package chart

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

var (
	now = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	utc = time.UTC
)

// took is one invented reading: years before now, and mm.
type took struct{ years, mm float64 }

// invent assesses one invented clock with one bearing, so that outlooks are
// what the program makes and not what a test thinks it makes.
func invent(t testing.TB, b wear.Bearing, readings []took, repairs ...schedule.Entry) schedule.Outlook {
	t.Helper()
	a := schedule.Assess(facts(b, readings, repairs...), now)
	o, ok := a.Outlook("centre-front")
	if !ok || len(a.Problems) > 0 {
		t.Fatalf("the invented clock has no outlook: problems %v", a.Problems)
	}
	return o
}

// facts are those of the invented clock, whose bearing moves the meshes given.
func facts(b wear.Bearing, readings []took, repairs ...schedule.Entry) schedule.Facts {
	b.Code, b.Name, b.Shake = "centre-front", "front bush", wear.EndShake
	if b.Form == "" {
		b.Form = wear.Bush
	}
	clock := schedule.Clock{
		Slug: "mill", Name: "Mill clock", Site: "mill", InCare: schedule.Date{Year: 2000, Month: 1, Day: 1},
		Trains: []wear.Train{{Code: "going", Kind: wear.Going, Drive: wear.AutoWound,
			Arbors: []wear.Arbor{{Code: "centre", Name: "centre arbor", Bearings: []wear.Bearing{b}}}}},
	}
	entries := repairs
	for i, r := range readings {
		entries = append(entries, schedule.Entry{
			ID: fmt.Sprint(i), Clock: "mill", Kind: schedule.Measured, Bearing: b.Code,
			At:     now.Add(-time.Duration(r.years * float64(year))),
			Detail: schedule.Detail{Reading: &wear.Reading{Shake: wear.EndShake, Value: wear.FromMM(r.mm)}},
		})
	}
	return schedule.Facts{Clock: clock, Site: schedule.Site{Slug: "mill", Zone: "UTC"}, Entries: entries}
}

// room is what stands on a chart of a size for words with lengths: where there is
// no room, in mm alone, and without saying that it is about so much.
func room(size Size, words string) string {
	if size.narrow() {
		return strings.Replace(inThou.ReplaceAllString(words, ""), "now about", "now", 1)
	}
	return words
}

var inThou = regexp.MustCompile(` \([0-9.]+ thou\)`)

func limit(mm float64) *wear.Limit {
	return &wear.Limit{Size: wear.FromMM(mm), Source: "invented for a test"}
}

// worn is an ordinary bearing with limits and a good history.
func worn(t testing.TB) schedule.Outlook {
	return invent(t, wear.Bearing{Watch: limit(0.6), Act: limit(0.8)},
		[]took{{9, .20}, {7, .26}, {5, .33}, {3, .38}, {1, .47}})
}

// repaired had a new bush three years ago, perhaps of another material.
func repaired(t testing.TB, pair ...wear.Pair) schedule.Outlook {
	pair = append(pair, "")
	return invent(t, wear.Bearing{Watch: limit(0.6), Act: limit(0.8)},
		[]took{{12, .40}, {9, .55}, {6, .70}, {4, .78}, {2, .26}, {.5, .31}},
		schedule.Entry{ID: "r", Clock: "mill", Kind: schedule.Repaired, Bearing: "centre-front", At: now.Add(-3 * year),
			Detail: schedule.Detail{Work: schedule.NewBush, Fitted: wear.FromMM(.22), NewPair: pair[0]}})
}

// meshed moves a bevel wheel, whose mesh sets limits beside the conservator's.
func meshed(t testing.TB, act *wear.Limit) schedule.Outlook {
	f := facts(wear.Bearing{Watch: limit(0.45), Act: act, Fitted: wear.FromMM(.2), FittedAt: now.Add(-10 * year)},
		[]took{{7, .26}, {5, .33}, {3, .38}, {1, .47}})
	f.Clock.Trains[0].Meshes = []wear.Mesh{{Code: "bevel", Name: "motion bevel", Bearing: "centre-front", Kind: wear.Bevel,
		Module: 2, PressureAngle: 20, Teeth: 30, Mate: 30, Drop: wear.Opens}}
	o, ok := schedule.Assess(f, now).Outlook("centre-front")
	if !ok || o.Stop == nil {
		t.Fatalf("the mesh sets no limit: %+v", o.Limit)
	}
	return o
}

// misread has a last reading that does not fit; changed has a rate that rose.
func misread(t testing.TB) schedule.Outlook {
	return invent(t, wear.Bearing{Watch: limit(0.6), Act: limit(0.8)}, []took{{5, .30}, {4, .32}, {3, .34}, {2, .36}, {1, .78}})
}

func changed(t testing.TB) schedule.Outlook {
	return invent(t, wear.Bearing{Act: limit(3)}, []took{{9, .1}, {8, .12}, {7, .14}, {6, .16}, {5, .3}, {3, .7}, {1, 1.1}})
}

// supposed is the worn bearing as it is and with a washer put in today.
func supposed(t testing.TB, c schedule.Change) (before, after schedule.Outlook) {
	t.Helper()
	f := facts(wear.Bearing{Form: wear.ThrustFace, Pair: wear.SteelOnBrass, Watch: limit(0.6), Act: limit(0.8), Outer: 18000, Inner: 10000},
		[]took{{9, .20}, {7, .26}, {5, .33}, {3, .38}, {1, .47}})
	f.Clock.Policies = []schedule.Policy{{Task: schedule.Oiling, Days: 365, Source: "invented"}}
	before, after, err := schedule.WhatIf(f, now, "centre-front", c)
	if err != nil {
		t.Fatal(err)
	}
	return before, after
}

// many are 100 readings over 20 years.
func many(t testing.TB) schedule.Outlook {
	var r []took
	for i := range 100 {
		r = append(r, took{20 - float64(i)/5, .2 + .004*float64(i) + .02*float64(i%3-1)})
	}
	return invent(t, wear.Bearing{Act: limit(1)}, r)
}

// odd are the outlooks that a drawing might stumble over.
func odd(t testing.TB) map[string]schedule.Outlook {
	twice := invent(t, wear.Bearing{Act: limit(0.8)}, []took{{3, .3}, {3, .32}})
	stopped := invent(t, wear.Bearing{Watch: limit(0.6), Act: limit(0.8)}, []took{{9, .20}, {7, .26}, {5, .33}, {3, .38}, {1, .47}},
		schedule.Entry{ID: "s", Clock: "mill", Kind: schedule.Stopped, At: now.Add(-year / 2), Detail: schedule.Detail{Cause: schedule.ByHand}})
	return map[string]schedule.Outlook{
		"nothing known":        {},
		"no reading":           invent(t, wear.Bearing{Watch: limit(0.5), Act: limit(0.8)}, nil),
		"no reading, fitted":   invent(t, wear.Bearing{Act: limit(0.8), Fitted: wear.FromMM(.2), FittedAt: now.Add(-4 * year)}, nil),
		"fitted long ago":      invent(t, wear.Bearing{Act: limit(0.8), Fitted: wear.FromMM(.2), FittedAt: now.Add(-130 * year)}, []took{{1, .5}}),
		"one reading":          invent(t, wear.Bearing{Act: limit(0.8)}, []took{{2, .3}}),
		"one reading just now": invent(t, wear.Bearing{}, []took{{0, .3}}),
		"two at once":          twice,
		"no limit":             invent(t, wear.Bearing{}, []took{{4, .2}, {2, .3}}),
		"already over":         invent(t, wear.Bearing{Watch: limit(.3), Act: limit(.4)}, []took{{8, .3}, {4, .5}, {1, .7}}),
		"beyond the horizon":   invent(t, wear.Bearing{Act: limit(50)}, []took{{8, .30}, {4, .301}, {1, .302}}),
		"nothing at all":       invent(t, wear.Bearing{Act: limit(.4)}, []took{{8, 0}, {4, 0}, {1, 0}}),
		"100 readings":         many(t),
		"stands still":         stopped,
		"close limits":         invent(t, wear.Bearing{Watch: limit(0.79), Act: limit(0.8)}, []took{{4, .2}, {2, .3}, {1, .35}}),
		"falling":              invent(t, wear.Bearing{Act: limit(0.8)}, []took{{4, .4}, {3, .35}, {2, .33}, {1, .3}}),
		"young":                invent(t, wear.Bearing{Watch: limit(0.6), Act: limit(0.8), Fitted: wear.FromMM(.2), FittedAt: now.Add(-3 * year)}, []took{{2, .22}, {.5, .25}}),
		"untaught for long":    invent(t, wear.Bearing{Act: limit(0.8)}, []took{{9, .30}, {8.9, .31}}),
		"changed":              changed(t),
		"misread":              misread(t),
		"misread between":      invent(t, wear.Bearing{Watch: limit(0.6), Act: limit(0.8)}, []took{{9, .20}, {7, .26}, {5, .70}, {3, .38}, {1, .45}}),
		"meshed":               meshed(t, nil),
		"meshed, act first":    meshed(t, limit(0.5)),
		"repaired":             repaired(t),
		"repaired, not read":   invent(t, wear.Bearing{Act: limit(0.8)}, []took{{9, .40}}, schedule.Entry{ID: "r", Clock: "mill", Kind: schedule.Repaired, Bearing: "centre-front", At: now.Add(-3 * year), Detail: schedule.Detail{Work: schedule.NewBush, Fitted: wear.FromMM(.22)}}),
	}
}
