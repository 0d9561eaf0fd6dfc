package mail_test

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/daemon/mail"
	"endshake/schedule"
	"endshake/wear"
)

var today = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

// fleet is invented: two clocks with one winder each.
func fleet() schedule.Fleet {
	f := schedule.Fleet{Sites: []schedule.Site{{Slug: "market", Name: "Market Square", Zone: "Europe/London", Caution: "Loose boards on the second landing"}}}
	for _, who := range []string{"ada", "bo"} {
		f.People = append(f.People, schedule.Person{Slug: who, Name: strings.ToUpper(who[:1]) + who[1:], Email: who + "@example.org", Units: wear.MM})
		f.Clocks = append(f.Clocks, schedule.Clock{
			Slug: who + "-clock", Name: "Clock of " + who, Kind: schedule.Turret, Site: "market", InCare: schedule.Date{Year: 2026, Month: 11, Day: 1},
			Duties: []schedule.Duty{{Person: who, Role: schedule.Winder}},
			Trains: []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: 8 * 24 * time.Hour}},
		})
	}
	return f
}

// dueLetters are the due-lists of today.
func dueLetters() []schedule.Letter {
	all := schedule.Letters(schedule.Survey(fleet(), nil, schedule.Model{}, today), schedule.MailRoom{AtOnce: true}, today)
	return slices.DeleteFunc(all, func(l schedule.Letter) bool { return l.Kind != schedule.DueList })
}

// The whole way of a due-list: from the facts to what a reader would get.
func Example() {
	sink := mail.NewSink(10)
	addr, err := sink.Start("127.0.0.1:0")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer sink.Stop(context.Background())
	server, err := mail.ParseServer("smtp://" + addr)
	if err != nil {
		fmt.Println(err)
		return
	}
	letter := dueLetters()[0]
	notice, err := mail.Composer{From: "Clock Care <clocks@example.org>"}.Compose(letter, "01932f00-0000-7000-8000-000000000002", today)
	if err != nil {
		fmt.Println(err)
		return
	}
	sender := mail.Sender{Outbox: &shelf{notice}, Server: server, Owner: "example",
		Now: func() time.Time { return today }, Log: slog.New(slog.DiscardHandler)}
	tally, err := sender.Drain(context.Background())
	fmt.Println(tally.Sent, err)
	fmt.Println(notice.Title, "for", sink.Arrivals()[0].To[0])
	// Output:
	// 1 <nil>
	// Due-list for November 2026: 1 late, 1 clock for ada@example.org
}

// shelf is an outbox of one letter.
type shelf struct{ n schedule.Notice }

func (s *shelf) ClaimNotices(context.Context, string, time.Time, time.Duration, int) ([]schedule.Notice, error) {
	if s.n.State != schedule.Owed {
		return nil, nil
	}
	s.n.State = schedule.Sending
	return []schedule.Notice{s.n}, nil
}

func (s *shelf) Record(_ context.Context, _ string, marks []schedule.Mark) []error {
	for _, m := range marks {
		if m.Outcome != nil {
			s.n.State = m.Outcome.State
		}
	}
	return make([]error, len(marks))
}

// What schedule works out must fit into a letter, and nobody may read of
// another's clock.
func TestLettersOfAFleet(t *testing.T) {
	letters := dueLetters()
	if len(letters) != 2 {
		t.Fatalf("%d letters, want one for each person", len(letters))
	}
	for i, l := range letters {
		n, err := mail.Composer{From: "clocks@example.org"}.Compose(l, fmt.Sprint("letter-", i), today)
		if err != nil {
			t.Fatal(err)
		}
		own, other := "Clock of ada", "Clock of bo"
		if l.Person.Slug == "bo" {
			own, other = other, own
		}
		if body := string(n.Raw); strings.Count(body, own) < 2 || strings.Contains(body, other) || strings.Count(body, "Loose boards") != 2 {
			t.Errorf("letter to %s:\n%s", l.Person.Slug, body)
		}
	}
}

func BenchmarkCompose(b *testing.B) {
	l := dueLetters()[0]
	for b.Loop() {
		if _, err := (mail.Composer{From: "clocks@example.org"}).Compose(l, "x", today); err != nil {
			b.Fatal(err)
		}
	}
}
