package schedule

// inspections are the inspection tasks of a clock and its yearly visit.
func inspections(a Assessment) []Task {
	var out []Task
	for _, p := range a.Clock.Policies {
		if p.Task == Inspection {
			out = append(out, byPolicy(a, p))
		}
	}
	return out
}
