package mail

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"endshake/schedule"
)

// slowBox is an outbox whose commits take a while; it notes how many marks each has.
type slowBox struct {
	Outbox
	took   time.Duration
	groups []int
}

func (s *slowBox) Record(_ context.Context, _ string, marks []schedule.Mark) []error {
	s.groups = append(s.groups, len(marks))
	time.Sleep(s.took)
	return make([]error, len(marks))
}

// Marks of all lines go into one commit, which begins as soon as nobody at work
// can add to it, and never waits for more than half of what the last took. Time
// is the bubble's own.
func TestLinesShareACommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const ms = time.Millisecond
		o := &slowBox{took: 10 * ms}
		b := openBook(o, "test")
		b.lines.Store(2)
		began := time.Now()
		wantAt := func(what string, at time.Duration, groups ...int) {
			t.Helper()
			if got := time.Since(began); got != at || !slices.Equal(o.groups, groups) {
				t.Errorf("%s: commits of %v marks by %v, want %v by %v", what, o.groups, got, groups, at)
			}
			o.groups, began = nil, time.Now()
		}
		mark := func(waits bool) <-chan error { return b.write(schedule.Mark{Notice: "n"}, waits) }

		<-mark(true)
		wantAt("the first, with nothing to go by", 10*ms, 1)

		outcome := mark(false)
		time.Sleep(2 * ms)
		going := mark(true)
		time.Sleep(2 * ms)
		other := mark(true)
		<-outcome
		<-going
		<-other
		wantAt("both lines wait", 14*ms, 3)

		<-mark(true)
		wantAt("the other does not come", 15*ms, 1)

		if err := b.await(mark(false)); err != nil {
			t.Error(err)
		}
		b.lines.Store(1)
		wantAt("the other does not come, and this one says that it waits", 15*ms, 1)

		if err := b.await(mark(false)); err != nil {
			t.Error(err)
		}
		wantAt("alone at work", 10*ms, 1)

		o.took = time.Second
		<-mark(true)
		b.lines.Store(2)
		began, o.groups = time.Now(), nil
		<-mark(true)
		wantAt("patience has an end", time.Second+mostPatience, 1)

		last := mark(false)
		b.close()
		if err := <-last; err != nil {
			t.Error(err)
		}
		wantAt("what was written before the end", time.Second, 1)
	})
}
