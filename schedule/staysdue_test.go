package schedule

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// staysSeed is the first seed of the logs below, and staysDays for how long each
// is left alone.
const staysSeed, staysDays = 20261125, 3 * 365

// staysLogs is how many logs are left alone; ENDSHAKE_LOGS says how many else.
func staysLogs() int {
	if n, err := strconv.Atoi(os.Getenv("ENDSHAKE_LOGS")); err == nil && n > 0 {
		return n
	}
	return 24
}

// What is due stays due until an entry answers it. Any log is left alone for
// three years, with what the fleet has taught as it was: a task that is due or
// late one morning is due or late the next, and its last good day never moves
// later, but for what the calendar says in [calendar].
func TestStaysDue(t *testing.T) {
	seed := uint64(staysSeed)
	if n, err := strconv.ParseUint(os.Getenv("ENDSHAKE_SEED"), 10, 64); err == nil {
		seed = n
	}
	t.Logf("first seed %d", seed)
	due, entries, kinds := 0, 0, map[TaskKind]int{}
	logs := make([]*leftLog, staysLogs())
	for i := range logs {
		logs[i] = leftAlone(seed + uint64(i))
	}
	each(logs, func(l *leftLog) {
		for range staysDays {
			l.morning()
		}
	})
	for _, l := range logs {
		entries += len(l.facts.Entries)
		for _, b := range l.broken {
			t.Errorf("seed %d: %s", l.seed, b)
		}
		due += len(l.was)
		for key := range l.ever {
			kinds[key.kind]++
		}
	}
	t.Logf("%d entries; %d tasks due at the end; due at some time: %v", entries, due, kinds)
	for _, kind := range TaskKinds {
		if kinds[kind] == 0 {
			t.Errorf("no task of %s ever fell due: the logs are too plain", kind)
		}
	}
}

// owedKey is a task, but that a visit to read several bearings is one of each.
type owedKey struct {
	kind    TaskKind
	subject string
}

// leftLog is a clock whose log has ended.
type leftLog struct {
	seed   uint64
	facts  Facts
	zone   *time.Location
	day    Date
	before Assessment
	was    map[owedKey]Task
	ever   map[owedKey]bool
	told   map[owedKey]bool // broken so already
	broken []string
}

// leftAlone makes a clock and its log.
func leftAlone(seed uint64) *leftLog {
	k := &logMaker{r: rand.New(rand.NewPCG(seed, 19))}
	k.make()
	m := []Model{{}, inForce(), taught()}[k.r.IntN(3)]
	zone := k.fleet.Sites[0].Location()
	return &leftLog{
		seed: seed, facts: Facts{Clock: k.fleet.Clocks[0], Site: k.fleet.Sites[0], Entries: k.log, Model: m}, zone: zone,
		day: DateOf(k.now, zone), was: map[owedKey]Task{}, ever: map[owedKey]bool{}, told: map[owedKey]bool{},
	}
}

// morning is one more day without an entry.
func (l *leftLog) morning() {
	l.day = l.day.Add(1)
	a := Assess(l.facts, l.day.At(7, 0, l.zone))
	now := owing(a)
	for key, was := range l.was {
		is, still := now[key]
		why := ""
		switch {
		case !still:
			why = fmt.Sprintf("%s %q, %s on %s (due %s, latest %s: %s), is gone on %s%s", key.kind, key.subject, was.State, l.day.Add(-1), was.Due, was.Latest, was.Reason, l.day, besides(a, key))
		case is.Latest.After(was.Latest):
			why = fmt.Sprintf("%s %q: latest %s on %s, %s (due %s) on %s: %s || %s", key.kind, key.subject, was.Latest, l.day.Add(-1), is.Latest, is.Due, l.day, was.Reason, is.Reason)
		}
		told := owedKey{key.kind + TaskKind(why[:min(len(why), len(key.kind)+len(key.subject)+5)]), key.subject}
		if why != "" && !l.told[told] && !calendar(a, l.before, was) {
			l.told[told] = true
			l.broken = append(l.broken, why)
		}
	}
	for key := range now {
		l.ever[key] = true
	}
	l.before, l.was, l.facts.Before = a, now, &a
}

// owedOf is what is due or late. A visit takes bearings along before their own
// day: of those it counts for each whose own day has come, with its own last
// good day, and for the first in any case.
func owing(a Assessment) map[owedKey]Task {
	out := map[owedKey]Task{}
	asked := false
	for _, t := range a.Tasks {
		if t.State != Due && t.State != Late {
			continue
		}
		if t.Kind == Measuring {
			asked = true
			continue
		}
		out[owedKey{t.Kind, t.Subject}] = t
	}
	today := a.dayOf(a.Now)
	for _, o := range a.Outlooks {
		if !asked || o.Measure.After(today) {
			continue
		}
		if t, ok := readBy(a, o); ok {
			out[owedKey{Measuring, o.Bearing.Code}] = t
		}
	}
	return out
}

// readBy is the task by which a bearing is to be read, due or late.
func readBy(a Assessment, o Outlook) (Task, bool) {
	for _, t := range a.Tasks {
		if t.Kind != Measuring || t.State != Due && t.State != Late {
			continue
		}
		if t.Subject == o.Bearing.Code {
			return t, true
		}
		if strings.Contains(t.Reason, NameOf(o.Bearing.Name, o.Arbor.Name)) {
			t.Latest = o.Measure.Add(t.Latest.Sub(t.Due))
			t.Due = o.Measure
			return t, true
		}
	}
	return Task{}, false
}

// besides is what else of a kind there is.
func besides(a Assessment, key owedKey) string {
	out := ""
	for _, t := range a.Tasks {
		if t.Kind == key.kind {
			out += fmt.Sprintf("; %q %s, due %s, latest %s: %s", t.Subject, t.State, t.Due, t.Latest, t.Reason)
		}
	}
	for _, o := range a.Outlooks {
		if o.Bearing.Code == key.subject {
			out += fmt.Sprintf("; known %v taught %v dated %v over %v %s %s measure %s", o.Known, o.Taught, o.Dated, o.Over, o.Early, o.Likely, o.Measure)
		}
	}
	return out
}

// calendar reports whether the calendar alone explains that a task is no longer
// due, or has other days.
func calendar(a, before Assessment, was Task) bool {
	today := a.dayOf(a.Now)
	switch was.Kind {
	case TimeChange:
		// The next change of the zone's time is within its days, and its task says
		// that the one before was not logged: moving the hands for one makes up
		// for the other.
		return a.Change != nil && before.Change != nil && a.Change.On.After(before.Change.On) && a.Change.Missed == before.Change.On &&
			!today.Before(a.Change.On.Add(-usual[TimeChange].lead))
	case Seasonal:
		// The season has opened again, and its task says that last year's was not
		// logged: what was to be done then is to be done now.
		s, ok := a.Clock.season(was.Subject)
		return ok && today == s.opens(today.Year) && slices.ContainsFunc(a.Tasks, func(t Task) bool {
			return t.Kind == Seasonal && t.Subject == was.Subject && t.From == today && strings.Contains(t.Reason, "last year's was not logged")
		})
	}
	return false
}
