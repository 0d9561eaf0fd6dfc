package schedule

import (
	"fmt"
	"slices"
	"strings"

	"endshake/wear"
)

// powerChecks ask for one look at a clock that a cut of the mains may have
// stopped, with nothing logged since that shows how each of its trains stands. A
// train that starts with the mains is wrong by as long as the cut was.
func powerChecks(a *Assessment) []Task {
	var looks []Task
	var each, codes []string
	same, unsure := true, false
	for i := range a.Trains {
		st := &a.Trains[i]
		if t, ok := a.powerCheck(st); ok {
			looks, each, codes = append(looks, t), append(each, t.About+": "+t.Reason), append(codes, t.Subject)
			unsure = unsure || st.Going
			same = same && t.Reason == looks[0].Reason
		}
	}
	if len(looks) == 0 {
		return nil
	}
	one := slices.MinFunc(looks, func(x, y Task) int { return y.Due.Sub(x.Due) })
	if !same {
		one.Reason = strings.Join(each, "; ")
	}
	var names []string
	if len(looks) < len(a.Trains) { // how the others stand is known, or the mains are nothing to them
		for _, t := range looks {
			names = append(names, t.About)
		}
	}
	one.Subject, one.About, one.trains, one.Unsure = "", And(names), codes, unsure
	return []Task{one}
}

func (a *Assessment) powerCheck(st *TrainState) (Task, bool) {
	t := st.Train
	if t.Drive == wear.HandWound {
		return Task{}, false
	}
	cut := newest(a.Entries, func(e *Entry) bool {
		return e.Kind == Noted && !e.CutFrom.IsZero() && e.concerns(t.Code) && a.stops(*e, t)
	})
	if cut == nil {
		return Task{}, false
	}
	known := newest(a.Entries, func(e *Entry) bool {
		switch e.Kind {
		case Started, Stopped, Inspected, Set, Regulated:
			return e.concerns(t.Code) && e.At.After(cut.CutFrom.Add(t.Reserve)) && !e.At.Before(cut.CutTo)
		}
		return false
	})
	if known != nil {
		return Task{}, false
	}
	day := a.dayOf(cut.At)
	w := usual[PowerCheck]
	return Task{
		Kind: PowerCheck, Subject: t.Code, About: NameOfTrain(t), From: a.dayOf(cut.CutFrom), Due: day, Latest: day.Add(w.grace),
		Reason: cutWords(a, *cut, t), Source: "its drive, and the cut as logged",
		Confidence: "firm: from the logged cut",
		Evidence:   "a cut of the mains, noted " + a.instant(cut.At),
		Next:       "Telephone somebody who can see the dial: does it go, and is it right?",
	}, true
}

// stops reports whether a cut may have stopped a train: it lasted longer than
// the train goes on, or one of the two is not known.
func (a *Assessment) stops(cut Entry, t wear.Train) bool {
	return t.Drive == wear.Electric || t.Reserve == 0 || cut.CutTo.IsZero() || cut.CutTo.Sub(cut.CutFrom) > t.Reserve
}

func cutWords(a *Assessment, cut Entry, t wear.Train) string {
	words := fmt.Sprintf("the mains were cut on %s", a.instant(cut.CutFrom))
	long := ""
	if cut.CutTo.IsZero() {
		words += ", and until when is not logged"
	} else {
		long = spanWords(cut.CutTo.Sub(cut.CutFrom))
		if d := cut.CutTo.Sub(cut.CutFrom).Minutes(); d < 90 {
			long = Count(int(d), "minute", "minutes")
		}
		words += " for " + long
	}
	switch {
	case t.Drive == wear.Electric && long == "":
		return words + "; it starts again with the mains, but wrong by as long as they were out, unless it sets itself"
	case t.Drive == wear.Electric:
		return words + "; it starts again with the mains, but is slow by as much, unless it sets itself"
	case t.Reserve == 0:
		return words + "; how long it goes on without them is not known"
	}
	return words + "; it goes on for about " + spanWords(t.Reserve) + " without them"
}

// cutStatus says how a clock stands since a power cut after which nobody has
// looked; nothing where there is none.
func (a *Assessment) cutStatus() string {
	how := a.Stance()
	if how != RunOut && how != Unknown {
		return ""
	}
	_, cut, ok := a.cutLook()
	if !ok {
		return ""
	}
	if how == RunOut {
		return "By its log it stopped in the power cut that began on " + a.instant(cut.CutFrom) + ", and nobody has logged a look since. "
	}
	return "Whether it goes is not known: the mains were cut on " + a.instant(cut.CutFrom) + ", and nobody has logged a look since. "
}
