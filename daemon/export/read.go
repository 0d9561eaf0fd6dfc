package export

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"endshake/schedule"
	"endshake/wear"
)

// Into is where what is read goes. What it gives as an error ends the reading.
type Into interface {
	// Fleet comes first, before anything else and once.
	Fleet(schedule.Fleet) error
	Declined(schedule.Decline) error
	// Erased has no short name: the file does not tell it.
	Erased(schedule.Erasure) error
	Lesson(schedule.Learned) error
	RoundMark(schedule.RoundMark) error
	Entry(schedule.Entry) error
	Picture(schedule.Picture) error
}

// longest is the longest line that is read: of a picture as large as one that is
// kept, in base64 (a third more).
const longest = 16 << 20

// deepest is how deep JSON may be nested: a clock with all that it can have comes
// to half of it.
const deepest = 24

// reader reads an export file line by line.
type reader struct {
	in     *bufio.Reader
	n      int // of the line
	sum    hash.Hash
	counts map[string]int
	last   int // kind of the line before, as in Kinds
	head   Head
	parts  described
	given  bool // the fleet was given on
	into   Into
}

// Read reads an export file and gives on what it holds. Nothing may be kept of it
// where Read gives an error: that the file is whole is known at its end alone. Its
// errors name the line, and are one sentence.
func Read(in io.Reader, into Into) (Head, Foot, error) {
	r := &reader{in: bufio.NewReaderSize(in, 64<<10), sum: sha256.New(), counts: map[string]int{}, into: into}
	for {
		text, err := r.next()
		if err != nil {
			return r.head, Foot{}, err
		}
		var l Line
		kind, err := lineOf(text, &l)
		if err == nil {
			err = r.take(kind, l)
		}
		if err != nil {
			return r.head, Foot{}, fmt.Errorf("line %d of the export file: %w", r.n, err)
		}
		if l.Foot != nil {
			if _, err := r.in.ReadByte(); !errors.Is(err, io.EOF) {
				return r.head, Foot{}, fmt.Errorf("line %d of the export file is its last, and something comes after it: take the file as it was written", r.n)
			}
			return r.head, *l.Foot, nil
		}
		if l.Head == nil {
			r.sum.Write(text)
		}
	}
}

// next is the next line with its end.
func (r *reader) next() ([]byte, error) {
	r.n++
	var line []byte
	for {
		part, err := r.in.ReadSlice('\n')
		line = append(line, part...)
		switch {
		case len(line) > longest:
			return nil, fmt.Errorf("line %d of the export file is longer than %d MB: that is no line of it", r.n, longest>>20)
		case err == nil:
			return line, nil
		case errors.Is(err, bufio.ErrBufferFull):
		case errors.Is(err, io.EOF) && r.n == 1 && len(line) == 0:
			return nil, errors.New("the export file is empty: take one that endshake copy out has written")
		case errors.Is(err, io.EOF):
			return nil, fmt.Errorf("the export file ends at line %d, without its last line: it was cut, and must be taken anew", r.n)
		default:
			return nil, fmt.Errorf("read the export file: %w", err)
		}
	}
}

// lineOf reads one line, and tells its kind. What is not described is refused, and
// so is what is said twice.
func lineOf(text []byte, l *Line) (kind string, err error) {
	if !utf8.Valid(text) {
		return "", errors.New("it holds bytes that are not UTF-8: take the file as it was written")
	}
	if err := onceEach(text); err != nil {
		return "", err
	}
	var members map[string]json.RawMessage
	if err := json.Unmarshal(text, &members); err != nil {
		return "", fmt.Errorf("it is not one object in JSON (%w)", err)
	}
	if len(members) != 1 {
		return "", fmt.Errorf("it has %d members: one, whose name is the kind of the line, is what it must have", len(members))
	}
	for kind = range members {
	}
	if !slices.Contains(Kinds, kind) {
		return "", fmt.Errorf("%.40q is not a kind of line: see the list of them in EXPORTFILE.md", kind)
	}
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	if err := dec.Decode(l); err != nil {
		return "", fmt.Errorf("its %s cannot be read: %w", kind, err)
	}
	if bytes.Equal(members[kind], []byte("null")) {
		return "", fmt.Errorf("its %s is null", kind)
	}
	return kind, nil
}

// onceEach sees that no object names a member twice, in whatever case, and that
// nothing is nested deeper than a line can be.
func onceEach(text []byte) error {
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	type object struct {
		names map[string]bool // nil: a list
		value bool            // a value comes next, and no name
	}
	var open []object
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) && len(open) == 0 {
			return nil
		}
		if err != nil {
			return fmt.Errorf("it is not JSON (%w)", err)
		}
		if len(open) > 0 {
			in := &open[len(open)-1]
			if name, ok := tok.(string); ok && in.names != nil && !in.value {
				if low := strings.ToLower(name); in.names[low] {
					return fmt.Errorf("it says %.40q twice", name)
				} else {
					in.names[low] = true
				}
				in.value = true
				continue
			}
			in.value = false
		}
		switch tok {
		case json.Delim('{'):
			open = append(open, object{names: map[string]bool{}})
		case json.Delim('['):
			open = append(open, object{})
		case json.Delim('}'), json.Delim(']'):
			open = open[:len(open)-1]
		}
		if len(open) > deepest {
			return fmt.Errorf("it is nested more than %d deep", deepest)
		}
	}
}

// take gives on what a line holds. Kinds come in their order.
func (r *reader) take(kind string, l Line) error {
	if kind != "head" && kind != "foot" {
		r.counts[kind]++
	}
	at := slices.Index(Kinds, kind)
	switch {
	case (r.n == 1) != (kind == "head"):
		return errors.New("the head is the first line, and no other")
	case at < r.last && !(kind == "entry" && Kinds[r.last] == "picture"): // of the next clock
		return fmt.Errorf("a %s stands after a %s", kind, Kinds[r.last])
	}
	r.last = at
	switch kind {
	case "head":
		r.head = *l.Head
		return r.head.check()
	case "site":
		r.parts.Sites = append(r.parts.Sites, l.Site)
		return nil
	case "person":
		r.parts.People = append(r.parts.People, l.Person)
		return nil
	case "clock":
		r.parts.Clocks = append(r.parts.Clocks, l.Clock)
		return nil
	}
	if err := r.giveFleet(); err != nil {
		return err
	}
	return r.give(l)
}

// check refuses what this program cannot read, or is only a part.
func (h Head) check() error {
	switch {
	case h.Format != Format:
		return fmt.Errorf("it has format %d and this endshake reads %d: run the endshake that it was written with (%.40s), or a newer one", h.Format, Format, h.Program)
	case !h.Whole:
		return errors.New("the file is a part of a fleet, for one reader: only a whole one is copied in")
	case h.At.IsZero():
		return errors.New("the head does not say when it was written")
	}
	return nil
}

// giveFleet gives on what the file describes, once it is all there.
func (r *reader) giveFleet() error {
	if r.given {
		return nil
	}
	r.given = true
	for _, kind := range []string{"site", "person", "clock"} {
		if r.head.Counts[kind] != r.counts[kind] {
			return fmt.Errorf("the head counts %d lines of the kind %s, and there are %d", r.head.Counts[kind], kind, r.counts[kind])
		}
	}
	list := func(all []json.RawMessage) []json.RawMessage { return append([]json.RawMessage{}, all...) }
	text, err := json.Marshal(described{list(r.parts.Sites), list(r.parts.People), list(r.parts.Clocks)})
	if err != nil {
		return err
	}
	fleet, err := schedule.ParseFleet(text)
	if err != nil {
		return fmt.Errorf("the fleet before it cannot be taken: %w", err)
	}
	for i, raw := range r.parts.People { // a fleet file is given mm where it says none
		var said struct {
			Units wear.Unit `json:"units"`
		}
		if err := json.Unmarshal(raw, &said); err != nil {
			return err
		}
		fleet.People[i].Units = said.Units
	}
	return r.into.Fleet(fleet)
}

// give gives on a line that is not of the description.
func (r *reader) give(l Line) error {
	switch {
	case l.Declined != nil:
		return r.into.Declined(schedule.Decline{Person: l.Declined.Person, Kind: l.Declined.Letter, At: l.Declined.At})
	case l.Erased != nil:
		return r.into.Erased(schedule.Erasure{Number: l.Erased.Number, At: l.Erased.At})
	case l.Lesson != nil:
		if l.Lesson.Version != l.Lesson.Taught.Version {
			return errors.New("its lesson has two versions")
		}
		return r.into.Lesson(l.Lesson.Taught)
	case l.Round != nil:
		m := l.Round
		return r.into.RoundMark(schedule.RoundMark{Kind: m.Kind, Site: m.Site, Person: m.Person, Day: m.Day, Tasks: m.Tasks, Why: m.Why, By: m.By, At: m.At})
	case l.Entry != nil:
		if l.Entry.Corrected != nil {
			return errors.New("that an entry was corrected is said by the entry that replaces it: leave out corrected")
		}
		e, err := l.Entry.Stored()
		if err != nil {
			return err
		}
		e.Key = l.Entry.Key
		return r.into.Entry(e)
	case l.Picture != nil:
		p := l.Picture
		return r.into.Picture(schedule.Picture{ID: p.ID, Clock: p.Clock, Entry: p.Entry, At: p.At, Words: p.Words,
			Width: p.Width, Height: p.Height, JPEG: p.JPEG, Small: p.Small})
	}
	return r.foot(*l.Foot)
}

// foot compares what came with what the last line says.
func (r *reader) foot(f Foot) error {
	if got := hex.EncodeToString(r.sum.Sum(nil)); got != f.SHA256 {
		return fmt.Errorf("the lines before it have the SHA-256 %.12s, and it says %.12s: the file was changed or cut, and must be taken anew", got, f.SHA256)
	}
	if !maps.Equal(f.Counts, r.counts) {
		return fmt.Errorf("it counts %v, and there are %v", f.Counts, r.counts)
	}
	return nil
}
