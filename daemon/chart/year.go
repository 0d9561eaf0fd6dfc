package chart

import (
	"cmp"
	"fmt"
	"image/color"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// Measures of the year strip.
const (
	laneHeight = 21.0
	monthsBand = 20.0
	mostLanes  = 18
	// wideWords and narrowWords are how long the name of a task may be.
	wideWords   = 44
	narrowWords = 26
	// roomy is how much wider than ours a page's letters may be.
	roomy = 1.15
)

// Year draws the year strip of a clock: twelve months on a line, from the month
// before this one, with today marked and each task as a bar from its first to
// its last good day. Tasks of one kind with the same days share a bar. Only the
// width of the size counts: the height follows from the tasks.
func Year(a schedule.Assessment, size Size) Picture {
	size = size.sane(Narrow)
	zone := a.Zone
	if zone == nil {
		zone = time.UTC
	}
	today := schedule.DateOf(a.Now, zone)
	s := strip{today: today, zone: zone, width: size.Width, narrow: size.narrow()}
	s.first = schedule.DateOf(time.Date(today.Year, today.Month-1, 1, 0, 0, 0, 0, time.UTC), time.UTC)
	s.last = schedule.DateOf(time.Date(today.Year, today.Month+11, 1, 0, 0, 0, 0, time.UTC), time.UTC)
	s.x = scale{0, float64(s.last.Sub(s.first)), 6, size.Width - 6}
	s.place(bars(a.Tasks))
	size.Height = monthsBand + laneHeight*float64(max(1, len(s.lanes))) + 20
	return Picture{
		Title: short("The year of "+a.Clock.Name, 80),
		Desc:  s.words(),
		Size:  size,
		draw:  func(p *pen) { s.draw(p, size.Height) },
	}
}

// bar is one or more tasks that share their kind and days.
type bar struct {
	schedule.Task
	count int
}

// bars joins tasks of one kind with the same days.
func bars(tasks []schedule.Task) []bar {
	type key struct {
		kind              schedule.TaskKind
		state             schedule.TaskState
		rank              schedule.Rank
		from, due, latest schedule.Date
		past              string
	}
	at := map[key]int{}
	var out []bar
	for _, t := range tasks {
		if t.Due.IsZero() && t.From.IsZero() && t.Latest.IsZero() {
			continue
		}
		k := key{t.Kind, t.State, t.Rank, t.From, t.Due, t.Latest, t.PastLimit}
		if i, ok := at[k]; ok {
			out[i].count++
			continue
		}
		at[k] = len(out)
		out = append(out, bar{t, 1})
	}
	slices.SortStableFunc(out, func(a, b bar) int { return cmp.Compare(a.begin().Sub(b.begin()), 0) })
	return out
}

// A bar of what is past its limit has no good days, and stands at the day on
// which it passed it.
func (b bar) begin() schedule.Date {
	if b.PastLimit != "" {
		return b.Due
	}
	return firstOf(b.From, b.Due, b.Latest)
}

func (b bar) finish() schedule.Date {
	if b.PastLimit != "" {
		return b.Due
	}
	return firstOf(b.Latest, b.Due, b.From)
}

func firstOf(dates ...schedule.Date) schedule.Date {
	for _, d := range dates {
		if !d.IsZero() {
			return d
		}
	}
	return schedule.Date{}
}

// words names the task on its bar; what it stands under in the due-list stands
// in words too. Of a bearing at its limit or past it that says it all.
func (b bar) words(most int) string {
	what := b.About
	if b.count > 1 {
		what = fmt.Sprintf("%d places", b.count)
	}
	s := string(b.Kind)
	switch {
	case what != "" && b.Kind == schedule.NearLimit && (b.PastLimit != "" || b.Rank == schedule.AtLimit):
		s = what
	case what != "":
		s += ", " + what
	}
	s = short(s, most)
	if b.PastLimit != "" {
		past := b.PastLimit
		if most <= narrowWords {
			past, _, _ = strings.Cut(past, " since")
		}
		return s + ": " + past
	}
	if h := b.Heading(); h != string(schedule.Ahead) && h != string(schedule.Open) {
		s += ": " + h
	}
	return s
}

func (b bar) color() color.NRGBA {
	if b.Rank != 0 && b.Rank <= schedule.AtLimit {
		return oxide
	}
	switch b.State {
	case schedule.Late:
		return oxide
	case schedule.Due, schedule.Open:
		return brass
	}
	return quiet
}

// strip is a year strip being laid out.
type strip struct {
	first, last, today schedule.Date
	zone               *time.Location
	x                  scale
	width              float64
	narrow             bool
	lanes              [][]laid
	off                int // tasks that do not fit or start after the twelve months
}

// laid is a bar in its lane.
type laid struct {
	bar
	x0, x1 float64
	text   string
	textX  float64
	anchor anchor
	above  bool // the words stand above the bar, which leaves no room beside it
}

// place puts each bar with its words into the first lane with room for it. Words
// that stand above their bar take room in the lane before it.
func (s *strip) place(bs []bar) {
	var right []float64 // where each lane is free from
	free := func(lane int, x float64) bool { return lane >= len(right) || right[lane] <= x }
	for _, b := range bs {
		if !b.begin().Before(s.last) {
			s.off += b.count
			continue
		}
		l := s.lay(b)
		w := roomy * textWidth(l.text, small)
		left, lane := min(l.x0, l.textX), 0
		if l.anchor == end {
			left = min(l.x0, l.textX-w)
		}
		if l.above {
			for lane = 1; !free(lane-1, l.textX) || !free(lane, l.x0); lane++ {
			}
		} else {
			for ; !free(lane, left); lane++ {
			}
		}
		if lane >= mostLanes {
			s.off += b.count
			continue
		}
		for len(right) <= lane {
			s.lanes, right = append(s.lanes, nil), append(right, 0)
		}
		s.lanes[lane] = append(s.lanes[lane], l)
		right[lane] = l.x1 + 10
		switch {
		case l.above:
			right[lane-1] = l.textX + w + 10
		case l.anchor == start:
			right[lane] = l.textX + w + 10
		}
	}
}

// lay finds the place of a bar, with its words at the side that has room.
func (s *strip) lay(b bar) laid {
	at := func(d schedule.Date, more int) float64 {
		return s.x.at(s.x.clamp(float64(d.Sub(s.first) + more)))
	}
	l := laid{bar: b, x0: at(b.begin(), 0), x1: at(b.finish(), 1)}
	if l.x1-l.x0 < 4 {
		l.x1 = min(l.x0+4, s.x.to)
		l.x0 = l.x1 - 4
	}
	most := wideWords
	if s.narrow {
		most = narrowWords
	}
	l.text = b.words(most)
	w := roomy * textWidth(l.text, small)
	switch {
	case l.x1+6+w <= s.width:
		l.textX, l.anchor = l.x1+6, start
	case l.x0-6-w >= 0:
		l.textX, l.anchor = l.x0-6, end
	default:
		l.textX, l.anchor, l.above = max(2, min(l.x0, s.width-w-2)), start, true
	}
	return l
}

func (s *strip) draw(p *pen, height float64) {
	top, base := height-monthsBand, 16.0
	month := s.first
	for i := 0; i <= 12; i++ {
		x := s.x.at(float64(month.Sub(s.first)))
		p.line(hairline, thin, []point{{x, base}, {x, top + 4}})
		next := schedule.DateOf(time.Date(month.Year, month.Month+1, 1, 0, 0, 0, 0, time.UTC), time.UTC)
		if i < 12 {
			p.text(quiet, point{(x + s.x.at(float64(next.Sub(s.first)))) / 2, top + 6}, middle, s.monthWord(month, i))
		}
		month = next
	}
	p.line(ink, thin, []point{{s.x.from, top}, {s.x.to, top}})
	x := s.x.at(float64(s.today.Sub(s.first)) + 0.5)
	p.line(ink, thin, []point{{x, base - 2}, {x, top}})
	p.text(ink, point{x, 3}, middle, "today")
	for i, lane := range s.lanes {
		y := top - laneHeight*float64(i) - 15
		for _, l := range lane {
			s.drawBar(p, l, y)
		}
	}
	if s.off > 0 {
		p.text(quiet, point{s.x.to, 3}, end, fmt.Sprintf("and %d later", s.off))
	}
	if len(s.lanes) == 0 {
		p.label(quiet, point{s.width / 2, top - 15}, middle, "Nothing falls due in these months.")
	}
}

// drawBar draws a filled bar for what may be done now, a hollow one for what is
// ahead, and an arrow head where a bar began before the strip does.
func (s *strip) drawBar(p *pen, l laid, y float64) {
	c := l.color()
	rect := box(l.x0, y, l.x1, y+8)
	switch l.State {
	case schedule.Ahead:
		p.line(c, plain, append(rect, rect[0]))
	case schedule.Resting:
		p.line(c, plain, append(rect, rect[0]), 2, 2)
	default:
		p.fill(c, rect)
	}
	if l.begin().Before(s.first) {
		p.fill(c, []point{{l.x0 - 5, y + 4}, {l.x0, y + 9}, {l.x0, y - 1}})
	}
	if due := l.Due; !due.IsZero() && !due.Before(s.first) && due.Before(s.last) {
		x := s.x.at(float64(due.Sub(s.first)) + 0.5)
		p.line(c, plain, []point{{x, y - 3}, {x, y + 11}})
	}
	p.label(ink, point{l.textX, l.textY(y)}, l.anchor, l.text)
}

// textY is the height of the words of a bar that stands on y.
func (l laid) textY(y float64) float64 {
	if l.above {
		return y + 14
	}
	return y
}

// monthWord is the month's name, with the year where it begins.
func (s *strip) monthWord(d schedule.Date, i int) string {
	name := d.Month.String()[:3]
	if s.narrow {
		name = name[:1]
	}
	if !s.narrow && (d.Month == time.January || i == 0) {
		name += fmt.Sprintf(" %d", d.Year)
	}
	return name
}

// words says the strip for those who cannot see it.
func (s *strip) words() string {
	var parts []string
	for _, lane := range s.lanes {
		for _, l := range lane {
			if l.PastLimit != "" {
				parts = append(parts, l.bar.words(80))
				continue
			}
			parts = append(parts, fmt.Sprintf("%s, from %s to %s (%s)", l.bar.words(80), l.begin().Words(), l.finish().Words(), l.State))
		}
	}
	head := fmt.Sprintf("Twelve months from %s; today is %s. ", s.first.MonthWords(), s.today.Words())
	if len(parts) == 0 {
		return head + "Nothing falls due in these months."
	}
	return head + strings.Join(parts, "; ") + "."
}
