package chart

import (
	"cmp"
	"math"
	"slices"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// From these probabilities of a misread on a reading is ringed, and hollow.
const (
	ringedFrom = 0.5
	hollowFrom = 0.9
)

// named is a limit with its word.
type named struct {
	word  string
	limit *wear.Limit
}

// limits are those that hold, the smaller first.
func (d *bearingChart) limits() []named {
	var out []named
	for _, l := range []named{{"watch", d.o.Watch}, {"act", d.o.Act}, {"stop", d.o.Stop}} {
		if l.limit != nil {
			out = append(out, l)
		}
	}
	slices.SortStableFunc(out, func(a, b named) int { return cmp.Compare(a.limit.Size, b.limit.Size) })
	return out
}

// drawLimits draws each limit with its words at the right edge, the uppermost
// above its line and the others below, each clear of the one above it. One that
// lies far above all else is only named, at the top.
func (d *bearingChart) drawLimits(p *pen) {
	all := d.limits()
	slices.Reverse(all)
	bases := make([]float64, len(all))
	above := math.Inf(1)
	for i, l := range all {
		mm := l.limit.Size.MM()
		y := d.y.at(mm)
		bases[i] = min(y-12, above-12)
		switch {
		case mm > d.y.high:
			bases[i] = min(d.y.to-small, above-12)
		case math.IsInf(above, 1):
			bases[i] = y + 4
		}
		above = bases[i]
		if mm <= d.y.high {
			p.line(oxide, limitWidths[l.word], []point{{d.x.from, y}, {d.x.to, y}}, limitDashes[l.word]...)
		}
	}
	floor := d.y.from + 4
	for i := len(all) - 1; i >= 0; i-- {
		bases[i] = max(bases[i], floor)
		floor = bases[i] + 12
	}
	for i, l := range all {
		words := l.word + " " + d.sizeWords(p, l.limit.Size)
		if l.limit.Size.MM() > d.y.high {
			words += ", above"
		}
		p.label(oxide, point{d.x.to - 3, bases[i]}, end, words)
	}
}

// Lines of limits: the graver the heavier.
var (
	limitWidths = map[string]float64{"watch": plain, "act": plain, "stop": strong}
	limitDashes = map[string][]float64{"watch": {5, 3}}
)

// drawCrossing marks on the binding limit the span in which it is likely to be
// reached, 8 times in 10, with the likeliest half-way date as a diamond.
func (d *bearingChart) drawCrossing(p *pen) {
	if d.o.Dated && !d.o.Over && d.o.Limit != nil {
		d.crossing(p, oxide, d.o, d.y.at(d.o.Limit.Size.MM()))
	}
}

func (d *bearingChart) crossing(p *pen, c colour, o schedule.Outlook, y float64) {
	if o.Early.IsZero() || y > d.y.to {
		return
	}
	at := func(day schedule.Date) float64 {
		if day.IsZero() {
			return d.x.to
		}
		return d.x.at(d.x.clamp(seconds(day.Start(d.zone))))
	}
	p.line(c, 3.5, []point{{at(o.Early), y}, {at(o.Late), y}})
	if x := at(o.Likely); !o.Likely.IsZero() && !o.Beyond && x < d.x.to {
		p.fill(c, []point{{x - 5, y}, {x, y + 5}, {x + 5, y}, {x, y - 5}})
	}
}

// drawReadings draws each reading with a bar of one standard uncertainty each
// way, smaller where they would run into one another; one that may be misread
// has a ring, and is hollow where that is nearly certain. A size as fitted is a
// short bar across.
func (d *bearingChart) drawReadings(p *pen) {
	n := 0
	for _, part := range d.o.Parts {
		n += len(part.Readings)
	}
	size, width, cap := dotSize, plain, 2.5
	if float64(n)*4*dotSize > d.x.to-d.x.from {
		size, width, cap = 1.6, thin, 0
	}
	for _, part := range d.o.Parts {
		if at := d.at(seconds(part.From), startOf(part)); part.Start != nil && !part.From.IsZero() && at.x >= d.x.from {
			p.line(verdigris, strong, []point{{at.x - 4, at.y}, {at.x + 4, at.y}})
		}
		for _, r := range part.Readings {
			t := seconds(r.At)
			at, top, foot := d.at(t, r.Value), d.at(t, r.Value+r.SD), d.at(t, max(r.Value-r.SD, d.y.low))
			p.line(ink, width, []point{foot, top})
			p.line(ink, width, []point{{foot.x - cap, foot.y}, {foot.x + cap, foot.y}})
			p.line(ink, width, []point{{top.x - cap, top.y}, {top.x + cap, top.y}})
			p.dot(ink, at, size)
			if r.Doubt >= hollowFrom {
				p.dot(paper, at, size-plain)
			}
			if r.Doubt >= ringedFrom {
				p.ring(oxide, at, size+3)
			}
		}
	}
}

func startOf(part schedule.Part) float64 {
	if part.Start == nil {
		return math.NaN()
	}
	return part.Start.Mean
}

// drawRepairs marks where one part follows another, with its words at the top;
// words that would run into the ones before are left to the list of readings.
func (d *bearingChart) drawRepairs(p *pen) {
	free := d.x.from
	for i, part := range d.o.Parts {
		t := seconds(part.From)
		if part.From.IsZero() || t < d.x.low || t > d.x.high || (i == 0 && part.Work == "") {
			continue
		}
		x := d.x.at(t)
		p.line(verdigris, plain, []point{{x, d.y.from}, {x, d.y.to}}, 1.5, 3)
		p.line(verdigris, strong, []point{{x, d.y.from - 4}, {x, d.y.from + 6}})
		words := string(part.Work)
		if words == "" {
			words = "new part"
		}
		if !d.size.narrow() {
			words += ", " + part.From.In(d.zone).Format("Jan 2006")
		}
		w, left := textWidth(words, small), x
		if left+w > d.x.to {
			left = d.x.to - w
		}
		if left >= free {
			p.label(verdigris, point{left, d.y.to + 5}, start, words)
			free = left + w + 8
		}
	}
}

// changedAt is the reading after which the rate has likely changed.
func changedAt(o schedule.Outlook) (schedule.Point, bool) {
	r, i := present(o).Readings, o.Wear.ChangeAfter()
	if o.Changed.IsZero() || i < 0 || i >= len(r) {
		return schedule.Point{}, false
	}
	return r[i], true
}

// drawChange marks the reading after which the rate has changed, with its
// words beside the tick where they lie on nothing else.
func (d *bearingChart) drawChange(p *pen) {
	r, ok := changedAt(d.o)
	t := seconds(r.At)
	if !ok || t < d.x.low || t > d.x.high {
		return
	}
	x := d.x.at(t)
	p.line(brass, thin, []point{{x, d.y.from}, {x, d.y.to}}, 3, 3)
	p.line(brass, strong, []point{{x, d.y.from - 4}, {x, d.y.from + 6}})
	words := "rate changed after " + r.At.In(d.zone).Format("Jan 2006")
	if d.size.narrow() {
		words = "rate changed"
	}
	w := wordsOf(d, p)
	var places []place
	for _, y := range []float64{d.y.from + 6, d.y.to - small, d.y.to - 2.5*small, d.y.from + 22, (d.y.from + d.y.to) / 2} {
		places = append(places, place{point{x + 5, y}, start}, place{point{x - 5, y}, end})
	}
	w.label(brass, words, places)
}

func (d *bearingChart) drawToday(p *pen) {
	x := d.x.at(seconds(d.now))
	p.line(ink, thin, []point{{x, d.y.from - 4}, {x, d.y.to}})
	low, high := d.y.from+5, d.y.to-small
	if d.o.Known && d.y.at(d.median()) < low+30 { // the level of today has its own words there
		low, high = high, low
	}
	w := wordsOf(d, p)
	w.label(ink, "today", []place{{point{x - 4, low}, end}, {point{x + 4, low}, start}, {point{x - 4, high}, end}, {point{x + 4, high}, start},
		{point{x - 4, (low + high) / 2}, end}, {point{x + 4, (low + high) / 2}, start}})
}

// median is the level as likely too large as too small, as of today or of the
// last fact. The mean would lie far above it where little is known.
func (d *bearingChart) median() float64 { return levelAt(d.o, asOf(d.o, d.now), 0.5) }

// asOf is the instant that the level of a bearing is of: now where its rate is
// known, else its last fact.
func asOf(o schedule.Outlook, now time.Time) time.Time {
	part := present(o)
	switch n := len(part.Readings); {
	case foreseen(o):
		return now
	case n > 0:
		return part.Readings[n-1].At
	}
	return part.From
}

// foreseen reports whether what is known of a bearing carries a forecast.
func foreseen(o schedule.Outlook) bool { return o.Known && (o.Taught || o.Dated) }
