package export

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"
	"io"
	"time"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// Kept is what is written.
type Kept struct {
	Program string // and its version
	At      time.Time
	Whole   bool
	Fleet   schedule.Fleet
	// Declined, Erased, Lessons and Rounds are of the whole fleet; a part has none.
	Declined []schedule.Decline
	Erased   []schedule.Erasure
	Lessons  []schedule.Learned
	Rounds   []schedule.RoundMark
}

// Logs is where the logs and the pictures of clocks are.
type Logs interface {
	// Entries is the whole log of a clock, corrected entries too, oldest first.
	Entries(ctx context.Context, clock string) ([]schedule.Entry, error)
	// Pictures are those of a clock, oldest first, without what they show.
	Pictures(ctx context.Context, clock string) ([]schedule.Picture, error)
	// Picture is one with what it shows.
	Picture(ctx context.Context, id string) (schedule.Picture, error)
}

// writer writes lines, counts them and adds them up.
type writer struct {
	enc    *json.Encoder
	sum    hash.Hash
	counts map[string]int
}

// Write writes an export file. next, where it is not nil, is called before each
// clock's log. A file of which Write gives an error has no foot.
func Write(ctx context.Context, out io.Writer, k Kept, logs Logs, next func()) (Foot, error) {
	w := &writer{sum: sha256.New(), counts: map[string]int{}}
	w.writeTo(out)
	if err := w.fleet(k, io.MultiWriter(out, w.sum)); err != nil {
		return Foot{}, err
	}
	for _, c := range k.Fleet.Clocks {
		if next != nil {
			next()
		}
		if err := w.log(ctx, c.Slug, logs); err != nil {
			return Foot{}, err
		}
	}
	foot := Foot{Counts: w.counts, SHA256: hex.EncodeToString(w.sum.Sum(nil))}
	w.writeTo(out)
	return foot, w.line("foot", Line{Foot: &foot})
}

func (w *writer) writeTo(out io.Writer) {
	w.enc = json.NewEncoder(out)
	w.enc.SetEscapeHTML(false)
}

// line writes a line of a kind.
func (w *writer) line(kind string, l Line) error {
	if kind != "head" && kind != "foot" {
		w.counts[kind]++
	}
	if err := w.enc.Encode(l); err != nil {
		return fmt.Errorf("write the export: %w", err)
	}
	return nil
}

// described are the parts of a fleet file.
type described struct {
	Sites  []json.RawMessage `json:"sites"`
	People []json.RawMessage `json:"people"`
	Clocks []json.RawMessage `json:"clocks"`
}

// fleet writes all that stands before the logs: the head, and to where it is summed
// up from there on, the rest.
func (w *writer) fleet(k Kept, summed io.Writer) error {
	text, err := schedule.FormatFleet(k.Fleet)
	var parts described
	if err == nil {
		err = json.Unmarshal(text, &parts)
	}
	if err != nil {
		return fmt.Errorf("write the fleet: %w", err)
	}
	head := Head{Format: Format, Program: k.Program, At: k.At.UTC().Truncate(time.Second), Whole: k.Whole,
		Counts: map[string]int{"site": len(parts.Sites), "person": len(parts.People), "clock": len(parts.Clocks)}}
	if err := w.line("head", Line{Head: &head}); err != nil {
		return err
	}
	w.writeTo(summed)
	for _, x := range parts.Sites {
		if err := w.line("site", Line{Site: tight(x)}); err != nil {
			return err
		}
	}
	for _, x := range parts.People {
		if err := w.line("person", Line{Person: tight(x)}); err != nil {
			return err
		}
	}
	for _, x := range parts.Clocks {
		if err := w.line("clock", Line{Clock: tight(x)}); err != nil {
			return err
		}
	}
	return w.beside(k)
}

// beside writes what stands between the fleet and the logs.
func (w *writer) beside(k Kept) error {
	for _, d := range k.Declined {
		if err := w.line("declined", Line{Declined: &Declined{d.Person, d.Kind, d.At.UTC()}}); err != nil {
			return err
		}
	}
	for _, e := range k.Erased {
		if err := w.line("erased", Line{Erased: &Erased{e.Number, e.At.UTC()}}); err != nil {
			return err
		}
	}
	for _, l := range k.Lessons {
		if err := w.line("lesson", Line{Lesson: &Lesson{l.Version, l}}); err != nil {
			return err
		}
	}
	for _, m := range k.Rounds {
		if err := w.line("round", Line{Round: &Round{m.Kind, m.Site, m.Person, m.Day, m.Tasks, m.Why, m.By, m.At.UTC()}}); err != nil {
			return err
		}
	}
	return nil
}

// tight is JSON without the space between its parts.
func tight(text json.RawMessage) json.RawMessage {
	var b bytes.Buffer
	_ = json.Compact(&b, text) // it was just read
	return b.Bytes()
}

// log writes the entries and the pictures of a clock.
func (w *writer) log(ctx context.Context, clock string, logs Logs) error {
	list, err := logs.Entries(ctx, clock)
	if err != nil {
		return err
	}
	for _, e := range list {
		if err := w.line("entry", Line{Entry: &Entry{api.NewEntry(e, nil), e.Key}}); err != nil {
			return err
		}
	}
	pictures, err := logs.Pictures(ctx, clock)
	if err != nil {
		return err
	}
	for _, p := range pictures {
		if p, err = logs.Picture(ctx, p.ID); err != nil {
			return err
		}
		err = w.line("picture", Line{Picture: &Picture{ID: p.ID, Entry: p.Entry, Clock: p.Clock, At: p.At.UTC(), Words: p.Words,
			Width: p.Width, Height: p.Height, JPEG: p.JPEG, Small: p.Small}})
		if err != nil {
			return err
		}
	}
	return nil
}
