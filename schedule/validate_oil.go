package schedule

// validateOil holds an entry to the clock's oil map: what must stay dry is not
// oiled, and what was found is in words that are known.
func validateOil(e Entry, c Clock) error {
	switch {
	case e.OilFound != "" && !known(OilFounds, e.OilFound):
		return invalid("oilFound", "oil found %q is not known: use one of %s", e.OilFound, list(OilFounds))
	case e.Residue != "" && !known(Residues, e.Residue):
		return invalid("residue", "residue %q is not known: use one of %s", e.Residue, list(Residues))
	}
	seen := map[string]bool{}
	for _, code := range e.Points {
		p, ok := c.oilPoint(code)
		u := c.unit(&p)
		switch {
		case !ok:
			return notFound("points", "%s has no oil point %q: it has %s", c.Name, code, pointCodes(c))
		case seen[code]:
			return invalid("points", "the oil point %q is named twice: name it once", code)
		case e.Train != "" && u.train != "" && u.train != e.Train:
			return invalid("points", "the oil point %q is on the train %q, not on %q: mend one of the two", code, u.train, e.Train)
		case e.Bearing != "" && u.bearing != e.Bearing:
			return invalid("points", "the oil point %q is not at the bearing %q: mend one of the two", code, e.Bearing)
		case p.Dry && e.Kind == Oiled:
			return mustStayDry("points", p)
		}
		seen[code] = true
	}
	if e.Kind != Oiled || e.Bearing == "" || len(e.Points) > 0 {
		return nil
	}
	var dry []OilPoint
	for _, p := range c.Care.Points {
		switch {
		case p.Bearing != e.Bearing:
		case !p.Dry:
			return nil
		default:
			dry = append(dry, p)
		}
	}
	if len(dry) > 0 {
		return mustStayDry("bearing", dry[0])
	}
	return nil
}

// mustStayDry refuses an oiling, and says why.
func mustStayDry(field string, p OilPoint) error {
	why := becauseOf(p.Why)
	return conflict(field, "%s must stay dry%s: leave it out, and if oil got there, log a note so that it is cleaned off", p.called(), why)
}

// oilPoint finds a point of the oil map by its code.
func (c Clock) oilPoint(code string) (OilPoint, bool) {
	for _, p := range c.Care.Points {
		if p.Code == code {
			return p, true
		}
	}
	return OilPoint{}, false
}

func pointCodes(c Clock) string {
	var out []string
	for _, p := range c.Care.Points {
		out = append(out, p.Code)
	}
	return few(out)
}
