package web

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// faulty are sessions that cannot be read.
type faulty struct{ Sessions }

func (faulty) FindCtx(ctx context.Context, _ string) ([]byte, bool, error) {
	if err := ctx.Err(); err != nil {
		return nil, false, err
	}
	return nil, false, errors.New("the disk is full")
}

// A browser that goes on before the answer breaks off what it asked for: nobody is
// woken for that. A fault of ours is told as one, and not to the reader.
func TestWhoLeftIsNoFault(t *testing.T) {
	for _, left := range []bool{true, false} {
		e := newEntrance(t, func(o *Options) { o.Logins.Sessions = faulty{o.Logins.Sessions} })
		e.lets("tom")
		r := httptest.NewRequest("GET", "/", nil)
		r.AddCookie(&http.Cookie{Name: "__Host-endshake", Value: nthToken(1)})
		ctx, stop := context.WithCancel(r.Context())
		if left {
			stop()
		}
		res, body := ask(t, e, r.WithContext(ctx))
		stop()
		said := e.said.String()
		if strings.Contains(said, "level=ERROR") == left || !strings.Contains(said, "session failed") {
			t.Errorf("left %v: the log says %s", left, said)
		}
		if !left && (res.StatusCode != http.StatusInternalServerError || strings.Contains(body, "disk")) {
			t.Errorf("a fault: %d %s", res.StatusCode, body)
		}
	}
}
