package mail

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"runtime/debug"
	"sync"
	"time"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// Outbox is where letters wait. Only the owner of a claim may settle it.
type Outbox interface {
	// ClaimNotices claims up to n notices that are owed and due to be tried,
	// for the length of the lease, and counts an attempt for each.
	ClaimNotices(ctx context.Context, owner string, now time.Time, lease time.Duration, n int) ([]schedule.Notice, error)
	// Record commits marks in one transaction, in their order, and gives the
	// error of each: that a claimed notice is about to be handed over, or what
	// became of it, which ends the claim.
	Record(ctx context.Context, owner string, marks []schedule.Mark) []error
}

// Timeouts bound each stage of sending. A zero field takes its default, which
// for Command and Reply is the figure of RFC 5321 4.5.3.2.
type Timeouts struct {
	Dial    time.Duration // to connect: 10 s
	Command time.Duration // greeting and each command: 5 min
	Body    time.Duration // to take the body of a letter: 5 min
	Reply   time.Duration // after the final dot: 10 min
	Grace   time.Duration // after the final dot, once the context is done: 10 s
	Total   time.Duration // one batch in all: the lease, which also bounds it
}

// Sender hands claimed letters to a mail server, over several lines at a time
// where enough is owed.
//
// The lease decides how long a batch may last, for after it another sender may
// claim the same letters. A fifteenth of it is kept for settling and for clocks
// that differ. A letter is handed over only while the whole wait for the final
// reply (Timeouts.Reply) still fits; what is left before that is for all else.
// With the defaults that is 30 - 2 - 10 = 18 minutes, so a server may take any
// three commands to the limits of RFC 5321. What does not fit in time goes back
// at once and is claimed afresh.
type Sender struct {
	Outbox Outbox
	Server Server
	Owner  string // names this process in a claim; unique among senders
	Name   string // said in EHLO; empty: localhost

	Lease     time.Duration // of one batch; zero: 30 min
	Batch     int           // letters claimed at a time, four times as many of a quick server; zero: 20
	Lines     int           // connections at a time at most; zero: 4
	Timeouts  Timeouts
	TLSConfig *tls.Config      // nil: system roots, TLS 1.2 or later
	Now       func() time.Time // what is stored; nil: time.Now
	Log       *slog.Logger     // nil: slog.Default
	// Takes is the first instant from one on at which the reader of a notice
	// takes mail: a letter waits for it. Nil: any is.
	Takes func(n schedule.Notice, at time.Time) time.Time

	// Dial connects; nil: over the network.
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
	// talk writes the exchange down; nil: nobody does.
	talk *dialogue
}

// Tally counts what became of the letters of one Drain.
type Tally struct{ Sent, Retry, Refused, Uncertain int }

func (t *Tally) add(u Tally) {
	t.Sent += u.Sent
	t.Retry += u.Retry
	t.Refused += u.Refused
	t.Uncertain += u.Uncertain
}

// withDefaults fills what is not set. It returns an error where the lease does
// not cover the wait for a reply.
func (s *Sender) withDefaults() (*Sender, error) {
	d := *s
	set := func(v *time.Duration, def time.Duration) {
		if *v <= 0 {
			*v = def
		}
	}
	set(&d.Lease, 30*time.Minute)
	set(&d.Timeouts.Dial, 10*time.Second)
	set(&d.Timeouts.Command, 5*time.Minute)
	set(&d.Timeouts.Body, 5*time.Minute)
	set(&d.Timeouts.Reply, 10*time.Minute)
	set(&d.Timeouts.Grace, 10*time.Second)
	set(&d.Timeouts.Total, d.Lease)
	if d.Batch <= 0 {
		d.Batch = 20
	}
	if d.Lines <= 0 {
		d.Lines = 4
	}
	if d.Dial == nil {
		d.Dial = (&net.Dialer{}).DialContext
	}
	if d.Name == "" {
		d.Name = "localhost"
	}
	if d.Now == nil {
		d.Now = time.Now
	}
	if d.Log == nil {
		d.Log = slog.Default()
	}
	if d.span() <= d.Timeouts.Reply {
		return nil, fmt.Errorf("mail: a lease of %s does not cover the wait of %s for the last reply: make the lease or Timeouts.Total longer", d.Lease, d.Timeouts.Reply)
	}
	return &d, nil
}

// span is how long one batch may talk to the server.
func (s *Sender) span() time.Duration { return min(s.Lease-s.Lease/15, s.Timeouts.Total) }

// Drain claims batches and sends them, until nothing that is due is left. One
// line sends batch after batch over one connection; another is opened where a
// whole batch was there to claim. A line that fails ends, and the others go on,
// unless the server cannot be reached, the login or the encryption is refused
// (ErrSetup), the outbox fails or ctx is done: then all end with what they have
// claimed. What was claimed and not sent is owed again. Drain returns all
// errors; a letter that is refused is none.
func (s *Sender) Drain(ctx context.Context) (Tally, error) {
	d, err := s.withDefaults()
	if err != nil {
		return Tally{}, err
	}
	r := &round{Sender: d, book: openBook(d.Outbox, d.Owner)}
	r.begin(ctx)
	r.lines.Wait()
	r.book.close()
	return r.tally, errors.Join(r.errs...)
}

// round is one Drain.
type round struct {
	*Sender
	book  *book
	lines sync.WaitGroup

	mu    sync.Mutex
	begun int  // lines
	over  bool // nothing more is to be claimed
	tally Tally
	errs  []error
}

// begin opens another line, if there may be one more.
func (r *round) begin(ctx context.Context) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.begun < r.Lines && !r.over {
		r.begun++
		r.lines.Go(func() {
			defer func() {
				if p := recover(); p != nil { // what it had claimed is claimed anew when the lease is over
					r.end(Tally{}, fmt.Errorf("mail: a panic in a line: %v\n%s", p, debug.Stack()), true)
				}
			}()
			r.follow(ctx)
		})
	}
}

// follow is the life of one line.
func (r *round) follow(ctx context.Context) {
	var l *line
	for want := r.Batch; ; {
		b, err := r.claim(ctx, want)
		if b == nil {
			r.end(Tally{}, err, true)
			break
		}
		if len(b.left) == want {
			r.begin(ctx)
		}
		r.book.lines.Add(1)
		l, err = b.run(ctx, l)
		r.book.lines.Add(-1)
		r.end(b.tally, err, b.hopeless)
		if err != nil {
			break
		}
		// Where the server is quick, fewer claims do.
		if want = r.Batch; time.Since(b.began) < r.span()/100 {
			want = quickBatches * r.Batch
		}
	}
	if l != nil {
		failpoint.Hit("K21") // all is kept, before QUIT
		l.quit(r.Timeouts.Grace)
	}
}

// quickBatches are how many batches are claimed at a time after one that took
// less than a hundredth of its time.
const quickBatches = 4

// claim claims a batch of at most want letters; nil: there is none.
func (r *round) claim(ctx context.Context, want int) (*batch, error) {
	r.mu.Lock()
	over := r.over
	r.mu.Unlock()
	if over {
		return nil, nil
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	began := time.Now()
	claimed, err := r.Outbox.ClaimNotices(ctx, r.Owner, r.Now(), r.Lease, want)
	if err != nil {
		return nil, fmt.Errorf("%w: claim letters: %w", errOutbox, err)
	}
	if len(claimed) == 0 {
		return nil, nil
	}
	end := began.Add(r.span())
	return &batch{Sender: r.Sender, book: r.book, left: claimed, began: began, end: end, handBy: end.Add(-r.Timeouts.Reply)}, nil
}

// end adds up what came of a batch. over: nothing more is to be claimed.
func (r *round) end(t Tally, err error, over bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.tally.add(t)
	if err != nil {
		r.errs = append(r.errs, err)
	}
	r.over = r.over || over
}

// errOutbox marks a failure that is ours and not the server's.
var errOutbox = errors.New("mail: outbox")
