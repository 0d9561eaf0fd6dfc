package schedule

// Kit is what one day of visits takes along.
type Kit struct {
	Person   string // Person.Slug
	Name     string // of the person
	Day      Date
	Oils     []KitOil
	Parts    []KitThing // to have ready, with what they are for
	Gauges   []KitThing
	Tools    []KitThing
	Keys     []KitThing // who has them, For the site
	Permits  []KitThing
	Lifts    []KitThing // hoist, lift or scaffold
	Second   []KitThing // who comes along, or that somebody must be asked
	Cautions []string   // each said once; sheets give their numbers, from 1
	Sheets   []KitSheet // a sheet for each clock, in the order of the day
}

// KitOil is how much of one oil the day takes.
type KitOil struct {
	Oil    string // what it says on the bottle; empty: nobody recorded it
	Drops  float64
	Points int
	Some   bool     // not every point says how many drops
	For    []string // names of the clocks
}

// KitThing is one thing to take, with what it is for.
type KitThing struct {
	What string
	For  []string // names of clocks or sites
}

// KitSheet is one clock's page of the day.
type KitSheet struct {
	Clock, Name    string // Clock.Slug, Clock.Name
	Site           string // Site.Slug
	Place, Access  string
	Arrive         Minutes
	Tasks          []RoundTask
	Cautions       []int    // numbers of Kit.Cautions
	Oiling         []string // the oil map of what is oiled, a line each
	Readings       []KitReading
	Lines          []string // what is known of its lines
	LastErrorFound string   // what the dial was found at, in words; empty: nothing is logged
	Fields         []string // what to write down, a label each
}

// KitReading is one bearing on a sheet.
type KitReading struct {
	Bearing string // code
	About   string // "centre arbor, front bush"
	Measure bool   // it is to be read this day
	Shake   string // "end-shake", "side-shake"
	Last    string // its last reading in both systems, with the day; empty: never read
	Watch   string // limits in both systems; empty: none
	Act     string
	Stop    string
}

// Kit is what the day at an index of Rounds.Days takes along. Without such a day
// it is empty.
func (r Rounds) Kit(s *Snapshot, day int) Kit { return Kit{} }

// Text prints the list for a terminal or a sheet of paper.
func (k Kit) Text() string { return "" }
