package schedule

import (
	"slices"
	"strings"
	"testing"

	"endshake/wear"
)

// A clock that stands against what is wished is asked to be set going, once for
// each stop, until a start is logged; one that is meant to stand is not, one that
// ran down wants winding, and one that is locked waits for its lock.
func TestStartingAgain(t *testing.T) {
	two := pump()
	two.Trains = append(two.Trains[:1:1], two.Trains[0])
	two.Trains[1].Code, two.Trains[1].Name, two.Trains[1].Arbors = "strike", "strike train", nil
	stop := func(changes ...change) Entry { return did(Stopped, "2026-03-20", changes...) }
	for _, tt := range []struct {
		name string
		log  []Entry
		want string // subject and first day of each
	}{
		{"a fault", []Entry{stop(by(Fault))}, "/2026-03-20"},
		{"birds", []Entry{stop(by(Birds))}, "/2026-03-20"},
		{"nobody knows", []Entry{stop(by(NotKnown))}, "/2026-03-20"},
		{"of one train", []Entry{stop(by(Fault), of("strike"))}, "strike/2026-03-20"},
		{"of one after the other", []Entry{stop(by(Fault), of("going")), did(Stopped, "2026-03-21", by(Fault), of("strike"))}, "going/2026-03-20 strike/2026-03-21"},
		{"started again", []Entry{stop(by(Fault)), did(Started, "2026-03-22")}, ""},
		{"ran down", []Entry{stop(by(RanDown))}, ""},
		{"ran down and wound, and no start", []Entry{stop(by(RanDown)), did(Wound, "2026-03-21")}, "/2026-03-20"},
		{"ran down, wound and started", []Entry{stop(by(RanDown)), did(Wound, "2026-03-21"), did(Started, "2026-03-21")}, ""},
		{"for work", []Entry{stop(by(ForWork))}, ""},
		{"for work that was to end", []Entry{stop(by(ForWork), until("2026-03-24"))}, "/2026-03-25"},
		{"silenced", []Entry{stop(by(Silenced), of("strike"))}, ""},
		{"locked since", []Entry{stop(by(Fault)), did(Noted, "2026-03-21", func(e *Entry) { e.Lock = DoNotRun })}, ""},
		{"it goes", nil, ""},
	} {
		a := assess(two, book(tt.log...), "2026-03-29")
		var got []string
		for _, x := range a.Tasks {
			if x.Kind != Restart {
				continue
			}
			checkTask(t, tt.name, x)
			got = append(got, x.Subject+"/"+x.From.String())
			if x.Rank != ToAct || x.Heading() != "to act on" || !strings.HasPrefix(x.Reason, "stopped since 2") || !strings.Contains(x.Caution, "may run on") {
				t.Errorf("%s: %+v", tt.name, x)
			}
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%s: asked for %q, want %q", tt.name, strings.Join(got, " "), tt.want)
		}
	}
	// A motor's train is not wound by hand, so that nothing else would ask for it.
	driven := pump()
	driven.Trains = slices.Clone(driven.Trains)
	driven.Trains[0].Drive = wear.AutoWound
	if a := assess(driven, book(stop(by(RanDown))), "2026-03-29"); !slices.ContainsFunc(a.Tasks, func(x Task) bool { return x.Kind == Restart }) {
		t.Errorf("a motor's train ran down: %s", titles(a.Tasks))
	}
	// It comes before what is only late.
	a := assess(two, book(stop(by(Fault))), "2027-09-29")
	if len(a.Tasks) == 0 || a.Tasks[0].Kind != Restart || a.Tasks[0].State != Late {
		t.Errorf("first of all: %+v", a.Tasks[0])
	}
}
