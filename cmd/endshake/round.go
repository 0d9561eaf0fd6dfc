package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"endshake/daemon"
	"endshake/db"
	"endshake/schedule"
)

// travelFlags say how long ways are, where rounds are planned.
type travelFlags struct {
	Travel string   `help:"File of ways between sites and homes, lines of from,to,minutes and perhaps km: a place is the short name of a site, or home/ and the short name of a person." env:"ENDSHAKE_TRAVEL" placeholder:"FILE"`
	Speed  *float64 `help:"Speed in km/h where no file gives a way, over 1.3 times the distance as the crow flies; otherwise 50." env:"ENDSHAKE_SPEED" placeholder:"KMH"`
}

// ways reads what the flags say.
func (f travelFlags) ways() (schedule.Travel, error) {
	t := schedule.Travel{}
	if f.Speed != nil {
		if t.Speed = *f.Speed; !(t.Speed >= 1 && t.Speed <= 300) {
			return t, fmt.Errorf("--speed: %v is no speed on the way in km/h: give a number from 1 to 300", t.Speed)
		}
	}
	if f.Travel == "" {
		return t, nil
	}
	file, err := os.Open(f.Travel)
	if err != nil {
		return t, fmt.Errorf("--travel: %w", err)
	}
	defer file.Close()
	if t.Matrix, err = schedule.ParseTravel(file); err != nil {
		return t, fmt.Errorf("--travel: %s, %w", f.Travel, err)
	}
	return t, nil
}

type roundCmd struct {
	database
	Months int    `help:"How many months ahead to print, from 1 to 12; the plan is the same." default:"3"`
	Person string `help:"Short name of the person whose days alone are printed; the plan is the same." placeholder:"PERSON"`
	Kit    string `help:"Print what the days of visits on this date take along, and a sheet for each clock." placeholder:"DATE"`
	JSON   bool   `name:"json" help:"Print JSON."`
	markFlags
	travelFlags
}

// Help says what a round is.
func (c *roundCmd) Help() string {
	return "Proposes days of visits: few days and little travel, such that no task passes its last good day. It says why each is where it is, and what cannot be met and why. What was kept or ruled out by hand holds, on the pages or by --set, --not, --move and --lift."
}

// Run plans the rounds.
func (c *roundCmd) Run(ctx context.Context, out io.Writer) error {
	if c.Months < 1 || c.Months > 12 {
		return fmt.Errorf("--months: %d must be a number of months ahead, from 1 to 12", c.Months)
	}
	var day schedule.Date
	if c.Kit != "" {
		var err error
		if day, err = schedule.ParseDate(c.Kit); err != nil {
			return fmt.Errorf("--kit: %w", err)
		}
	}
	ways, err := c.ways()
	if err != nil {
		return err
	}
	store, err := c.open(ctx, db.OpenExisting)
	if err != nil {
		return err
	}
	defer store.Close()
	desk, err := daemon.OpenDesk(ctx, store, time.Now)
	if err != nil {
		return err
	}
	s := desk.Snapshot()
	if _, ok := s.Fleet.Person(c.Person); !ok && c.Person != "" {
		return fmt.Errorf("--person: there is no person %q: say the short name, as endshake fleet print prints it", c.Person)
	}
	ask := schedule.RoundAsk{Months: c.Months, Person: c.Person, Travel: ways}
	if !day.IsZero() { // which may be any that is planned
		ask.Months = 12
	}
	if err := c.decide(ctx, desk, s, ask); err != nil {
		return err
	}
	if ask.Marks, err = desk.RoundMarks(ctx, s.Today()); err != nil {
		return err
	}
	return c.print(out, s, s.Rounds(ask, s.Now), day)
}

// print writes the rounds, or what a day of them takes along.
func (c *roundCmd) print(out io.Writer, s *schedule.Snapshot, r schedule.Rounds, day schedule.Date) error {
	if day.IsZero() {
		if c.JSON {
			return daemon.WriteJSON(out, r)
		}
		_, err := io.WriteString(out, r.Text(s))
		return err
	}
	kits := []schedule.Kit{}
	for i, d := range r.Days {
		if d.Day == day {
			kits = append(kits, r.Kit(s, i))
		}
	}
	if len(kits) == 0 {
		return fmt.Errorf("--kit: no visit is planned for %s: %s", day.Words(), strings.TrimSuffix(daysOf(r), "."))
	}
	if c.JSON {
		return daemon.WriteJSON(out, kits)
	}
	for i, k := range kits {
		if i > 0 {
			fmt.Fprintln(out)
		}
		if _, err := io.WriteString(out, k.Text()); err != nil {
			return err
		}
	}
	return nil
}

// daysOf says on which days visits are planned, the first of them.
func daysOf(r schedule.Rounds) string {
	const most = 5
	var days []string
	for i, d := range r.Days {
		if word := d.Day.String(); (i == 0 || r.Days[i-1].Day != d.Day) && len(days) < most {
			days = append(days, word)
		}
	}
	if len(days) == 0 {
		return r.Sentence()
	}
	return "the first planned days are " + strings.Join(days, ", ")
}
