package schedule

// seasonTasks are the tasks that the time of year asks for.
func seasonTasks(a Assessment) []Task { return nil }
