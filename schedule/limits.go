package schedule

import (
	"fmt"
	"strings"

	"endshake/wear"
)

// limits works out the limits that hold for a bearing: of each kind the smaller
// of the conservator's and those of the meshes that its wear moves.
func (o *Outlook) limits(c Clock) {
	b := o.Bearing
	o.Watch, o.Act = b.Watch, b.Act
	for _, m := range meshesOf(c, b) {
		s := MeshState{Mesh: m}
		base, known := o.rightDepth(m)
		if watch, act, stop, source := m.Limits(b.Shake); known && source != "" {
			s.Watch, s.Act, s.Stop, s.Source = base.plus(watch), base.plus(act), base.plus(stop), source
			o.Watch = smaller(o.Watch, s.Watch, m, source, "watch at")
			o.Act = smaller(o.Act, s.Act, m, source, "act at")
			o.Stop = smaller(o.Stop, s.Stop, m, source, "do not run beyond")
		}
		o.Meshes = append(o.Meshes, s)
	}
	o.Limit = o.Act
	if o.Limit == nil || o.Stop != nil && o.Stop.Size < o.Limit.Size {
		o.Limit = o.Stop
	}
	if o.Limit == nil {
		o.Limit = o.Watch
	} else if o.Watch != nil && o.Watch.Size >= o.Limit.Size {
		o.Watch = nil // there is nothing left to watch
	}
}

// meshesOf are the meshes of a clock that a bearing's wear moves.
func meshesOf(c Clock, b wear.Bearing) []wear.Mesh {
	var out []wear.Mesh
	for _, t := range c.Trains {
		for _, m := range t.Meshes {
			if m.Bearing == b.Code {
				out = append(out, m)
			}
		}
	}
	return out
}

// depthAt is the shake at which a mesh is at its right depth.
type depthAt wear.Length

func (d depthAt) plus(growth wear.Length) wear.Length {
	if growth == 0 {
		return 0
	}
	sum := wear.Length(d) + growth
	return sum - sum%(10*wear.Micrometre) // nobody reads a derived figure closer
}

// rightDepth is the shake at which a mesh is at its right depth: as mounted,
// else as the bearing was fitted, else its first known size.
func (o *Outlook) rightDepth(m wear.Mesh) (depthAt, bool) {
	switch {
	case m.Mounted > 0:
		return depthAt(m.Mounted), true
	case o.Bearing.Fitted > 0:
		return depthAt(o.Bearing.Fitted), true
	}
	for _, p := range o.Parts {
		if p.Start != nil {
			return depthAt(wear.FromMM(p.Start.Mean)), true
		}
		if len(p.Readings) > 0 {
			return depthAt(wear.FromMM(p.Readings[0].Value)), true
		}
	}
	return 0, false
}

// smaller is the limit that holds of one found so far and a mesh's; zero: none.
func smaller(have *wear.Limit, size wear.Length, m wear.Mesh, source, what string) *wear.Limit {
	if size <= 0 {
		return have
	}
	name := nameOfMesh(m)
	if have != nil && have.Size <= size {
		return &wear.Limit{Size: have.Size, Source: fmt.Sprintf("%s; %s, %s %v, is later", strings.TrimSuffix(have.Source, "."), name, what, size)}
	}
	l := &wear.Limit{Size: size, Source: fmt.Sprintf("%s, %s", name, source)}
	if have != nil {
		l.Source += fmt.Sprintf("; %v is later (%s)", have.Size, strings.TrimSuffix(have.Source, "."))
	}
	return l
}

func nameOfMesh(m wear.Mesh) string {
	if m.Name != "" {
		return m.Name
	}
	return m.Code
}

// engage finds how the meshes stand at the level known.
func (o *Outlook) engage() {
	for i := range o.Meshes {
		s := &o.Meshes[i]
		if base, ok := o.rightDepth(s.Mesh); ok && o.Known {
			s.Known = true
			s.Now = s.Mesh.Engage(o.Bearing.Shake, o.Level.Mean-wear.Length(base).MM())
		}
	}
}
