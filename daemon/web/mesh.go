package web

import (
	"fmt"
	"math"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// meshLine is how one mesh stands that the wear of a bearing moves.
type meshLine struct {
	Name, Kind                        string
	Depth, Backlash, Contact, Freedom string
	Watch, Act, Stop                  string // as sizes of the bearing's own freedom; empty: none
	Source                            string
	Binds                             bool
}

func newMeshLines(o schedule.Outlook) []meshLine {
	var out []meshLine
	for _, s := range o.Meshes {
		m := s.Mesh
		l := meshLine{Name: meshName(m), Kind: kindOfMesh(m), Source: strings.TrimSuffix(s.Source, ".") + ".",
			Depth: "not known", Backlash: "not known", Contact: "not known", Freedom: "not known",
			Watch: sizeWords(s.Watch), Act: sizeWords(s.Act), Stop: sizeWords(s.Stop)}
		if s.Source == "" {
			l.Source = "None can be worked out: the move does not open it, or a size is missing."
		}
		if s.Known {
			l.Depth, l.Backlash, l.Contact, l.Freedom = depthWords(s.Now), backlashWords(s.Now), contactWords(s.Now), freedomWords(m, s.Now)
		}
		if b := o.Limit; b != nil && strings.HasPrefix(b.Source, meshName(m)+", ") {
			l.Binds = b.Size == s.Watch || b.Size == s.Act || b.Size == s.Stop
		}
		out = append(out, l)
	}
	return out
}

func meshName(m wear.Mesh) string {
	if m.Name != "" {
		return m.Name
	}
	return m.Code
}

func kindOfMesh(m wear.Mesh) string {
	out := fmt.Sprintf("%s, %d and %d teeth, module %s", m.Kind, m.Teeth, m.Mate, moduleWords(m.Module))
	if m.Cycloidal {
		out += ", cycloidal"
	}
	switch m.Drop {
	case wear.Opens:
		return out + "; wear opens it"
	case wear.Closes:
		return out + "; wear closes it"
	}
	return out + "; taken to be opened by wear, which is not recorded"
}

func sizeWords(l wear.Length) string {
	if l == 0 {
		return ""
	}
	return l.String()
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// moduleWords says a module with the diametral pitch that it comes to, as books in
// inches have it: 25.4 over the module.
func moduleWords(mm float64) string {
	return fmt.Sprintf("%.4g mm (diametral pitch %.4g)", mm, 25.4/mm)
}

// depthWords says how deep the teeth still stand: "93 % of the working depth".
func depthWords(e wear.Engagement) string {
	switch {
	case !finite(e.Depth):
		return "not known"
	case e.Depth <= 0:
		return "out of mesh"
	case e.Depth > 1.005:
		return fmt.Sprintf("%s: too deep by %v", percent(e.Depth), wear.Hundredths(-e.Lost))
	}
	return fmt.Sprintf("%s (%s lost)", percent(e.Depth), wear.WithinBrackets(both(max(0, e.Lost))))
}

func backlashWords(e wear.Engagement) string {
	if !finite(e.Backlash) {
		return "not known"
	}
	return fmt.Sprintf("%+.2f mm (%+.1f thou)", e.Backlash, e.Backlash/0.0254)
}

func contactWords(e wear.Engagement) string {
	switch {
	case !finite(e.Contact):
		return "not known"
	case e.Contact < 1:
		return fmt.Sprintf("%.2f: below 1, it does not drive all the time", e.Contact)
	}
	return fmt.Sprintf("%.2f", e.Contact)
}

func freedomWords(m wear.Mesh, e wear.Engagement) string {
	switch {
	case finite(e.Freedom):
		return fmt.Sprintf("%.0f s", e.Freedom)
	case m.ToHand == 0:
		return "does not drive the hands"
	}
	return "not known: give its backlash"
}

// meshExample is what to write into the fleet file for a mesh, as JSON.
func meshExample(bearing string) string {
	return fmt.Sprintf(`"meshes": [{
  "code": "motion-bevel", "name": "bevel of the motion work",
  "bearing": %q, "kind": "bevel", "module": 2,
  "pressureAngle": 20, "teeth": 40, "mate": 40,
  "drop": "opens", "backlash": "0.15 mm", "toHand": 1
}]`, bearing)
}
