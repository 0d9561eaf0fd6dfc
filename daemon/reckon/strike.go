package reckon

import (
	"math"

	"endshake/schedule"
	"endshake/wear"
)

var strike = Sheet{
	Name: "strike", Title: "Striking", Caution: care(schedule.Winding),
	About: "How many blows a day, how long a wind lasts, and what putting the hands on costs.",
	Inputs: []Input{
		{Name: "hours", What: "whether the hours are struck", Kind: Choice, Choices: yesNo, Usual: "yes"},
		{Name: "half", What: "the blows at the half-hour", Kind: Count, Usual: "0", Most: 100},
		{Name: "quarters", What: "the blows at a quarter past, half past, quarter to and the hour, like 4,8,12,16", Kind: Numbers, Most: 100},
		{Name: "silent", What: "the hours without striking, from the first to the one that sounds again", Kind: Span},
		{Name: "turn-blows", What: "the blows in one turn of the barrel", Kind: Number, Above: true, Most: 1000},
		{Name: "turns", What: "the barrel turns of a full wind", Kind: Number, Above: true, Most: 10000},
		{Name: "advance", What: "the hours that the hands are put on, every hour struck", Kind: Count, Most: 23},
		{Name: "from", What: "the hour just struck when that begins", Kind: Count, Usual: "2", Least: 1, Most: 12},
	},
	Example: []string{"turn-blows", "10", "turns", "35", "advance", "11"},
	reckon: func(b *bench) {
		s := wear.Striking{Hours: b.word("hours") == "yes", Half: b.count("half")}
		if q := b.many("quarters"); len(q) > 0 {
			if len(q) != 4 {
				b.fault("quarters", "%s cannot be right: give four, like 4,8,12,16", schedule.Count(len(q), "figure", "figures"))
				return
			}
			for i, n := range q {
				if n != math.Trunc(n) {
					b.fault("quarters", "%s blows cannot be struck: give whole numbers, like 4,8,12,16", figures(n, 4))
					return
				}
				s.Quarters[i] = int(n)
			}
		}
		if h := b.many("silent"); len(h) == 2 {
			s.Silent = [2]int{int(h[0]), int(h[1])}
		}
		if err := s.Validate(); err != nil {
			b.fault("hours", "%v", err) // all else is bounded above: it never sounds
			return
		}
		day := float64(s.PerDay())
		b.result("a-day", "Blows a day", day, "blows", "blows of each hour, half-hour and quarter added up", arithmetic)
		b.result("a-year", "Blows a year", 365*day, "blows", "365 × blows a day", arithmetic)
		if n := b.of("turn-blows"); n > 0 {
			b.result("turns-a-day", "Turns of the barrel a day", day/n, "turns", "blows a day / blows in a turn", beckett("195"))
			b.result("wind-blows", "Blows in a full wind", b.of("turns")*n, "blows", "turns × blows in a turn", beckett("197"))
			b.result("days", "A full wind lasts", b.of("turns")*n/day, "days", "blows in a full wind / blows a day", beckett("197"))
		}
		b.advance(s)
	},
}

// advance is what putting the hands on costs a striking train.
func (b *bench) advance(s wear.Striking) {
	hours := b.count("advance")
	if hours == 0 {
		return
	}
	n := s.Advance(60*b.count("from"), hours)
	least, most := n, n
	for h := range 12 {
		at := s.Advance(60*h, hours)
		least, most = min(least, at), max(most, at)
	}
	const how = "blows of the hours passed, added up"
	b.result("advance", "Blows while the hands are put on", float64(n), "blows", how, arithmetic)
	b.result("advance-least", "The fewest, from any hour", float64(least), "blows", how, arithmetic)
	b.result("advance-most", "The most, from any hour", float64(most), "blows", how, arithmetic)
	b.result("advance-days", "Of the striking wind that takes", float64(n)/float64(s.PerDay()), "days", "blows / blows a day", arithmetic)
	b.remark("Never force a striking clock back (%s); silence the bell first where it is asked.", beckett("167"))
}
