package reckon

import (
	"fmt"
	"math"

	"endshake/wear"
)

var thread = Sheet{
	Name: "thread", Title: "Threads and tapping holes",
	About:   "What hole to drill for a tap, and how much thread a hole leaves.",
	Caution: careWords("Eye protection, the work clamped; ask before anything old or listed is drilled; BA and Whitworth threads are never forced into metric ones"),
	Inputs: []Input{
		{Name: "form", What: "the form of thread", Kind: Choice, Usual: "metric", Choices: words(wear.ThreadForms)},
		{Name: "major", What: "the outside diameter of the screw", Kind: Length, Needed: true, Above: true, Most: 200},
		{Name: "pitch", What: "the pitch", Kind: Length, Above: true, Most: 20},
		{Name: "tpi", What: "threads to the inch, instead of the pitch", Kind: Number, Above: true, Most: 200},
		{Name: "percent", What: "the share of a full thread that is wanted", Kind: Number, Unit: "%", Usual: "75", Above: true, Most: 100},
		{Name: "hole", What: "a hole that is there, or a drill", Kind: Length, Above: true, Most: 200},
	},
	Example: []string{"form", "unified", "major", "1/4 in", "tpi", "20", "hole", "0.201 in"},
	reckon: func(b *bench) {
		if b.has("pitch") == b.has("tpi") {
			b.fault("pitch", "give the pitch, like 0.81 mm, or the threads to the inch (tpi), one of the two")
			return
		}
		major, pitch := b.of("major"), b.or("pitch", 25.4/b.of("tpi"))
		if b.has("tpi") {
			b.result("pitch", "Pitch", pitch, "mm", "25.4 mm / threads to the inch", arithmetic)
		}
		form := wear.ThreadForm(b.word("form"))
		if form.FullThread()*pitch >= major {
			by := "pitch"
			if b.has("tpi") {
				by = "tpi"
			}
			b.fault(by, "a pitch of %s is too coarse for a screw of %s, of which nothing would be left: check the two", showLength(pitch), showLength(major))
			return
		}
		b.tapping("", form, major, pitch, form.FullThread())
		switch form.FullThread() {
		case wear.ChartThread:
			b.tapping("-minor", form, major, pitch, wear.MinorThread)
		case wear.MinorThread:
			b.tapping("-chart", form, major, pitch, wear.ChartThread)
		}
		if hole := b.of("hole"); hole >= major {
			b.fault("hole", "a hole of %s leaves no thread of a screw of %s: check the two", showLength(hole), showLength(major))
		}
		b.remark("In brass 60 to 75 %% of a full thread is enough (judgement, no source). Charts differ in what they call a full thread, so say which one is meant.")
	},
}

// tapping adds the hole and the share by one convention of a full thread.
func (b *bench) tapping(key string, form wear.ThreadForm, major, pitch, full float64) {
	by, source := fmt.Sprintf("%v × pitch", full), "convention of the "+string(form)+" form"
	switch full {
	case wear.ChartThread:
		by, source = "drill charts", "basic depth of the American National thread, the 0.01299 rule"
	case wear.MinorThread:
		by, source = "minor diameter", "ISO 68-1"
	}
	hole := wear.TappingHole(major, pitch, b.of("percent")/100, full)
	if hole <= 0 {
		hole = math.NaN()
	}
	b.shown("hole"+key, fmt.Sprintf("Hole for %s %% of thread, by %s", figures(b.of("percent"), 3), by), hole, "mm",
		fmt.Sprintf("%.3f mm (%.4f in)", hole, hole/25.4), fmt.Sprintf("diameter − share × %v × pitch", full), source)
	b.result("thread"+key, "Thread that the hole leaves, by "+by, 100*wear.ThreadShare(major, pitch, b.of("hole"), full), "%",
		fmt.Sprintf("(diameter − hole) / (%v × pitch)", full), source)
}
