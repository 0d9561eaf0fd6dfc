package mail

import (
	"context"
	"fmt"
	"runtime/debug"

	"endshake/schedule"
)

// book keeps the marks of all lines of a round. What waits while one commit
// runs goes into the next together, so that lines share the wait for the disk;
// nothing waits for others to come.
type book struct {
	outbox Outbox
	owner  string
	in     chan entry
	done   chan struct{}
}

// entry is a mark and where its answer goes.
type entry struct {
	mark   schedule.Mark
	answer chan<- error
}

// mostMarks bounds one commit.
const mostMarks = 64

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
// others. Marks of one line are kept in the order in which it wrote them.
func (b *book) write(m schedule.Mark) <-chan error {
	answer := make(chan error, 1)
	b.in <- entry{m, answer}
	return answer
}

func (b *book) run() {
	defer close(b.done)
	for e := range b.in {
		group := []entry{e}
		for waits := true; waits && len(group) < mostMarks; {
			select {
			case e, waits = <-b.in:
				if waits {
					group = append(group, e)
				}
			default:
				waits = false
			}
		}
		marks := make([]schedule.Mark, len(group))
		for i, e := range group {
			marks[i] = e.mark
		}
		for i, err := range b.record(marks) {
			group[i].answer <- err
		}
	}
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
