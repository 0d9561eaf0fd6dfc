package schedule

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"endshake/wear"
)

// fileCare is a clock's care as people write it: lengths with their unit, days
// of every year as month-day.
type fileCare struct {
	Points     []OilPoint    `json:"points,omitempty"` // in the order in which they are gone round
	Lines      []fileLine    `json:"lines,omitempty"`
	Room       Room          `json:"room,omitempty"`
	Damp       bool          `json:"damp,omitempty"`
	Tolerance  *Tolerance    `json:"tolerance,omitempty"`
	Pendulum   *filePendulum `json:"pendulum,omitempty"`
	Change     ChangeHow     `json:"change,omitempty"`
	ChangeNote string        `json:"changeNote,omitempty"`
	Bell       bool          `json:"bell,omitempty"`
	Seasons    []fileSeason  `json:"seasons,omitempty"`
}

// fileClimate has its months as a list, so that eleven or thirteen are seen.
type fileClimate struct {
	Months []float64 `json:"months"`
	Daily  float64   `json:"daily,omitempty"`
	Source string    `json:"source"`
}

type fileLine struct {
	Code         string  `json:"code"`
	Name         string  `json:"name,omitempty"`
	Train        string  `json:"train"`
	Construction string  `json:"construction,omitempty"`
	Material     string  `json:"material,omitempty"`
	Diameter     length  `json:"diameter,omitzero"`
	OuterWires   int     `json:"outerWires,omitempty"`
	FittedAt     Date    `json:"fittedAt,omitzero"`
	MostYears    float64 `json:"mostYears,omitempty"`
	Source       string  `json:"source,omitempty"`
}

type filePendulum struct {
	Beat  float64 `json:"beat,omitempty"`
	Pitch length  `json:"pitch,omitzero"`
	BobKg float64 `json:"bobKg,omitempty"`
}

type fileSeason struct {
	Code   string   `json:"code"`
	Name   string   `json:"name"`
	From   monthDay `json:"from"`
	To     monthDay `json:"to"`
	Hazard []Hazard `json:"hazards,omitempty"`
	Reason string   `json:"reason,omitempty"`
	Source string   `json:"source"`
}

type fileWeight struct {
	Fall      length  `json:"fall,omitzero"`
	Barrel    length  `json:"barrel,omitzero"`
	Line      length  `json:"line,omitzero"`
	Lines     int     `json:"lines,omitempty"`
	Turns     float64 `json:"turns,omitempty"`
	TurnHours float64 `json:"turnHours,omitempty"`
	TurnBlows float64 `json:"turnBlows,omitempty"`
	Gears     []gear  `json:"gears,omitempty"`
	GearHours float64 `json:"gearHours,omitempty"`
}

// fileStriking has its silence as two hours of the day.
type fileStriking struct {
	Hours       bool  `json:"hours,omitempty"`
	Half        int   `json:"half,omitempty"`
	Quarters    []int `json:"quarters,omitempty"` // quarter past, half past, quarter to, the hour
	SilentFrom  int   `json:"silentFrom,omitempty"`
	SilentUntil int   `json:"silentUntil,omitempty"`
	Lifted      bool  `json:"lifted,omitempty"`
}

// monthDay is a MonthDay written as 10-15.
type monthDay MonthDay

func (m monthDay) MarshalText() ([]byte, error) {
	return fmt.Appendf(nil, "%02d-%02d", int(m.Month), m.Day), nil
}

func (m *monthDay) UnmarshalText(b []byte) error {
	month, day, ok := strings.Cut(string(b), "-")
	mm, errM := digits(month)
	dd, errD := digits(day)
	if !ok || errM != nil || errD != nil {
		return fmt.Errorf("day of the year %q is not understood: write month and day, as 10-15", b)
	}
	*m = monthDay{time.Month(mm), dd}
	return nil
}

// gear is a wheel and its pinion written as 120:10.
type gear wear.Gear

func (g gear) MarshalText() ([]byte, error) { return fmt.Appendf(nil, "%d:%d", g.Wheel, g.Pinion), nil }

func (g *gear) UnmarshalText(b []byte) error {
	wheel, pinion, ok := strings.Cut(string(b), ":")
	w, errW := digits(wheel)
	p, errP := digits(pinion)
	if !ok || errW != nil || errP != nil {
		return fmt.Errorf("gear %q is not understood: write the teeth of the wheel and the leaves of the pinion that it drives, as 120:10", b)
	}
	*g = gear{w, p}
	return nil
}

// digits is a whole number of one to four plain digits.
func digits(s string) (int, error) {
	s = strings.TrimSpace(s)
	if len(s) > 4 || strings.Trim(s, "0123456789") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.Atoi(s)
}

// checkCounts sees that a list which must have so many figures has them: the
// rest would be taken as nought.
func (in fileFleet) checkCounts() error {
	for i, s := range in.Sites {
		if s.Climate != nil && len(s.Climate.Months) != 12 {
			return invalid(at("sites", i), "site %q: climate: %d months given: give the mean of each of the twelve, from January on", s.Slug, len(s.Climate.Months))
		}
	}
	for i, c := range in.Clocks {
		for _, t := range c.Trains {
			if s := t.Striking; s != nil && s.Quarters != nil && len(s.Quarters) != 4 {
				return invalid(at("clocks", i), "clock %q: train %q: blows of %d quarters given: give four, for a quarter past, half past, a quarter to and the hour",
					c.Slug, t.Code, len(s.Quarters))
			}
		}
	}
	return nil
}

func (in *fileClimate) climate() *Climate {
	if in == nil {
		return nil
	}
	c := Climate{Daily: in.Daily, Source: in.Source}
	copy(c.Months[:], in.Months)
	return &c
}

func fileClimateOf(c *Climate) *fileClimate {
	if c == nil {
		return nil
	}
	return &fileClimate{Months: c.Months[:], Daily: c.Daily, Source: c.Source}
}

func (in *fileCare) care() Care {
	if in == nil {
		return Care{}
	}
	c := Care{
		Points: in.Points, Room: in.Room, Damp: in.Damp, Tolerance: in.Tolerance,
		Change: in.Change, ChangeNote: in.ChangeNote, Bell: in.Bell,
	}
	for _, l := range in.Lines {
		c.Lines = append(c.Lines, Line{
			Code: l.Code, Name: l.Name, Train: l.Train, Construction: l.Construction, Material: l.Material,
			Diameter: wear.Length(l.Diameter), OuterWires: l.OuterWires, FittedAt: l.FittedAt, MostYears: l.MostYears, Source: l.Source,
		})
	}
	if p := in.Pendulum; p != nil {
		c.Pendulum = &Pendulum{Beat: p.Beat, Pitch: wear.Length(p.Pitch), Bob: p.BobKg}
	}
	for _, s := range in.Seasons {
		c.Seasons = append(c.Seasons, Season{
			Code: s.Code, Name: s.Name, From: MonthDay(s.From), To: MonthDay(s.To), Hazard: s.Hazard, Reason: s.Reason, Source: s.Source,
		})
	}
	return c
}

// fileCareOf is nil where nothing is described.
func fileCareOf(c Care) *fileCare {
	out := fileCare{
		Points: c.Points, Room: c.Room, Damp: c.Damp, Tolerance: c.Tolerance,
		Change: c.Change, ChangeNote: c.ChangeNote, Bell: c.Bell,
	}
	for _, l := range c.Lines {
		out.Lines = append(out.Lines, fileLine{
			Code: l.Code, Name: l.Name, Train: l.Train, Construction: l.Construction, Material: l.Material,
			Diameter: length(l.Diameter), OuterWires: l.OuterWires, FittedAt: l.FittedAt, MostYears: l.MostYears, Source: l.Source,
		})
	}
	if p := c.Pendulum; p != nil {
		out.Pendulum = &filePendulum{Beat: p.Beat, Pitch: length(p.Pitch), BobKg: p.Bob}
	}
	for _, s := range c.Seasons {
		out.Seasons = append(out.Seasons, fileSeason{
			Code: s.Code, Name: s.Name, From: monthDay(s.From), To: monthDay(s.To), Hazard: s.Hazard, Reason: s.Reason, Source: s.Source,
		})
	}
	if len(c.Points)+len(c.Lines)+len(c.Seasons) == 0 && c.Room == "" && !c.Damp && c.Tolerance == nil && c.Pendulum == nil &&
		c.Change == "" && c.ChangeNote == "" && !c.Bell {
		return nil
	}
	return &out
}

func (in *fileWeight) weight() *wear.Weight {
	if in == nil {
		return nil
	}
	w := wear.Weight{
		Fall: wear.Length(in.Fall), Barrel: wear.Length(in.Barrel), Line: wear.Length(in.Line), Lines: in.Lines,
		Turns: in.Turns, TurnHours: in.TurnHours, TurnBlows: in.TurnBlows, GearHours: in.GearHours,
	}
	for _, g := range in.Gears {
		w.Gears = append(w.Gears, wear.Gear(g))
	}
	return &w
}

func fileWeightOf(w *wear.Weight) *fileWeight {
	if w == nil {
		return nil
	}
	out := fileWeight{
		Fall: length(w.Fall), Barrel: length(w.Barrel), Line: length(w.Line), Lines: w.Lines,
		Turns: w.Turns, TurnHours: w.TurnHours, TurnBlows: w.TurnBlows, GearHours: w.GearHours,
	}
	for _, g := range w.Gears {
		out.Gears = append(out.Gears, gear(g))
	}
	return &out
}

func (in *fileStriking) striking() *wear.Striking {
	if in == nil {
		return nil
	}
	s := wear.Striking{Hours: in.Hours, Half: in.Half, Silent: [2]int{in.SilentFrom, in.SilentUntil}, Lifted: in.Lifted}
	copy(s.Quarters[:], in.Quarters)
	return &s
}

func fileStrikingOf(s *wear.Striking) *fileStriking {
	if s == nil {
		return nil
	}
	out := fileStriking{Hours: s.Hours, Half: s.Half, SilentFrom: s.Silent[0], SilentUntil: s.Silent[1], Lifted: s.Lifted}
	if s.Quarters != [4]int{} {
		out.Quarters = s.Quarters[:]
	}
	return &out
}
