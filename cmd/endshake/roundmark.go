package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"endshake/daemon"
	"endshake/schedule"
)

// markFlags decide something of the rounds by hand before they are planned, as the
// pages do: one decision a call.
type markFlags struct {
	Set  string `help:"Keep a visit by hand: PERSON,SITE,DATE by their short names, like ann,corn-hall,2027-03-09." placeholder:"VISIT" xor:"mark"`
	Not  string `help:"Rule a visit out, in the same form; without a person everybody's, without a site all of that person: ,corn-hall,2027-03-09 or ann,,2027-03-09." placeholder:"VISIT" xor:"mark"`
	Move string `help:"Move a visit to another day: PERSON,SITE,DATE,DATE." placeholder:"VISIT" xor:"mark"`
	Lift string `help:"Take back what was kept or ruled out, in the form in which it was." placeholder:"VISIT" xor:"mark"`
	Why  string `help:"Why, in a few words, for --set, --not and --move." placeholder:"WORDS"`
}

// decide keeps what the flags decide, if anything.
func (f markFlags) decide(ctx context.Context, desk *daemon.Desk, s *schedule.Snapshot, ask schedule.RoundAsk) error {
	flag, text, days := f.given()
	if flag == "" {
		if f.Why != "" {
			return errors.New("--why: nothing is decided that it could be the reason of: give --set, --not or --move too")
		}
		return nil
	}
	m, to, err := f.read(text, days)
	if err != nil {
		return fmt.Errorf("--%s: %w", flag, err)
	}
	m.At, to.At = s.Now, s.Now
	if flag == "set" || flag == "move" {
		if to.Tasks, err = work(ctx, desk, s, ask, m); err != nil {
			return fmt.Errorf("--%s: %w", flag, err)
		}
	}
	switch flag {
	case "set":
		m.Kind, m.Tasks = schedule.SetVisit, to.Tasks
		err = desk.MarkRound(ctx, m)
	case "not":
		m.Kind = schedule.BarVisit
		err = desk.MarkRound(ctx, m)
	case "move":
		err = desk.MoveRound(ctx, m, to)
	default:
		err = lift(ctx, desk, m, s.Now)
	}
	if err != nil {
		return fmt.Errorf("--%s: %w", flag, err)
	}
	return nil
}

// work is what a visit does in the plan as it stands: it is kept or moved with it.
func work(ctx context.Context, desk *daemon.Desk, s *schedule.Snapshot, ask schedule.RoundAsk, m schedule.RoundMark) ([]schedule.TaskRef, error) {
	marks, err := desk.RoundMarks(ctx, s.Today())
	if err != nil {
		return nil, err
	}
	ask.Months, ask.Person, ask.Marks = 12, "", marks
	return s.Rounds(ask, s.Now).Refs(m.Person, m.Site, m.Day), nil
}

// given is which decision is asked for, and how many days it names.
func (f markFlags) given() (flag, text string, days int) {
	switch {
	case f.Set != "":
		return "set", f.Set, 1
	case f.Not != "":
		return "not", f.Not, 1
	case f.Move != "":
		return "move", f.Move, 2
	case f.Lift != "":
		return "lift", f.Lift, 1
	}
	return "", "", 0
}

// read reads person, site and so many days.
func (f markFlags) read(text string, days int) (from, to schedule.RoundMark, err error) {
	parts := strings.Split(text, ",")
	if len(parts) != 2+days {
		return from, to, fmt.Errorf("%.80q is not understood: write person,site%s, like ann,corn-hall%s", text,
			strings.Repeat(",date", days), strings.Repeat(",2027-03-09", days))
	}
	from = schedule.RoundMark{Person: strings.TrimSpace(parts[0]), Site: strings.TrimSpace(parts[1]), Why: f.Why}
	if from.Day, err = schedule.ParseDate(strings.TrimSpace(parts[2])); err != nil {
		return from, to, err
	}
	if to = from; days == 2 {
		to.Day, err = schedule.ParseDate(strings.TrimSpace(parts[3]))
	}
	return from, to, err
}

// lift takes back whichever stands of a visit that was kept and one ruled out: the two
// never stand together.
func lift(ctx context.Context, desk *daemon.Desk, m schedule.RoundMark, now time.Time) error {
	marks, err := desk.RoundMarks(ctx, m.Day)
	if err != nil {
		return err
	}
	m.Kind = schedule.SetVisit
	for _, x := range marks {
		if x.Person == m.Person && x.Site == m.Site && x.Day == m.Day {
			m.Kind = x.Kind
		}
	}
	return desk.UnmarkRound(ctx, schedule.Actor{Conservator: true}.Name(), m, now)
}
