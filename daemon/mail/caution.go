package mail

import (
	"fmt"
	"slices"
	"strings"

	"endshake/schedule"
)

// keepsCaution are the kinds of task whose caution stands in full with every one
// of them: what goes wrong there goes wrong at once.
var keepsCaution = []schedule.TaskKind{schedule.Locked, schedule.PowerCheck, schedule.NearLimit, schedule.LineLook, schedule.LineAge}

// cautions remembers what a letter has told of each clock.
type cautions struct {
	first map[string]string // by clock and caution: the task it stood with first
	site  map[string]bool   // by clock: the caution of its site was told
}

func newCautions() *cautions {
	return &cautions{first: map[string]string{}, site: map[string]bool{}}
}

// say is the caution of a task as it stands in the letter: in full at the first
// task of its clock that has it, and later where that was; what is said of the
// site stands once for each clock. Dangerous work keeps all of it.
func (c *cautions) say(a schedule.Assessment, t schedule.Task) string {
	key, full := t.Clock+"\x00"+t.Caution, clean(t.Caution)
	site := strings.TrimRight(clean(a.Site.Caution), ".")
	hasSite := site != "" && strings.Contains(full, site+".")
	told, toldSite := c.first[key], c.site[t.Clock]
	if told == "" {
		c.first[key] = name(a.Clock.Name) + ", " + name(t.What())
	}
	c.site[t.Clock] = toldSite || hasSite
	switch {
	case t.Rank == schedule.Danger || t.Rank == schedule.AtLimit || slices.Contains(keepsCaution, t.Kind):
		return full
	case told != "":
		return fmt.Sprintf("as for %s, above.", told)
	case toldSite && hasSite:
		return strings.Replace(full, site+".", "The site: as said above.", 1)
	}
	return full
}
