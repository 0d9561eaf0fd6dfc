package schedule

// LineState is what is recorded of a line. Nothing of it is foretold.
type LineState struct {
	Line     Line
	FittedAt Date // of the line that hangs now; zero: not known
	Windings int  // logged since
	Checked  Date // last looked at; zero: never
	Check    *LineCheck
	// Note says what the last look means, beside the published figures for
	// other trades.
	Note string
	// Past: the last look found as many broken wires as a crane's rope is
	// discarded at, or a broken strand.
	Past bool
	// Replace is the day on which it reaches the age at which the conservator
	// has it replaced; zero: none is set.
	Replace Date
}

// lineStates are what is recorded of the clock's lines.
func lineStates(a Assessment) []LineState { return nil }

// lineTasks are the tasks of the clock's lines.
func lineTasks(a Assessment) []Task { return nil }
