package reckon

import (
	"fmt"
	"math"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

var mesh = Sheet{
	Name: "mesh", Title: "Meshes of wheels", Caution: care(schedule.NearLimit),
	About: "What a shift does to the depth of teeth, their backlash and the freedom of the hands, and how far it may go.",
	Inputs: []Input{
		{Name: "kind", What: "the kind of mesh", Kind: Choice, Choices: []string{"spur", "bevel", "contrate"}, Usual: "bevel"},
		{Name: "teeth", What: "the teeth of the wheel that moves", Kind: Count, Needed: true, Least: 6, Most: 1000},
		{Name: "mate", What: "the teeth or leaves of the other", Kind: Count, Needed: true, Least: 6, Most: 1000},
		{Name: "module", What: "the module", Kind: Number, Unit: "mm", Above: true, Most: 50},
		{Name: "dp", What: "the diametral pitch, instead of the module", Kind: Number, Unit: "per inch", Above: true, Most: 400},
		{Name: "diameter", What: "the pitch diameter of the wheel that moves, instead of the module", Kind: Length, Above: true, Most: 5000},
		{Name: "form", What: "the form of its teeth", Kind: Choice, Choices: []string{"involute", "cycloidal"}, Usual: "involute"},
		{Name: "pressure", What: "the pressure angle of involute teeth", Kind: Angle, Usual: "20 deg", Least: 10, Most: 30},
		{Name: "cone", What: "the cone angle of the wheel that moves, from its axis; else from the teeth, for arbors at right angles", Kind: Angle, Above: true, Most: 90},
		{Name: "shift", What: "how far the wheel has moved", Kind: Length, Usual: "0 mm", Least: -100, Most: 100},
		{Name: "way", What: "whether it moved along its arbor or across it", Kind: Choice, Choices: []string{"along", "across"}, Usual: "along"},
		{Name: "does", What: "what the move does to the mesh", Kind: Choice, Choices: []string{"opens", "closes"}, Usual: "opens"},
		{Name: "backlash", What: "the backlash at the right depth, at the pitch circle", Kind: Length, Above: true, Most: 20},
		{Name: "to-hand", What: "the turns of the minute hand to one of the wheel", Kind: Number, Above: true, Most: 1000},
	},
	Example: []string{"kind", "bevel", "teeth", "20", "mate", "20", "module", "2", "shift", "1 mm", "backlash", "0.15 mm", "to-hand", "1"},
	reckon: func(b *bench) {
		module, by := b.module()
		if by == "" {
			return
		}
		m := wear.Mesh{Code: "here", Bearing: "here", Kind: wear.MeshKind(b.word("kind")), Module: module, Teeth: b.count("teeth"), Mate: b.count("mate"),
			Cone: b.or("cone", 0), Drop: wear.Drop(b.word("does")), Backlash: wear.FromMM(b.or("backlash", 0)), ToHand: b.or("to-hand", 0)}
		if b.word("form") == "cycloidal" {
			m.Cycloidal = true
		} else {
			m.PressureAngle = b.of("pressure")
		}
		if m.Kind == wear.Spur {
			m.Cone = 0
		}
		if err := m.Validate(); err != nil {
			b.wrongMesh(strings.TrimPrefix(err.Error(), "mesh here: "), by)
			return
		}
		shake := wear.EndShake
		if b.word("way") == "across" {
			shake = wear.SideShake
		}
		if e := m.Engage(shake, b.of("shift")); math.Abs(e.Lost) > 2*module {
			b.fault("shift", "%s would move the teeth by %s in depth, and two modules, %s, are all that they have: check the shift and the module",
				showLength(b.of("shift")), showLength(math.Abs(e.Lost)), showLength(2*module))
			return
		}
		b.engagement(m, shake)
		b.meshLimits(m, shake)
		b.remark("These are figures of unworn teeth: look at the teeth themselves.")
	},
}

// wrongMesh refuses a mesh at the input that its error speaks of; by is the one
// that the module is from.
func (b *bench) wrongMesh(says, by string) {
	at := ""
	for _, w := range [][2]string{{"module", by}, {"pressure angle", "pressure"}, {"cone", "cone"}, {"backlash", "backlash"}} {
		if strings.Contains(says, w[0]) {
			at = w[1]
		}
	}
	b.fault(at, "%s", says)
}

// module in mm, and the one of three inputs that gives it; "" where it is
// refused.
func (b *bench) module() (mm float64, by string) {
	three := map[string]float64{"module": b.of("module"), "dp": 25.4 / b.of("dp"), "diameter": b.of("diameter") / b.of("teeth")}
	for _, name := range []string{"module", "dp", "diameter"} {
		switch {
		case !b.has(name):
		case by != "":
			b.instead(name, by)
			return 0, ""
		default:
			by = name
		}
	}
	if by == "" {
		b.fault("module", "give one of three: the module, like 2, the diametral pitch (dp) or the pitch diameter (diameter)")
	}
	return three[by], by
}

// engagement is how the wheels meet after the shift.
func (b *bench) engagement(m wear.Mesh, s wear.Shake) {
	const shifts = "gear geometry, first-order shift"
	b.result("module", "Module", m.Module, "mm", "25.4 mm / diametral pitch, or pitch diameter / teeth", geometry)
	if m.Kind == wear.Bevel {
		b.result("cone", "Cone angle of the wheel that moves", m.ConeAngle(), "°", "arctan(teeth / mate)", geometry)
	}
	mm := b.of("shift")
	e := m.Engage(s, mm)
	share := map[wear.Shake]string{wear.EndShake: "sin(cone)", wear.SideShake: "cos(cone)"}[s]
	if m.Kind == wear.Spur {
		share = map[wear.Shake]string{wear.EndShake: "0, along the arbor", wear.SideShake: "1, across it"}[s]
	}
	b.shown("per-mm", "Depth lost for each mm moved", math.Abs(m.Engage(s, 1).Lost), "mm/mm", figures(math.Abs(m.Engage(s, 1).Lost), 4)+" mm", share, shifts)
	b.result("lost", "Depth lost", e.Lost, "mm", "shift × "+share, shifts)
	working := "2 modules"
	if m.Cycloidal {
		working = "sum of the addenda, BS 978-2:1952"
	}
	b.shown("depth", "Depth left of the working depth", e.Depth, "", figures(100*e.Depth, 4)+" %", "1 − depth lost / working depth", working)
	how, source := "2 × depth lost × tan(pressure angle)", shifts
	if m.Kind == wear.Spur {
		how, source = "involutes at the working centre distance", "gear geometry, exact"
	}
	b.result("backlash", "Backlash added", e.Backlash, "mm", how, source)
	b.result("contact", "Contact ratio", e.Contact, "", "path of contact / base pitch, virtual teeth of bevels", "gear geometry, full-depth teeth")
	if m.Cycloidal {
		b.result("addendum", "Addendum of the wheel, in modules", wear.CycloidalAddendum(max(m.Teeth, m.Mate), min(m.Teeth, m.Mate)), "", "0.95 × height where the epicycloids meet", "BS 978-2:1952")
	}
	b.result("freedom", "The minute hand is free by", e.Freedom, "s", "3,600 s × backlash / pitch circumference × turns of the hand", beckett("224"))
	if m.Kind == wear.Spur && s == wear.EndShake {
		b.remark("Along its arbor a spur wheel loses no depth, only overlap of the faces.")
	}
	b.bound(m, s, e)
	if e.Contact < 1 {
		b.remark("With a contact ratio below 1 the drive is no longer continuous.")
	}
}

// bottomClear is the clearance under the tips of full-depth teeth, in modules
// (ISO 53).
const bottomClear = .25

// bound says where the wheels cannot turn together any more.
func (b *bench) bound(m wear.Mesh, s wear.Shake, e wear.Engagement) {
	at, ok := m.BindsAt(s)
	switch {
	case e.Depth == 0:
		b.remark("It is out of mesh: the teeth do not reach one another.")
	case e.Lost < 0 && ok && math.Abs(b.of("shift")) >= at, e.Lost < -bottomClear*m.Module:
		b.remark("It binds: the teeth stand too deep in one another.")
	}
}

// meshLimits is how far the wheel may move.
func (b *bench) meshLimits(m wear.Mesh, s wear.Shake) {
	watch, act, stop, source := m.Limits(s)
	for _, l := range []struct {
		key, label string
		at         wear.Length
	}{{"watch", "Watch from a shift of", watch}, {"act", "Act at", act}, {"stop", "Stop at", stop}} {
		if l.at > 0 {
			b.result(l.key, l.label, l.at.MM(), "mm", "share of the module / depth lost per mm", source)
		}
	}
	if at, ok := m.BindsAt(s); ok {
		b.result("binds", "Pressed together, it binds after", at, "mm", fmt.Sprintf("backlash / (2 × tan(pressure angle) × %s)", figures(math.Abs(m.Engage(s, 1).Lost), 4)), "gear geometry, first-order shift")
	}
}
