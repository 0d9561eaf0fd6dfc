package schedule

import (
	"fmt"
	"slices"
)

// TaskRef names a task of a clock: it is the same whenever the due-list is worked out.
type TaskRef struct {
	Clock   string   `json:"clock"` // Clock.Slug
	Kind    TaskKind `json:"kind"`
	Subject string   `json:"subject,omitempty"` // Task.Subject
}

// Ref names the task.
func (t Task) Ref() TaskRef { return TaskRef{t.Clock, t.Kind, t.Subject} }

// Refs name what a visit of the plan does, for the mark that keeps it or moves it; what
// is only due once something is done before is not among it. None where the plan has no
// such visit.
func (r Rounds) Refs(person, site string, day Date) (refs []TaskRef) {
	for _, d := range r.Days {
		if d.Person != person || d.Day != day {
			continue
		}
		for _, s := range d.Stops {
			for _, t := range s.Tasks {
				if s.Site == site && !t.Again && !slices.Contains(refs, t.Ref()) {
					refs = append(refs, t.Ref())
				}
			}
		}
	}
	return refs
}

// keep pins what a visit that was kept by hand is to do to its day and person,
// whatever the task's own days: the first visit that keeps it counts. What is not
// open any more falls away.
func (r *rounding) keep(m RoundMark, person int) {
	for i := range r.jobs {
		j := &r.jobs[i]
		if j.again || j.kept || j.a.Clock.Site != m.Site || !slices.Contains(m.Tasks, j.t.Ref()) || j.doneSince(m) {
			continue
		}
		j.kept = true
		p := &r.p.Jobs[i]
		p.First, p.Last, p.By = m.Day.number(), m.Day.number(), []int{person}
	}
}

// doneSince reports whether a task was done since a visit was kept for it, such that
// what is open is the next time.
func (j *roundJob) doneSince(m RoundMark) bool {
	e := j.a.answer(j.t)
	return j.t.From.After(m.Day) && e != nil && e.At.After(m.At)
}

// keptWords say how a task that was kept by hand stands to its own days.
func (r *rounding) keptWords(tasks []RoundTask, day Date) (out []string) {
	var plain []string
	for i := range tasks {
		t := &tasks[i]
		switch {
		case !t.Kept:
		case t.Past == "" && t.Latest.Before(day):
			out = append(out, fmt.Sprintf("%s is kept for this day by hand, %s after its last good day.", Capital(r.at(&t.Task)), Days(day.Sub(t.Latest))))
		case t.From.After(day):
			out = append(out, fmt.Sprintf("%s is kept for this day by hand, %s before its first good day.", Capital(r.at(&t.Task)), Days(t.From.Sub(day))))
		default:
			plain = append(plain, r.at(&t.Task))
		}
	}
	const most = 3
	if n := len(plain) - most; n > 1 {
		plain = append(plain[:most], fmt.Sprintf("%d more", n))
	}
	if len(plain) > 0 {
		out = append(out, "Kept for this day by hand: "+And(plain)+".")
	}
	return out
}
