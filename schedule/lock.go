package schedule

// locksOf are the locks in force by an effective log.
func locksOf(log []Entry, day func(Entry) Date) []Lock { return nil }

// lockTasks ask for what would clear each lock.
func lockTasks(a Assessment) []Task { return nil }

// validateLock refuses what a lock forbids, and a lock cleared by nobody.
func validateLock(e Entry, c Clock, fleet Fleet, log []Entry) error { return nil }
