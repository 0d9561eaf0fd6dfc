package schedule

import "testing"

// Who may decide of rounds: every role, at a site of theirs and at another, of
// themselves, of another who goes there, of nobody and of a stranger.
func TestAllowRound(t *testing.T) {
	f := Fleet{
		Sites: []Site{{Slug: "hall", Zone: "UTC"}, {Slug: "yard", Zone: "UTC"}},
		Clocks: []Clock{
			{Slug: "hall", Site: "hall", Duties: []Duty{{"cora", Conservator}, {"kit", Keeper}, {"win", Winder}, {"own", Owner}, {"clem", Clockmaker}, {"dep", Deputy}}},
			{Slug: "yard", Site: "yard", Duties: []Duty{{"yan", Keeper}}},
		},
	}
	for _, slug := range []string{"cora", "kit", "win", "own", "clem", "dep", "yan", "boss"} {
		f.People = append(f.People, Person{Slug: slug, Name: slug})
	}
	type row struct {
		by           Actor
		site, person string
		want         Code
	}
	person := func(slug string) Actor { return Actor{Person: slug} }
	rows := []row{
		{Actor{Person: "boss", Conservator: true}, "yard", "kit", ""}, {Actor{Conservator: true}, "", "kit", ""}, {Actor{}, "hall", "", Forbidden},
		{Actor{Person: "boss", Conservator: true, Pass: &Pass{}}, "hall", "", Forbidden}, {Actor{Conservator: true, Machine: &Machine{}}, "hall", "", Forbidden},
		{person("kit"), "hall", "win", ""}, {person("cora"), "hall", "win", ""}, {person("kit"), "hall", "", ""}, {person("kit"), "hall", "kit", ""},
		{person("kit"), "hall", "yan", NotFound}, {person("kit"), "hall", "moon", NotFound}, {person("kit"), "yard", "kit", NotFound}, {person("kit"), "yard", "yan", NotFound},
		{person("kit"), "moon", "kit", NotFound}, {person("kit"), "", "kit", ""}, {person("kit"), "", "win", Forbidden}, {person("kit"), "", "", Forbidden},
	}
	for _, slug := range []string{"win", "own", "clem", "dep"} {
		rows = append(rows, row{person(slug), "hall", slug, ""}, row{person(slug), "hall", "kit", Forbidden}, row{person(slug), "hall", "", Forbidden},
			row{person(slug), "yard", slug, NotFound}, row{person(slug), "", slug, ""})
	}
	for _, r := range rows {
		m := RoundMark{Kind: SetVisit, Site: r.site, Person: r.person}
		if err := f.AllowRound(r.by, m); CodeOf(err) != r.want || (err == nil) != (r.want == "") {
			t.Errorf("%+v decides of %q at %q: %v, want %q", r.by, r.person, r.site, err, r.want)
		}
	}
	a, b := f.AllowRound(person("kit"), RoundMark{Site: "yard", Person: "kit"}), f.AllowRound(person("kit"), RoundMark{Site: "moon", Person: "kit"})
	if a.Error() != `there is no site "yard"` || b.Error() != `there is no site "moon"` {
		t.Errorf("a site of others reads as %q, one that is not as %q", a, b)
	}
}
