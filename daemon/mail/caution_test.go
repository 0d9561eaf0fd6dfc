package mail

import (
	"strings"
	"testing"

	"endshake/schedule"
)

// A caution stands in full with the first task of a clock that has it, and that
// of the site once for each clock; dangerous work keeps all of it every time.
func TestCautionsStandInFullOnceForEachClock(t *testing.T) {
	site := schedule.Site{Slug: "tower", Name: "Tower", Zone: "UTC", Caution: "Low beam at the landing."}
	l := sampleDueList()
	l.Clocks = nil
	for _, slug := range []string{"east", "west"} {
		a := sampleClock(slug, slug+" clock", site)
		for i, k := range []schedule.TaskKind{schedule.Winding, schedule.Oiling, schedule.Winding, schedule.LineAge, schedule.LineAge, schedule.NearLimit} {
			caution := schedule.Caution(k, site, []schedule.Hazard{schedule.BirdDirt})
			task := sampleTask(slug, k, "", schedule.Due, day(2026, 11, 20+i%3), caution)
			task.About, task.Rank = []string{"going train", "", "strike train", "going line", "strike line", "pallets"}[i], schedule.Plain
			a.Tasks = append(a.Tasks, task)
		}
		l.Clocks = append(l.Clocks, a)
	}
	_, got := compose(t, l)
	for part, words := range map[string]string{"text": squeeze(got.text), "html": got.words} {
		for want, n := range map[string]int{
			"Do not wind while it strikes":        2,     // once for each clock
			"Low beam at the landing.":            2 * 3, // with lines and limits alone, a line being the first
			"The site: as said above.":            2 * 2, // with one winding and the oiling, whose own words stand in full
			"oily rags":                           2,
			"lifting gear rated":                  4, // lines and limits keep it
			"springs let down before anything":    2,
			"as for east clock, winding of the":   1,
			"as for west clock, winding of the":   1,
			"Local rules and licensed people dec": 2 * (2 + 3),
		} {
			if got := strings.Count(words, want); got != n {
				t.Errorf("%s says %q %d times, want %d", part, want, got, n)
			}
		}
	}
}
