package web

import (
	"strings"
	"testing"

	"endshake/schedule"
)

// What an inspection found to act on is told in one sentence wherever the clock is
// met next: by whoever winds it, in the due-list, on its page and its card; in its
// line of the fleet they are counted; and nowhere when it is mended.
func TestFindingsAreTold(t *testing.T) {
	for _, mended := range []bool{false, true} {
		d := ranOut()
		log := append([]schedule.Entry{}, d.f.log["corn-hall"]...)
		log = append(log, schedule.Entry{ID: "bad", Clock: "corn-hall", Kind: schedule.Inspected, At: now.Add(-1), By: "ann", Train: "strike", Note: "the fly arbor is cracked",
			Detail: schedule.Detail{Found: schedule.Act}})
		if mended {
			log = append(log, schedule.Entry{ID: "mended", Clock: "corn-hall", Kind: schedule.Cleaned, At: now, By: "ann"})
		}
		d.f.log["corn-hall"] = log
		d.snap = d.snap.With("corn-hall", log, d.model(), d.now)
		s := siteFor(t, d, schedule.Actor{Conservator: true})
		a, _ := d.snap.Clock("corn-hall")
		if (len(a.Findings) == 0) != mended {
			t.Fatalf("mended %v: %+v", mended, a.Findings)
		}
		want := "to act on (“the fly arbor is cracked”), and nothing is logged since that mends it"
		for _, path := range []string{"/due", "/clock/corn-hall", "/clock/corn-hall/card", "/clock/corn-hall/do/wind", "/clock/corn-hall/do/oil"} {
			if text := pageText(t, s, path); strings.Contains(text, want) == mended {
				t.Errorf("mended %v: %s: %s", mended, path, text)
			}
		}
		if text := pageText(t, s, "/"); strings.Contains(text, "1 finding not mended, of 25 Nov 2026") == mended || strings.Contains(text, want) {
			t.Errorf("mended %v: the fleet: %s", mended, text)
		}
	}
}

// However much was found, a line of the fleet says how much, and since when.
func TestFindingsAreCountedInTheFleet(t *testing.T) {
	of := func(days ...int) (f schedule.Finding) {
		for _, d := range days {
			f.Said = append(f.Said, schedule.Written{Since: date(2018, 5, d), Last: date(2026, 1, 1), Note: "black oil"})
		}
		return f
	}
	for want, all := range map[string][]schedule.Finding{
		"": nil, "1 finding not mended, of 7 May 2018": {of(7)},
		"3 findings not mended, the oldest of 7 May 2018": {of(9), of(7, 30)},
	} {
		if got := foundShort(schedule.Assessment{Findings: all}); got != want {
			t.Errorf("%d: %q, want %q", len(all), got, want)
		}
	}
}
