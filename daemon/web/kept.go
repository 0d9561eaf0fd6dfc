package web

import (
	"bytes"
	"compress/gzip"
	"container/list"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Bounds of the pages that are kept with a snapshot.
const (
	mostPages = 64
	mostPage  = 512 << 10 // of one page
)

// pages are whole pages that follow from a snapshot, its reader and an address
// alone, those asked for last.
type pages struct {
	mu  sync.Mutex
	by  map[string]*list.Element // of *keptPage
	use list.List                // the one used last in front
}

// keptPage is a page as it goes out, plain and small.
type keptPage struct {
	key   string
	once  sync.Once
	body  []byte
	err   error
	small func() []byte
}

// page gives a kept page, made once however many ask for it at the same time.
func (p *pages) page(key string, make func() ([]byte, error)) *keptPage {
	p.mu.Lock()
	e, ok := p.by[key]
	if ok {
		p.use.MoveToFront(e)
	} else {
		e = p.add(key)
	}
	p.mu.Unlock()
	k := e.Value.(*keptPage)
	k.once.Do(func() {
		k.err = errors.New("the page could not be made") // where making it panics
		k.body, k.err = make()
		k.small = sync.OnceValue(func() []byte { return squeezed(k.body) })
	})
	if k.err != nil || len(k.body) > mostPage {
		p.drop(e)
	}
	return k
}

func (p *pages) add(key string) *list.Element {
	if p.by == nil {
		p.by = map[string]*list.Element{}
	}
	for p.use.Len() >= mostPages {
		old := p.use.Back()
		delete(p.by, old.Value.(*keptPage).key)
		p.use.Remove(old)
	}
	p.by[key] = p.use.PushFront(&keptPage{key: key})
	return p.by[key]
}

func (p *pages) drop(e *list.Element) {
	p.mu.Lock()
	defer p.mu.Unlock()
	k := e.Value.(*keptPage)
	if p.by[k.key] == e {
		delete(p.by, k.key)
		p.use.Remove(e)
	}
}

func squeezed(body []byte) []byte {
	var out bytes.Buffer
	z, _ := gzip.NewWriterLevel(&out, gzip.BestSpeed) // the level is one
	_, _ = z.Write(body)                              // a bytes.Buffer does not fail
	_ = z.Close()
	return out.Bytes()
}

// takesGzip reports whether a browser takes a page that is squeezed.
func takesGzip(r *http.Request) bool {
	for _, part := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		name, weight, _ := strings.Cut(strings.ReplaceAll(part, " ", ""), ";")
		if strings.EqualFold(name, "gzip") {
			q, err := strconv.ParseFloat(strings.TrimPrefix(weight, "q="), 64)
			return weight == "" || err == nil && q > 0
		}
	}
	return false
}

// showKept shows a page of which the body follows from what the reader sees and
// the key alone: the address with all that it asks for. It is made once for each
// snapshot.
func (s *server) showKept(w http.ResponseWriter, r *http.Request, rd *onlooker, key, name string, body func() view) {
	render := func() ([]byte, error) {
		v := body()
		if v.Now.IsZero() {
			v.Now = rd.asOf
		}
		return s.render(r, name, v)
	}
	if rd.key == "" { // nobody to keep it for
		page, err := render()
		if err != nil {
			s.fault(w, r, err)
			return
		}
		s.send(w, r, http.StatusOK, page)
		return
	}
	if away := s.awayWords(time.Time.String); away != "" { // which is of the moment
		key += "\n" + away
	}
	k := rd.pages.page(fmt.Sprint(rd.key, mustSetUp(account(r)), "\n", key), render)
	if k.err != nil {
		s.fault(w, r, k.err)
		return
	}
	h := w.Header()
	h.Add("Vary", "Accept-Encoding")
	if takesGzip(r) {
		h.Set("Content-Encoding", "gzip")
		s.send(w, r, http.StatusOK, k.small())
		return
	}
	s.send(w, r, http.StatusOK, k.body)
}
