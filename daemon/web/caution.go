package web

import (
	"slices"
	"strings"

	"endshake/schedule"
)

// keepsCaution are the kinds of task whose caution stands in full with them, on
// paper too: what goes wrong there goes wrong at once.
var keepsCaution = []schedule.TaskKind{schedule.Locked, schedule.PowerCheck, schedule.Restart, schedule.NearLimit, schedule.Mending, schedule.LineLook, schedule.LineAge}

// warning is the caution of a task as a list shows it.
type warning struct {
	First, Rest string // what is seen at once, and what is folded; empty Rest: all is seen
	// Like is an earlier task of the same clock with which the very same caution
	// stands, and LikeID its place on the page; empty: it stands here.
	Like, LikeID string
	// Number of it at the foot of a printed list; 0: it stands in full here there too.
	Number int
}

// inFull reports whether a task's caution is never folded, nor told by number.
func (t *taskLine) inFull() bool {
	return t.Rank == schedule.Danger || slices.Contains(keepsCaution, t.Kind)
}

// foldAt cuts a long caution after its first words, at the end of a part of it.
// What is cut off too late, or saves nothing, is left whole.
func foldAt(s string) (first, rest string) {
	const soonest, latest, short = 40, 170, 130
	if len(s) <= short {
		return s, ""
	}
	for i := soonest; i < min(latest, len(s)-1); i++ {
		if (s[i] == ';' || s[i] == '.') && s[i+1] == ' ' {
			return s[:i+1], s[i+2:]
		}
	}
	return s, ""
}

// deferral closes every caution.
var deferral = schedule.Caution("", schedule.Site{}, nil)

// ownCaution takes out of a task's caution what holds at its clock whatever the
// work, where that stands above the list.
func ownCaution(caution, here string) string {
	own, ok := strings.CutSuffix(caution, here)
	if own = strings.TrimSpace(own); !ok || own == "" || here == deferral {
		return caution
	}
	return own + " " + deferral
}

// warn says how each caution of some lists on one page is shown: once for each
// clock, and folded after its first words but for dangerous work. On paper one
// that comes again and again stands once at the foot; it gives those, in the
// order of their numbers.
func warn(lists [][]taskLine) []string {
	times := map[string]int{}
	for _, l := range lists {
		for _, t := range l {
			times[t.Caution]++
		}
	}
	type place struct{ clock, caution string }
	number, stands := map[string]int{}, map[place]*taskLine{}
	var cautions []string
	for _, l := range lists {
		for j := range l {
			t := &l[j]
			t.Warn.First = sentence(t.Caution)
			if t.inFull() || t.Caution == "" {
				continue
			}
			if times[t.Caution] > 1 {
				if number[t.Caution] == 0 {
					cautions = append(cautions, t.Caution)
					number[t.Caution] = len(cautions)
				}
				t.Warn.Number = number[t.Caution]
			}
			at := place{t.Clock, t.Caution}
			switch before := stands[at]; {
			case t.locked || t.Clock == "":
			case before != nil:
				t.Warn.Like, t.Warn.LikeID = before.What(), before.ID
			default:
				t.Warn.First, t.Warn.Rest = foldAt(t.Warn.First)
				stands[at] = t
			}
		}
	}
	return cautions
}

// soloWarning is the caution of a task that stands by itself.
func soloWarning(caution, here string) (w warning) {
	w.First, w.Rest = foldAt(sentence(ownCaution(caution, here)))
	return w
}
