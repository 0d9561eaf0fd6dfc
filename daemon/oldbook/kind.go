package oldbook

import "endshake/schedule"

// doing is what a word of a logbook says was done.
type doing struct {
	kind  schedule.EntryKind
	work  schedule.RepairWork
	cause schedule.StopCause
}

// kindWords are words that mean one thing alone. All others are asked for: what is
// "serviced" in one book was oiled, in another cleaned.
var kindWords = map[string]doing{}

func init() {
	for kind, words := range map[schedule.EntryKind][]string{
		schedule.Wound:     {"wound", "wind", "winding", "wound up", "rewound", "wound clock", "wound both", "wound both trains", "wound all", "wound all trains", "wound fully"},
		schedule.Oiled:     {"oiled", "oil", "oiling", "greased", "lubricated"},
		schedule.Inspected: {"inspected", "inspection", "inspect", "looked over", "looked at"},
		schedule.Measured:  {"measured", "measurement", "measuring", "reading", "gauged", "end-shake", "end shake", "side-shake", "side shake"},
		schedule.Cleaned:   {"cleaned", "cleaning", "clean"},
		schedule.Stopped:   {"stopped", "found stopped", "clock stopped", "standing"},
		schedule.Started:   {"started", "restarted", "set going", "start"},
		schedule.Set:       {"set", "set to time", "set right", "hands set", "time set"},
		schedule.Regulated: {"regulated", "regulation", "regulating"},
		schedule.Noted:     {"noted", "note", "remark", "seen"},
	} {
		for _, w := range words {
			kindWords[w] = doing{kind: kind}
		}
	}
	for _, w := range schedule.RepairWorks {
		kindWords[string(w)] = doing{kind: schedule.Repaired, work: w}
		kindWords["repaired "+string(w)] = doing{kind: schedule.Repaired, work: w}
	}
	for word, work := range map[string]schedule.RepairWork{"rebushed": schedule.NewBush, "new bushing": schedule.NewBush, "bush renewed": schedule.NewBush,
		"washer renewed": schedule.NewWasher, "new washers": schedule.NewWasher, "line renewed": schedule.NewLine, "new rope": schedule.NewLine, "polished pivot": schedule.PivotPolished} {
		kindWords[word] = doing{kind: schedule.Repaired, work: work}
	}
	for word, cause := range map[string]schedule.StopCause{"stopped by hand": schedule.ByHand, "ran down": schedule.RanDown, "run down": schedule.RanDown,
		"stopped for work": schedule.ForWork, "stopped out of season": schedule.Rest, "stopped by birds": schedule.Birds, "stopped by weather": schedule.Weather} {
		kindWords[word] = doing{kind: schedule.Stopped, cause: cause}
	}
}

// The answers to what a word means that are no kind of entry.
const (
	asNote = "as a note"
	asOut  = "left out"
)

// kindChoices are what a word can mean.
var kindChoices = func() []Choice {
	var out []Choice
	for _, k := range schedule.EntryKinds {
		if k == schedule.Repaired { // which needs its work
			for _, w := range schedule.RepairWorks {
				out = append(out, Choice{string(k) + " " + string(w), string(k) + ": " + string(w)})
			}
			continue
		}
		if k != schedule.Noted {
			out = append(out, Choice{string(k), string(k)})
		}
	}
	return append(out, Choice{asNote, "noted: the words are kept as a note"}, Choice{asOut, "nothing: the rows are left out"})
}()
