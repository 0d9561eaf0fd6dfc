package round

// squeeze makes a plan that stands shorter.
func (pl *planner) squeeze() {
	for _, d := range pl.out {
		if d != nil {
			d.arrange()
		}
	}
}
