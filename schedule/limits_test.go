package schedule

import (
	"math"
	"strings"
	"testing"

	"endshake/wear"
)

// dial is a clock whose bush is a thrust face that a bevel of the motion work
// hangs on: module 2 mm, 20 to 20 teeth, 20 degrees, mounted at 0.10 mm.
func dial(changes ...func(*wear.Mesh)) Clock {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Form, b.Shake, b.Bore, b.Pivot, b.Long = wear.ThrustFace, wear.EndShake, 0, 0, 0
	b.Outer, b.Inner, b.Watch, b.Act = mm(24), mm(13), limitAt(0.40), limitAt(0.80)
	m := wear.Mesh{
		Code: "motion-bevel", Name: "bevel of the motion work", Bearing: "centre-front", Kind: wear.Bevel,
		Module: 2, PressureAngle: 20, Teeth: 20, Mate: 20, Drop: wear.Opens, Mounted: mm(0.10),
	}
	for _, change := range changes {
		change(&m)
	}
	c.Trains[0].Meshes = []wear.Mesh{m}
	return c
}

func fine(m *wear.Mesh) { m.Module = 0.5 }

// axial makes readings of end-shake, one a year.
func axial(from int, sizes ...float64) []Entry {
	out := read(from, sizes...)
	for i := range out {
		out[i].Reading.Shake = wear.EndShake
	}
	return out
}

func sizeOf(l *wear.Limit) float64 {
	if l == nil {
		return 0
	}
	return l.Size.MM()
}

// A bevel at right angles of 20 to 20 teeth has a cone of 45 degrees: a drop of
// a takes a sin 45 of its depth. So 0.25, 0.45 and 0.70 of a module of 0.5 mm
// are lost at 0.177, 0.318 and 0.495 mm of drop (arithmetic; the shares are
// judgement), beyond the 0.10 mm at which it was mounted; a limit is given down to
// a hundredth.
func TestMeshLimitsBesideTheConservators(t *testing.T) {
	const w, a, s = 0.10 + 0.177, 0.10 + 0.318, 0.10 + 0.495
	for _, tt := range []struct {
		name             string
		c                Clock
		bearing          func(*wear.Bearing)
		watch, act, stop float64 // zero: none
		limit            float64
		source           []string // of the binding limit
	}{
		{"no mesh", alone(), nil, 0.25, 0.35, 0, 0.35, []string{"conservator, first survey"}},
		{"coarse: the conservator is first", dial(), nil, 0.40, 0.80, 2.08, 0.80, []string{"conservator, first survey; bevel of the motion work, act at 1.37 mm (53.9 thou), is later"}},
		{"fine: the mesh is first", dial(fine), nil, w, a, s, a, []string{"bevel of the motion work, bevel mesh, module 0.5 mm", "0.80 mm (31.5 thou) is later (conservator, first survey)"}},
		{"no limit but the mesh's", dial(fine), func(b *wear.Bearing) { b.Watch, b.Act = nil, nil }, w, a, s, a, []string{"bevel of the motion work, bevel mesh"}},
		{"a watch limit past where to act is gone", dial(fine), func(b *wear.Bearing) { b.Act = limitAt(0.25); b.Watch = nil }, 0, 0.25, s, 0.25, []string{"conservator, first survey; bevel"}},
		{"as fitted where not mounted", dial(fine, func(m *wear.Mesh) { m.Mounted = 0 }), func(b *wear.Bearing) { b.Fitted = mm(0.20) }, w + 0.1, a + 0.1, s + 0.1, a + 0.1, nil},
		{"another bearing's mesh", dial(fine, func(m *wear.Mesh) { m.Bearing = "strike-front" }), nil, 0.40, 0.80, 0, 0.80, []string{"conservator, first survey"}},
		{"cycloidal has no stop", dial(fine, func(m *wear.Mesh) { m.Cycloidal, m.PressureAngle = true, 0 }), func(b *wear.Bearing) { b.Watch, b.Act = nil, nil }, 0.10 + 0.0707, 0.10 + 0.1768, 0, 0.2768, nil},
	} {
		if tt.bearing != nil {
			tt.bearing(&tt.c.Trains[0].Arbors[0].Bearings[0])
		}
		o := outlookOf(t, assess(tt.c, nil, "2021-01-02"), "centre-front")
		for _, x := range []struct {
			what      string
			got, want float64
		}{{"watch", sizeOf(o.Watch), tt.watch}, {"act", sizeOf(o.Act), tt.act}, {"stop", sizeOf(o.Stop), tt.stop}, {"limit", sizeOf(o.Limit), tt.limit}} {
			if x.got > x.want+1e-9 || x.got < x.want-0.0105 { // given down to a hundredth
				t.Errorf("%s: %s at %.4f mm, want %.4f", tt.name, x.what, x.got, x.want)
			}
		}
		for _, part := range tt.source {
			if !strings.Contains(o.Limit.Source, part) {
				t.Errorf("%s: source %q does not say %q", tt.name, o.Limit.Source, part)
			}
		}
		if b, _, _, _ := tt.c.Bearing("centre-front"); o.Bearing.Act != b.Act || o.Bearing.Watch != b.Watch {
			t.Errorf("%s: the description was changed", tt.name)
		}
	}
}

// The first known size stands in where neither mounting nor fitting is known;
// with no size at all the mesh says nothing.
func TestRightDepthFromTheFirstSize(t *testing.T) {
	c := dial(fine, func(m *wear.Mesh) { m.Mounted = 0 })
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Fitted, b.FittedAt = 0, utc("0001-01-01")
	none := outlookOf(t, assess(c, nil, "2021-01-02"), "centre-front")
	if none.Stop != nil || sizeOf(none.Act) != 0.80 || len(none.Meshes) != 1 || none.Meshes[0].Known || none.Meshes[0].Act != 0 {
		t.Errorf("nothing known: stop %v, act %v, %+v", none.Stop, none.Act, none.Meshes)
	}
	o := outlookOf(t, assess(c, book(axial(2021, 0.15, 0.20)...), "2023-01-02"), "centre-front")
	if sizeOf(o.Act) != 0.46 || !o.Meshes[0].Known {
		t.Errorf("from the first reading of 0.15 mm: act at %v", sizeOf(o.Act))
	}
	mended := book(append(axial(2021, 0.15, 0.20), did(Repaired, "2023-01-01", left(0.30)))...)
	if o := outlookOf(t, assess(c, mended, "2023-01-02"), "centre-front"); sizeOf(o.Act) != 0.46 {
		t.Errorf("a repair moved the right depth: act at %v", sizeOf(o.Act))
	}
}

// Where a mesh stands follows the level: a drop of 1 mm of the bevel of module
// 2 costs 0.7071 mm of its depth, adds 0.5147 mm of backlash and leaves 0.8232
// of the working depth (arithmetic: sin 45, 2 sin 45 tan 20, 1 - 0.7071/4).
func TestMeshFollowsTheLevel(t *testing.T) {
	c := dial()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Act, b.FittedAt, b.Fitted = nil, limitAt(3), utc("0001-01-01"), 0
	o := outlookOf(t, assess(c, book(axial(2021, 1.10)...), "2021-01-02"), "centre-front")
	m := o.Meshes[0]
	if !m.Known || math.Abs(m.Now.Lost-0.7071) > 1e-3 || math.Abs(m.Now.Backlash-0.5147) > 1e-3 || math.Abs(m.Now.Depth-0.8232) > 1e-3 {
		t.Errorf("%+v", m.Now)
	}
	if o.Level.Mean < 1.099 || o.Level.Mean > 1.101 {
		t.Errorf("level %v", o.Level.Mean)
	}
}

// A bearing past what its mesh can bear is one to act on, whatever the
// conservator allows, and the reason names the mesh.
func TestPastTheMesh(t *testing.T) {
	a := assess(dial(fine), book(axial(2021, 0.30, 0.40, 0.50)...), "2023-01-02")
	o := outlookOf(t, a, "centre-front")
	if !o.Over || o.Condition != Act {
		t.Fatalf("over %v, %s", o.Over, o.Condition)
	}
	if x := taskOf(t, a, NearLimit, "centre-front"); !strings.Contains(x.Reason, "Limit: bevel of the motion work, bevel mesh") || x.Source != o.Limit.Source {
		t.Errorf("%q, %q", x.Reason, x.Source)
	}
	plain := dial()
	if o := outlookOf(t, assess(plain, book(axial(2021, 0.30, 0.40, 0.50)...), "2023-01-02"), "centre-front"); o.Over || o.Condition == Act {
		t.Errorf("a coarse mesh: over %v, %s", o.Over, o.Condition)
	}
}

// Of two limits the smaller holds and the other is named; none is none.
func TestSmaller(t *testing.T) {
	m := wear.Mesh{Code: "m"}
	for _, tt := range []struct {
		name   string
		have   *wear.Limit
		size   float64
		want   float64
		source string
	}{
		{"the mesh alone", nil, 0.9, 0.9, "m, why"},
		{"none of either", nil, 0, 0, ""},
		{"no limit of the mesh", limitAt(0.5), 0, 0.5, "conservator, first survey"},
		{"the mesh is later", limitAt(0.5), 0.9, 0.5, "conservator, first survey; m, act at 0.90 mm (35.4 thou), is later"},
		{"the mesh is sooner", limitAt(0.9), 0.5, 0.5, "m, why; 0.90 mm (35.4 thou) is later (conservator, first survey)"},
		{"both alike", limitAt(0.5), 0.5, 0.5, "conservator, first survey; m, act at 0.50 mm (19.7 thou), is later"},
	} {
		got := smaller(tt.have, mm(tt.size), m, "why", "act at")
		if sizeOf(got) != tt.want || got != nil && got.Source != tt.source {
			t.Errorf("%s: %+v, want %v, %q", tt.name, got, tt.want, tt.source)
		}
	}
}
