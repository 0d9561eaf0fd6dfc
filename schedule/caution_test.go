package schedule

import (
	"strings"
	"testing"
)

// A caution says nothing twice, whatever hazards its clock has, and leaves nothing
// out: what a hazard says for its task it says itself.
func TestCautionSaysNothingTwice(t *testing.T) {
	hazards := []Hazard{Radium, LeadPaint, Asbestos, BirdDirt, Height, Mains, Bells, HeavyFall}
	for kind, words := range taskWords {
		alone := Caution(kind, Site{}, nil)
		for set := range 1 << len(hazards) {
			var has []Hazard
			for i, h := range hazards {
				if set&(1<<i) != 0 {
					has = append(has, h)
				}
			}
			text := Caution(kind, Site{Caution: "Loose boards on the second floor."}, has)
			w := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return r < 'a' || r > 'z' })
			said := map[string]bool{}
			for i := range len(w) - 4 {
				five := strings.Join(w[i:i+5], " ")
				if said[five] {
					t.Errorf("%s with %v says %q twice: %s", kind, has, five, text)
				}
				said[five] = true
			}
			lower := strings.ToLower(text)
			for _, part := range strings.Split(strings.TrimSuffix(words, "."), "; ") {
				if part = strings.ToLower(part); !strings.Contains(lower, strings.TrimSuffix(part, "s")) && !strings.Contains(part, "stand under") {
					t.Errorf("%s with %v leaves out %q: %s", kind, has, part, text)
				}
			}
			if !strings.Contains(text, "Loose boards") || !strings.HasSuffix(text, deferral) || strings.Contains(text, ". light") || strings.HasPrefix(text, "; ") {
				t.Errorf("%s with %v: %s", kind, has, text)
			}
		}
		if !strings.HasPrefix(alone, words) {
			t.Errorf("%s: %s", kind, alone)
		}
	}
}
