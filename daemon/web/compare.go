package web

import "endshake/schedule"

// groupsOf gives the groups of a clock's bearings, beside its outlooks.
func (l *clockLine) groupsOf(a *schedule.Assessment) []string {
	l.sorted.Do(func() {
		for i := range a.Outlooks {
			o := &a.Outlooks[i]
			l.groups = append(l.groups, schedule.Group(o.Bearing, o.Arbor, o.Train))
		}
	})
	return l.groups
}
