package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"endshake/daemon/mail"
	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// scriptedDrainer ends each round as the script says at that moment.
type scriptedDrainer struct {
	began time.Time
	mu    sync.Mutex      // two rounds may run side by side
	at    []time.Duration // when each round began
	round func(ctx context.Context, n int) (mail.Tally, error)
}

func (s *scriptedDrainer) Drain(ctx context.Context) (mail.Tally, error) {
	s.mu.Lock()
	s.at = append(s.at, time.Since(s.began))
	n := len(s.at)
	s.mu.Unlock()
	return s.round(ctx, n)
}

// poked runs the post loop for a while, poked each minute as the wake does, and
// gives its log.
func poked(t *testing.T, d *scriptedDrainer, long time.Duration) string {
	t.Helper()
	var log bytes.Buffer
	poke := make(chan struct{}, 1)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	d.began = time.Now()
	go func() {
		defer close(ended)
		post(ctx, d, poke, slog.New(slog.NewTextHandler(&log, nil)), func(mail.Tally) {})
	}()
	for range long / time.Minute {
		select {
		case poke <- struct{}{}:
		default:
		}
		time.Sleep(time.Minute)
	}
	cancel()
	<-ended
	return log.String()
}

// A login that is turned down stops all sending but for a few tries, with one
// line at error level, and one more when it goes again and fails again.
func TestPostRestsWhileTheLoginIsRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		refused := fmt.Errorf("%w: 535 no", mail.ErrSetup)
		d := &scriptedDrainer{round: func(_ context.Context, n int) (mail.Tally, error) {
			if n <= 6 {
				return mail.Tally{Retry: 20}, refused
			}
			return mail.Tally{}, nil
		}}
		log := poked(t, d, 4*time.Hour)
		want := []time.Duration{0, 5 * time.Minute, 15 * time.Minute, 35 * time.Minute, 75 * time.Minute, 135 * time.Minute, 195 * time.Minute}
		if len(d.at) < 8 || !slices.Equal(d.at[:7], want) {
			t.Errorf("tried at %v, want first at %v and then each minute", d.at, want)
		}
		if n := strings.Count(log, "level=ERROR"); n != 1 || !strings.Contains(log, "535 no") {
			t.Errorf("%d lines at error level, want 1 with the reason:\n%s", n, log)
		}
		if strings.Contains(log, "goes out again") {
			t.Error("an empty round is taken for a good sign")
		}
	})
}

func TestPostSaysEachChangeOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &scriptedDrainer{round: func(_ context.Context, n int) (mail.Tally, error) {
			switch {
			case n <= 10 || n > 20 && n <= 30:
				return mail.Tally{Retry: 1}, errors.New("cannot be reached")
			case n == 31:
				panic("oh")
			}
			return mail.Tally{Sent: 1}, nil
		}}
		log := poked(t, d, 40*time.Minute)
		if len(d.at) != 40 {
			t.Errorf("%d rounds in 40 minutes: failing lines are no reason to rest, and a panic none to end", len(d.at))
		}
		if bad, good := strings.Count(log, "level=ERROR"), strings.Count(log, "goes out again"); bad != 2 || good != 2 {
			t.Errorf("%d lines at error level and %d that it goes again, want 2 and 2:\n%s", bad, good, log)
		}
	})
}

// A round that a stalled server holds for half an hour does not hold up those
// that come after it.
func TestPostGoesOnBesideAStalledRound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &scriptedDrainer{round: func(ctx context.Context, n int) (mail.Tally, error) {
			if n == 1 {
				select {
				case <-time.After(30 * time.Minute):
				case <-ctx.Done():
				}
			}
			return mail.Tally{Sent: 1}, nil
		}}
		poked(t, d, 10*time.Minute)
		if len(d.at) != 10 {
			t.Errorf("%d rounds in 10 minutes beside one that stalls, want 10", len(d.at))
		}
	})
}

// Two daemons on one PostgreSQL never both send a letter.
func TestTwoSendersOnOnePostgres(t *testing.T) {
	const letters = 300
	address := dbtest.Postgres(t)
	first := dbtest.Open(t, address)
	var owed []schedule.Notice
	for i := range letters {
		id := fmt.Sprintf("<two-%d@example.org>", i)
		owed = append(owed, schedule.Notice{Key: id, Kind: schedule.DueList, Person: "ada", From: "desk@example.org", To: fmt.Sprintf("reader-%d@example.org", i), MessageID: id, Title: "Test",
			Raw: []byte("From: desk@example.org\r\nSubject: Test\r\nMessage-ID: " + id + "\r\n\r\nWind it.\r\n")})
	}
	if _, err := first.Owe(t.Context(), time.Now(), owed); err != nil {
		t.Fatal(err)
	}
	sink := mail.NewSink(10 * letters)
	at, err := sink.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer sink.Stop(context.Background())
	server, err := mail.ParseServer("smtp://" + at)
	if err != nil {
		t.Fatal(err)
	}
	var senders sync.WaitGroup
	sent := make([]int, 2)
	for i, store := range []*db.Store{first, dbtest.Open(t, address)} {
		senders.Go(func() {
			s := mail.Sender{Outbox: store, Server: server, Owner: fmt.Sprint("daemon ", i), Batch: 7, Log: slog.New(slog.DiscardHandler)}
			for range 3 { // a claim that lost its rows to the other may come back empty
				tally, err := s.Drain(context.Background())
				if err != nil {
					t.Error(err)
				}
				sent[i] += tally.Sent
			}
		})
	}
	senders.Wait()
	times := map[string]int{}
	for _, a := range sink.Arrivals() {
		times[a.To[0]]++
	}
	for _, n := range owed {
		if times[n.To] != 1 {
			t.Errorf("the letter to %s came %d times", n.To, times[n.To])
		}
	}
	if sent[0]+sent[1] != letters || sent[0] == 0 || sent[1] == 0 {
		t.Errorf("they sent %v, want %d together, and each some", sent, letters)
	}
}
