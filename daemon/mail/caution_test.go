package mail

import (
	"strings"
	"testing"

	"endshake/schedule"
)

// A caution of the work stands once, at the end, with its number beside each task
// that has it; that of sites and clocks stands once, with the clocks.
func TestCautionsStandOnce(t *testing.T) {
	site := schedule.Site{Slug: "tower", Name: "Tower", Zone: "UTC", Caution: "Low beam at the landing."}
	l := sampleDueList()
	l.Clocks = nil
	for _, slug := range []string{"east", "west"} {
		a := sampleClock(slug, slug+" clock", site)
		a.Clock.Cautions = []schedule.Hazard{schedule.BirdDirt}
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
			"Do not wind while it strikes": 1, "Low beam at the landing.": 1, "Any work at east clock and west clock:": 2, "Bird droppings": 1,
			"oily rags": 1, "lifting gear rated": 1, "springs let down before anything": 1, "Local rules and licensed people dec": 1,
			"Caution 1, ": 1, "Caution 1.": 4, "Caution 2.": 4, "Caution 3.": 2, "Caution 4.": 2, "Caution 5": 0,
		} {
			if got := strings.Count(words, want); got != n {
				t.Errorf("%s says %q %d times, want %d", part, want, got, n)
			}
		}
	}
}
