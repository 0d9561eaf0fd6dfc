package schedule

// YearAhead is the work that the twelve months to come are likely to ask of a
// fleet, month by month, windings apart: those who wind live near.
type YearAhead struct {
	From   Date        `json:"from"`
	Months []MonthWork `json:"months"` // twelve, the one of From first
	Total  MonthWork   `json:"total"`
}

// MonthWork is the work of one month.
type MonthWork struct {
	Month     Date             `json:"month"`  // its first day; zero: the whole year
	Visits    int              `json:"visits"` // days on which somebody goes to a site
	Tasks     map[TaskKind]int `json:"tasks"`  // firm ones, by kind
	Hours     float64          `json:"hours"`  // of firm tasks
	Winds     int              `json:"winds"`
	WindHours float64          `json:"windHours"`
	Drops     float64          `json:"drops"` // of oil, by the oil maps
	// Works is how many bearings are likely to come to their limit and want
	// work: 10 %, as expected, 90 %; WorkHours the same in hours.
	Works     [3]float64 `json:"works"`
	WorkHours [3]float64 `json:"workHours"`
	Parts     []string   `json:"parts"` // firm ones: lines that reach their age
}

// YearAhead works out the work of the twelve months from the day of the
// snapshot.
func (s *Snapshot) YearAhead() YearAhead { return YearAhead{} }
