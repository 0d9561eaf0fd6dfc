package web

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"endshake/schedule"
)

// Album is where the pictures of entries are kept.
type Album interface {
	// Pictures are those of a clock, without what they show.
	Pictures(ctx context.Context, clock string) ([]schedule.Picture, error)
	// Picture finds one; a *schedule.Error with NotFound where there is none.
	Picture(ctx context.Context, id string) (schedule.Picture, error)
}

// pictureLine is a picture as a page shows it.
type pictureLine struct {
	Link, Small, Words string
	Width, Height      int // of the small one
}

// pictures are those of a clock, by the entry that they belong to.
func (s *server) pictures(ctx context.Context, clock string) (map[string][]pictureLine, error) {
	if s.Album == nil {
		return nil, nil
	}
	if !s.answers() {
		return nil, nil
	}
	all, err := s.Album.Pictures(ctx, clock)
	if s.onlyPassing(err) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	by := map[string][]pictureLine{}
	for _, p := range all {
		l := pictureLine{Link: "/picture/" + url.PathEscape(p.ID), Words: p.Words}
		l.Small = l.Link + "/small"
		l.Width, l.Height = p.Width, p.Height
		if longer := max(p.Width, p.Height); longer > smallSide {
			l.Width, l.Height = max(1, p.Width*smallSide/longer), max(1, p.Height*smallSide/longer)
		}
		by[p.Entry] = append(by[p.Entry], l)
	}
	return by, nil
}

func (s *server) picture(w http.ResponseWriter, r *http.Request) {
	s.showPicture(w, r, func(p schedule.Picture) []byte { return p.JPEG })
}

func (s *server) smallPicture(w http.ResponseWriter, r *http.Request) {
	s.showPicture(w, r, func(p schedule.Picture) []byte { return p.Small })
}

// showPicture answers with a picture to whoever may see its clock; to others
// there is none.
func (s *server) showPicture(w http.ResponseWriter, r *http.Request, which func(schedule.Picture) []byte) {
	snap, ok := s.whole(w, r)
	if !ok {
		return
	}
	if s.Album == nil {
		s.nowhere(w, r)
		return
	}
	p, err := s.Album.Picture(r.Context(), r.PathValue("id"))
	if err == nil {
		err = snap.Fleet.Allow(by(r), schedule.SeeClock, p.Clock)
	}
	switch {
	case schedule.CodeOf(err) == schedule.NotFound:
		s.nowhere(w, r)
		return
	case err != nil:
		s.failed(w, r, err)
		return
	}
	data := which(p)
	h := w.Header()
	// Whoever may look no more is asked about it each time.
	sum := sha256.Sum256(data)
	tag := `"` + hex.EncodeToString(sum[:12]) + `"`
	h.Set("Cache-Control", "private, no-cache")
	h.Set("ETag", tag)
	// A browser that shows a picture alone fits it to its window by a style of its
	// own. It is said of what is kept as well, whose heads a 304 takes the place of.
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src 'self'; frame-ancestors 'none'")
	if tagged(r.Header.Get("If-None-Match"), tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	h.Set("Content-Type", "image/jpeg")
	h.Set("Content-Length", strconv.Itoa(len(data)))
	if r.Method != http.MethodHead {
		_, _ = w.Write(data) // the reader has gone: nobody is left to tell
	}
}

// readParts reads a form with pictures: its values, and the pictures as sent.
func readParts(r *http.Request) (values url.Values, raw [][]byte, err error) {
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, nil, err
	}
	values = url.Values{}
	left := int64(mostBody)
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return values, raw, nil
		}
		if err != nil {
			return nil, nil, err
		}
		most := left
		picture := part.FormName() == "picture"
		if picture {
			most = mostRaw
		}
		data, err := io.ReadAll(io.LimitReader(part, most+1))
		switch {
		case err != nil:
			return nil, nil, err
		case picture && len(data) == 0: // none was chosen
		case picture && len(raw) == mostPictures:
			return nil, nil, fmt.Errorf("%w: there are more than %d pictures", errPicture, mostPictures)
		case picture && int64(len(data)) > most:
			return nil, nil, fmt.Errorf("%w: picture %d is larger than %d MB", errPicture, len(raw)+1, mostRaw>>20)
		case picture:
			raw = append(raw, data)
		case int64(len(data)) > most:
			return nil, nil, &http.MaxBytesError{Limit: mostBody}
		default:
			values.Add(part.FormName(), string(data))
			left -= int64(len(data) + len(part.FormName()))
		}
	}
}

// errPicture is what is wrong with the pictures of a form.
var errPicture = errors.New("too much to be taken in at once")

// longestTurn is how long a form with pictures waits for those of others: about
// as long as they can take (judgement, no source).
const longestTurn = time.Minute

// errBusy is told to whoever would wait too long for the pictures of others.
var errBusy = errors.New("the pictures of others are being taken in")

// shrinkAll makes the pictures of a reader into what is kept, one at a time over
// all readers: a large one takes much memory. A fault names the picture.
func (s *server) shrinkAll(r *http.Request, raw [][]byte) ([]schedule.Picture, []fault, error) {
	if len(raw) == 0 {
		return nil, nil, nil
	}
	wait, cancel := context.WithTimeout(r.Context(), longestTurn)
	defer cancel()
	done, err := s.shrinking.take(wait, cmp.Or(by(r).Person, s.from(r)))
	if err != nil {
		return nil, nil, errBusy
	}
	defer done()
	var out []schedule.Picture
	for i, data := range raw {
		p, err := shrink(r.Context(), data)
		if err != nil {
			return nil, []fault{{"picture", sentence(fmt.Sprintf("picture %d %v", i+1, err))}}, nil
		}
		out = append(out, p)
	}
	return out, nil, nil
}

// pictureField asks for pictures, where they can be kept.
func (f entryForm) pictureField() []field {
	if !f.shows {
		return nil
	}
	q := field{Name: "picture", Label: "Pictures", Input: "file", Hint: "Up to three. They are made smaller, and where they were taken is cut out of them."}
	return []field{q}
}

// lost says that the pictures of a refused form must be chosen again: a browser
// sends them once, and they are not kept. Empty: there were none.
func (f entryForm) lost(faults []fault) string {
	if len(f.raw) == 0 || len(faults) == 0 {
		return ""
	}
	return "Choose the " + map[bool]string{true: "picture", false: strconv.Itoa(len(f.raw)) + " pictures"}[len(f.raw) == 1] + " again: a form that is refused does not keep pictures."
}
