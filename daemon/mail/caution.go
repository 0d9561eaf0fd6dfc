package mail

import (
	"fmt"
	"strings"

	"endshake/schedule"
)

// cautions gathers what can hurt somebody doing the tasks of a letter, to be told
// once each: what the work itself brings, by number, and what a clock and its
// site do.
type cautions struct {
	work   []string            // words of each number, from 1
	kinds  map[string]string   // by the words: what they are about
	places []string            // in the order in which they came up
	at     map[string][]string // by the words: the clocks that they are of
	seen   map[string]bool     // clocks
	defers bool
}

func newCautions() *cautions {
	return &cautions{kinds: map[string]string{}, at: map[string][]string{}, seen: map[string]bool{}}
}

// deferral closes every caution: it stands once for all.
var deferral = schedule.Caution("", schedule.Site{}, nil)

// of is the number of a task's own caution; 0: it has none. What its clock and
// site add is told of the clock.
func (c *cautions) of(a schedule.Assessment, t schedule.Task) int {
	shared := schedule.Caution("", a.Site, a.Clock.Cautions)
	words, ok := strings.CutSuffix(t.Caution, shared)
	if !ok {
		words = strings.TrimSuffix(t.Caution, deferral)
	} else {
		c.place(a)
	}
	c.defers = c.defers || strings.HasSuffix(t.Caution, deferral)
	if words = clean(strings.TrimSpace(words)); words == "" {
		return 0
	}
	kind := schedule.Capital(name(string(t.Kind)))
	for i, w := range c.work {
		if w == words {
			if !strings.Contains(strings.ToLower(c.kinds[words]), strings.ToLower(kind)) {
				c.kinds[words] += ", " + strings.ToLower(kind)
			}
			return i + 1
		}
	}
	c.work, c.kinds[words] = append(c.work, words), kind
	return len(c.work)
}

// place notes what a clock and its site bring to all work there.
func (c *cautions) place(a schedule.Assessment) {
	if c.seen[a.Clock.Slug] {
		return
	}
	c.seen[a.Clock.Slug] = true
	says := []string{schedule.Caution("", schedule.Site{Caution: a.Site.Caution}, nil)}
	for _, h := range a.Clock.Cautions {
		says = append(says, schedule.Caution("", schedule.Site{}, []schedule.Hazard{h}))
	}
	for _, s := range says {
		words := clean(strings.TrimSpace(strings.TrimSuffix(s, deferral)))
		if words == "" {
			continue
		}
		if c.at[words] == nil {
			c.places = append(c.places, words)
		}
		c.at[words] = append(c.at[words], name(a.Clock.Name))
	}
}

// all are the cautions, each with what it is about.
func (c *cautions) all() []pair {
	var out []pair
	for i, words := range c.work {
		out = append(out, pair{fmt.Sprintf("Caution %d, %s", i+1, strings.ToLower(c.kinds[words][:1])+c.kinds[words][1:]), words})
	}
	for _, words := range c.places {
		out = append(out, pair{"Any work at " + schedule.And(c.at[words]), words})
	}
	if c.defers {
		out = append(out, pair{"All work", deferral})
	}
	return out
}
