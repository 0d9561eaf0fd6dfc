package metrics

import (
	"math"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"endshake/schedule"
)

// Bearings answers a scrape with what is known of every bearing of the fleet,
// in the text format of Prometheus. There are many bearings, and what is known
// of them changes with the snapshot alone, never with the time of the scrape:
// so the answer is written once for each snapshot and handed out until the next.
// It is not compressed. Make it with [NewBearings].
type Bearings struct {
	source Source

	mu   sync.Mutex
	of   *schedule.Snapshot // that text was written of
	text []byte             // never changed once it is here
}

// NewBearings makes the answer to scrapes of the bearings of a source's newest
// snapshot; before the first there are none.
func NewBearings(source Source) *Bearings { return &Bearings{source: source} }

// ServeHTTP answers a scrape.
func (b *Bearings) ServeHTTP(w http.ResponseWriter, _ *http.Request) {
	text := b.newest()
	w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
	w.Header().Set("Content-Length", strconv.Itoa(len(text)))
	_, _ = w.Write(text) // whoever asked may have gone
}

// newest is the text of the newest snapshot.
func (b *Bearings) newest() []byte {
	snap := b.source.Snapshot()
	if snap == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.of != snap {
		b.of, b.text = snap, appendBearings(make([]byte, 0, len(b.text)+len(b.text)/8), snap)
	}
	return b.text
}

// bearingFamilies are the series of a bearing. A value that is not a number is
// not known, and left out.
var bearingFamilies = []struct {
	name, help string
	value      func(a *schedule.Assessment, o *schedule.Outlook) float64
}{
	{"endshake_bearing_level_meters",
		"Likely end-shake or side-shake of the bearing, or that at its last reading while its readings teach no rate; absent where it was never measured.",
		func(_ *schedule.Assessment, o *schedule.Outlook) float64 {
			return known(o.Known, meters(o.Level.Mean))
		}},
	{"endshake_bearing_limit_meters",
		"The limit that binds; absent where none is set.",
		func(_ *schedule.Assessment, o *schedule.Outlook) float64 {
			if o.Limit == nil {
				return math.NaN()
			}
			return meters(o.Limit.Size.MM())
		}},
	{"endshake_bearing_limit_used_ratio",
		"Share of its limit that the bearing has used up, 1 at the limit; absent without a level or a limit.",
		func(_ *schedule.Assessment, o *schedule.Outlook) float64 {
			return known(o.Known && o.Limit != nil, o.Used)
		}},
	{"endshake_bearing_wear_meters_per_year",
		"Likely wear in the year to come, at the duty to expect; absent while its readings teach no rate.",
		func(_ *schedule.Assessment, o *schedule.Outlook) float64 {
			return known(o.Known && o.Taught && o.PerYear[2] > 0, meters(o.PerYear[1]))
		}},
	{"endshake_bearing_limit_reached_timestamp_seconds",
		"When the bearing is as likely as not to have reached its limit, in Unix time; absent where the readings cannot carry a date, or it lies beyond 40 years.",
		func(a *schedule.Assessment, o *schedule.Outlook) float64 {
			return day(a, o.Likely, o.Known && o.Dated && !o.Beyond)
		}},
	{"endshake_bearing_measure_by_timestamp_seconds",
		"When the day begins by which the bearing wants to be measured, again or for the first time, in Unix time.",
		func(a *schedule.Assessment, o *schedule.Outlook) float64 { return day(a, o.Measure, true) }},
}

// meters turns millimetres into metres, to a millionth of a millimetre: no gauge
// tells more, and more digits make the answer longer.
func meters(mm float64) float64 { return math.Round(mm*1e6) / 1e9 }

func known(ok bool, v float64) float64 {
	if !ok {
		return math.NaN()
	}
	return v
}

// day is the beginning of a day in the zone of a clock, in Unix time.
func day(a *schedule.Assessment, d schedule.Date, ok bool) float64 {
	if !ok || d.IsZero() {
		return math.NaN()
	}
	zone := a.Zone
	if zone == nil {
		zone = time.UTC
	}
	return unixSeconds(d.Start(zone))
}

// named is a bearing with its labels as they are written.
type named struct {
	a      *schedule.Assessment
	o      *schedule.Outlook
	labels string
}

// appendBearings writes a snapshot's bearings: each family whole, as the format wants.
func appendBearings(b []byte, snap *schedule.Snapshot) []byte {
	all := namesOf(snap)
	for _, f := range bearingFamilies {
		b = appendHead(b, f.name, f.help)
		for _, n := range all {
			v := f.value(n.a, n.o)
			if math.IsNaN(v) || math.IsInf(v, 0) {
				continue
			}
			b = append(append(b, f.name...), n.labels...)
			b = append(strconv.AppendFloat(b, v, 'g', -1, 64), '\n')
		}
	}
	b = appendHead(b, "endshake_bearings_assessed_timestamp_seconds", "When the fleet was last assessed, in Unix time.")
	b = append(b, "endshake_bearings_assessed_timestamp_seconds "...)
	return append(strconv.AppendFloat(b, unixSeconds(snap.Now), 'g', -1, 64), '\n')
}

func appendHead(b []byte, name, help string) []byte {
	for _, s := range []string{"# HELP ", name, " ", help, "\n# TYPE ", name, " gauge\n"} {
		b = append(b, s...)
	}
	return b
}

// namesOf gives the bearings of a snapshot, each set of labels once.
func namesOf(snap *schedule.Snapshot) []named {
	n := 0
	for i := range snap.Clocks {
		n += len(snap.Clocks[i].Outlooks)
	}
	all, seen := make([]named, 0, n), make(map[string]bool, n)
	for i := range snap.Clocks {
		a := &snap.Clocks[i]
		for j := range a.Outlooks {
			o := &a.Outlooks[j]
			labels := `{clock="` + written(a.Clock.Slug) + `",train="` + written(o.Train.Code) + `",bearing="` + written(o.Bearing.Code) + `"} `
			if !seen[labels] {
				seen[labels] = true
				all = append(all, named{a, o, labels})
			}
		}
	}
	return all
}

// escaped is how the format writes what would end a label value.
var escaped = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)

// written is a text as a label value.
func written(s string) string { return escaped.Replace(label(s)) }
