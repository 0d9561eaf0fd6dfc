package web

import (
	"context"
	"sync"
)

// turns has one reader at a time do what takes much, and each reader once: whoever
// sends ten pictures at once waits behind their own, and others behind one of them.
type turns struct {
	one chan struct{} // holds a token while somebody's turn is
	mu  sync.Mutex
	own map[string]*waiting
}

// waiting is the place of a reader, which those of them who wait share.
type waiting struct {
	turn chan struct{}
	n    int
}

func newTurns() *turns {
	return &turns{one: make(chan struct{}, 1), own: map[string]*waiting{}}
}

// take waits for the turn of a reader, as long as the context lets it, and gives
// what ends it.
func (t *turns) take(ctx context.Context, reader string) (done func(), err error) {
	t.mu.Lock()
	w := t.own[reader]
	if w == nil {
		w = &waiting{turn: make(chan struct{}, 1)}
		t.own[reader] = w
	}
	w.n++
	t.mu.Unlock()
	leave := func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if w.n--; w.n == 0 {
			delete(t.own, reader)
		}
	}
	select {
	case w.turn <- struct{}{}:
	case <-ctx.Done():
		leave()
		return nil, ctx.Err()
	}
	select {
	case t.one <- struct{}{}: // who waits longest has it first
	case <-ctx.Done():
		<-w.turn
		leave()
		return nil, ctx.Err()
	}
	return func() {
		<-t.one
		<-w.turn
		leave()
	}, nil
}
