package web

import (
	"fmt"
	"html/template"
	"net/url"
	"strings"

	"rsc.io/qr"

	"endshake/schedule"
)

// kitView is what a day takes along, and a sheet for each clock.
type kitView struct {
	Groups   []kitGroup
	Cautions []warning // numbered from 1
	Sheets   []sheetView
	NoBase   bool // the address of these pages is not known: sheets carry no code
}

// kitGroup is one kind of what is taken.
type kitGroup struct {
	Head  string
	Lines []kitLine
}

// kitLine is one thing, with what it is for.
type kitLine struct{ What, For string }

// sheetView is one clock's page of the day.
type sheetView struct {
	ID, Clock, Name, Where, Access, Arrive string
	Tasks                                  []stopTask
	Numbers                                string   // of its cautions, in words; empty: none
	Cautions                               []string // in full, for paper
	Readings                               []schedule.KitReading
	Oiling, Lines, Fields                  []string
	ErrorFound                             string
	Code                                   template.HTML
	Address                                string
}

// kitView gathers the kit of a day that the reader may see. It is made from what
// they see alone.
func (s *server) kitView(p planned, d schedule.RoundDay) (kitView, error) {
	k := s.kit(schedule.Rounds{From: p.rounds.From, Until: p.rounds.Until, Days: []schedule.RoundDay{d}}, p.rd.seen, 0)
	v := kitView{NoBase: s.Base == ""}
	for _, c := range k.Cautions {
		if c == deferral { // which stands below them
			continue
		}
		var w warning
		w.First, w.Rest = foldAt(sentence(c))
		v.Cautions = append(v.Cautions, w)
	}
	var oils []kitLine
	for _, o := range k.Oils {
		oils = append(oils, kitLine{oilWords(o), schedule.And(o.For)})
	}
	v.add("Oils", oils)
	for _, g := range []struct {
		head   string
		things []schedule.KitThing
	}{{"Parts", k.Parts}, {"Gauges", k.Gauges}, {"Tools", k.Tools}, {"Keys", k.Keys}, {"Leave to ask for", k.Permits}, {"Hoist, lift or scaffold", k.Lifts}, {"Second person", k.Second}} {
		var lines []kitLine
		for _, t := range g.things {
			lines = append(lines, kitLine{t.What, schedule.And(t.For)})
		}
		v.add(g.head, lines)
	}
	for i, sheet := range k.Sheets {
		one, err := s.sheetView(sheet, k.Cautions, i)
		if err != nil {
			return v, err
		}
		v.Sheets = append(v.Sheets, one)
	}
	return v, nil
}

func (v *kitView) add(head string, lines []kitLine) {
	if len(lines) > 0 {
		v.Groups = append(v.Groups, kitGroup{head, lines})
	}
}

// oilWords says how much of an oil is taken: "6 points, 12 drops of light marine oil".
func oilWords(o schedule.KitOil) string {
	if o.Oil == "" {
		return o.Words() + ": ask before you choose one"
	}
	return o.Words()
}

func (s *server) sheetView(k schedule.KitSheet, cautions []string, i int) (sheetView, error) {
	v := sheetView{ID: fmt.Sprint("sheet-", i+1), Clock: k.Clock, Name: k.Name, Where: k.Place, Access: k.Access, Arrive: clockTime(k.Arrive),
		Readings: k.Readings, Oiling: k.Oiling, Lines: k.Lines, Fields: k.Fields, ErrorFound: k.LastErrorFound}
	for _, t := range k.Tasks {
		v.Tasks = append(v.Tasks, stopTask{What: schedule.Capital(t.What()), Days: goodDays(t.Task), Reason: t.Reason, Again: t.Again})
	}
	var numbers []string
	for _, n := range k.Cautions {
		if n > 0 && n <= len(cautions) && cautions[n-1] != deferral {
			numbers, v.Cautions = append(numbers, fmt.Sprint(n)), append(v.Cautions, cautions[n-1])
		}
	}
	v.Numbers = schedule.And(numbers)
	if s.Base == "" {
		return v, nil
	}
	to := strings.TrimSuffix(s.Base, "/") + "/clock/" + url.PathEscape(k.Clock) + "/log"
	_, v.Address, _ = strings.Cut(to, "://")
	code, err := qr.Encode(to, qr.M)
	if err != nil {
		return v, fmt.Errorf("draw the code of %s: %w", k.Clock, err)
	}
	v.Code = drawn(code, "Code that leads to the log of "+k.Name)
	return v, nil
}
