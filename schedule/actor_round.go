package schedule

// deciders are the roles that decide by hand of the visits to their clocks' sites
// (judgement, no source).
var deciders = []Role{Conservator, Keeper}

// AllowRound answers whether an actor may decide something by hand of a round, or take
// it back: a conservator of the fleet of any; whoever goes, of their own days; and a
// keeper or conservator of a clock at the site of the visits there, by whoever looks
// after a clock there or by everybody. What is not theirs to know of is NotFound.
func (f Fleet) AllowRound(by Actor, m RoundMark) error {
	switch {
	case by.Machine != nil || by.Pass != nil:
		return forbidden("rounds are decided by people who have logged in")
	case by.Conservator:
		return nil
	case by.Person == "":
		return forbidden("rounds are decided by people who have logged in")
	case m.Site == "" && m.Person == by.Person:
		return nil
	case m.Site == "":
		return forbidden("only they themselves, and whoever runs the fleet, decide of somebody's days at every site")
	}
	sees, decides, goes := false, false, m.Person == ""
	for _, c := range f.Clocks {
		if c.Site == m.Site {
			sees = sees || by.on(c, SeeClock)
			decides = decides || c.Has(by.Person, deciders...)
			goes = goes || c.Has(m.Person)
		}
	}
	switch {
	case !sees:
		return notFound("site", "there is no site %q", m.Site)
	case m.Person == by.Person || decides && goes:
		return nil
	case decides:
		return notFound("person", "%q looks after no clock there: choose somebody who does", m.Person)
	}
	return forbidden("only who keeps a clock there, or goes there themselves, decides of visits: ask its keeper")
}
