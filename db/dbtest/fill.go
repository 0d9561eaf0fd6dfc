package dbtest

import (
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// Fill puts something into every table of an empty database, among it an entry that
// is corrected by one of an earlier hour, and the number of somebody who was erased.
func Fill(t *testing.T, s *db.Store) {
	t.Helper()
	ctx := t.Context()
	withTraces(t, s)
	_, err := s.Erase(ctx, "boss", Day.Add(time.Hour), "z-keeper")
	must(t, err)
	nobody := notice("nobody")
	nobody.ID, nobody.Person, nobody.To = "id-nobody", "a-winder", "nobody@example.org"
	_, err = s.Owe(ctx, Day, []schedule.Notice{nobody})
	must(t, err)
	send(t, s, "a", minutes(4)) // the winder's letter too, which stays as it is
	must(t, settled(t, s, nobody.ID, "a", schedule.Outcome{State: schedule.Refused, At: minutes(5), Reply: "550 5.1.1 nobody", Blame: schedule.NoSuch}))
	waits := notice("waits")
	waits.Person, waits.To, waits.Covers, waits.NextTry = "boss", "boss@example.org", []string{"said by it"}, minutes(900)
	_, err = s.Owe(ctx, Day, []schedule.Notice{waits})
	must(t, err)
	first := measured("clock-1", minutes(10), 1)
	first.By, first.Note = "a-winder", " two spaces  and\r\na line "
	first, _, err = s.AppendShown(ctx, "a-winder", minutes(11), first, []schedule.Picture{photograph("the bush"), photograph("")}, nil, nil)
	must(t, err)
	again := measured("clock-1", minutes(-60), 2)
	again.By, again.Replaces, again.Why, again.Reading.Celsius = "a-winder", first.ID, "the hour was wrong", nil
	_, _, err = s.Append(ctx, "a-winder", minutes(12), again, nil)
	must(t, err)
	must(t, s.AppendAll(ctx, "tester", Day, Log(4, 40)))
	for range 2 {
		_, err = s.SaveLearned(ctx, lesson())
		must(t, err)
	}
	_, _, err = s.ClaimRun(ctx, "due-list", schedule.Date{Year: 2026, Month: time.November, Day: 1}, "one", Day, time.Hour)
	must(t, err)
	must(t, s.GivePass(ctx, "boss", Day, schedule.Pass{Token: tokenOf(9), Deed: schedule.Following, Person: "a-winder"}))
	must(t, s.Decline(ctx, Day, "a-winder", schedule.ChangeWeek))
	must(t, s.MarkRound(ctx, markOf(schedule.SetVisit, "annexe", "a-winder", 9)))
	c, err := s.CheckAudit(ctx, Day)
	must(t, err)
	must(t, s.KeepAuditCheck(ctx, c))
}
