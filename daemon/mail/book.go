package mail

import (
	"context"
	"fmt"
	"runtime/debug"
	"sync/atomic"
	"time"

	"endshake/schedule"
)

// book keeps the marks of all lines of a round. What waits while one commit
// runs goes into the next together, so that lines share the wait for the disk. A
// commit begins when every line at work waits for it, or else after half the
// time that the last one took: others that come meanwhile are spared a whole one.
type book struct {
	outbox Outbox
	owner  string
	in     chan entry
	done   chan struct{}
	lines  atomic.Int32  // at work
	took   time.Duration // the last commit
}

// entry is a mark and where its answer goes; waits: its line does nothing more
// before the answer. One with no answer only says that its line waits.
type entry struct {
	mark   schedule.Mark
	answer chan<- error
	waits  bool
}

const (
	mostMarks    = 64                    // in one commit
	mostPatience = 20 * time.Millisecond // for the marks of others
)

// openBook starts the one goroutine that commits.
func openBook(o Outbox, owner string) *book {
	b := &book{outbox: o, owner: owner, in: make(chan entry, mostMarks), done: make(chan struct{})}
	go b.run()
	return b
}

// close ends the book when all that was written in it is answered.
func (b *book) close() {
	close(b.in)
	<-b.done
}

// write hands a mark in; its answer comes once, and is not waited for by
// others. Marks of one line are kept in the order in which it wrote them. waits
// tells that its line now waits.
func (b *book) write(m schedule.Mark, waits bool) <-chan error {
	answer := make(chan error, 1)
	b.in <- entry{m, answer, waits}
	return answer
}

// await waits for an answer of a mark that was written without waiting.
func (b *book) await(answer <-chan error) error {
	select {
	case err := <-answer:
		return err
	default:
		b.in <- entry{waits: true}
		return <-answer
	}
}

func (b *book) run() {
	defer close(b.done)
	for e := range b.in {
		group := b.gather(e)
		if len(group) == 0 {
			continue
		}
		marks := make([]schedule.Mark, len(group))
		for i, e := range group {
			marks[i] = e.mark
		}
		began := time.Now()
		errs := b.record(marks)
		b.took = time.Since(began)
		for i, err := range errs {
			group[i].answer <- err
		}
	}
}

// gather takes what is to be committed with e.
func (b *book) gather(e entry) (group []entry) {
	waiting := int32(0)
	take := func(e entry) {
		if e.waits {
			waiting++
		}
		if e.answer != nil {
			group = append(group, e)
		}
	}
	take(e)
	var late <-chan time.Time
	for len(group) < mostMarks {
		select {
		case e, ok := <-b.in:
			if !ok {
				return group
			}
			take(e)
			continue
		default:
		}
		patience := min(b.took/2, mostPatience)
		if len(group) == 0 || waiting >= b.lines.Load() || patience == 0 {
			return group
		}
		if late == nil {
			late = time.After(patience)
		}
		select {
		case e, ok := <-b.in:
			if !ok {
				return group
			}
			take(e)
		case <-late:
			return group
		}
	}
	return group
}

// record commits. The end of a round does not stop it, for what is known must be
// kept, and a panic is the error of all that it commits.
func (b *book) record(marks []schedule.Mark) (errs []error) {
	defer func() {
		if p := recover(); p != nil {
			errs = make([]error, len(marks))
			for i := range errs {
				errs[i] = fmt.Errorf("mail: a panic in the outbox: %v\n%s", p, debug.Stack())
			}
		}
	}()
	return b.outbox.Record(context.Background(), b.owner, marks)
}
