package schedule

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Travel tells how long the way is from one place to another.
type Travel struct {
	// Speed on the way in km/h, over a distance that is the one as the crow flies
	// times detour, where Matrix says nothing; 0: usualSpeed.
	Speed  float64
	Matrix map[[2]string]Trip // by Site.Slug, a person's home as "home/" and their slug
}

// Trip is a way between two places.
type Trip struct {
	Minutes float64
	Km      float64 // 0: not known
}

const (
	// detour is how much longer roads are than the crow flies: 1.2 to 1.5 in most
	// countries (Ballou, Rahardja and Sakai, Transportation Research Part A 36, 2002,
	// from memory).
	detour = 1.3
	// usualSpeed is the speed between sites in km/h where nobody states one, towns and
	// parking counted in (judgement, no source).
	usualSpeed = 50.0
	// unknownWay is how many minutes a way takes of which nothing is known
	// (judgement, no source).
	unknownWay = 30.0
)

// speed is the stated speed, or the usual.
func (t Travel) speed() float64 {
	if t.Speed > 0 {
		return t.Speed
	}
	return usualSpeed
}

// HomeOf is what a person's home is called in a file of ways.
func HomeOf(person string) string { return homes + person }

const homes = "home/"

// spot is a place with what is known of where it lies.
type spot struct {
	name string // as [Travel.Matrix] has it
	at   *Where
	near bool // a home that nobody described: on the spot, wherever the day begins
}

// way is how one gets from a place to another; known is false where nothing
// tells.
func (t Travel) way(from, to spot) (trip Trip, known bool) {
	if from.name == to.name {
		return Trip{}, true
	}
	if trip, ok := t.Matrix[[2]string{from.name, to.name}]; ok {
		return trip, true
	}
	switch {
	case from.near || to.near:
		return Trip{}, true
	case from.at == nil || to.at == nil:
		return Trip{Minutes: unknownWay}, false
	}
	km := detour * from.at.Km(*to.at)
	return Trip{Minutes: 60 * km / t.speed(), Km: km}, true
}

// Bounds of what a file of ways may hold.
const (
	mostWays    = 1_000_000
	mostMinutes = 7 * 24 * 60
	mostBytes   = 64 << 20
	mostKm      = 20_004 // half way round the Earth, along a meridian
)

// ParseTravel reads a file of ways: lines of from, to, minutes and, where it is
// known, km, separated by commas, with or without a heading. A place is the short
// name of a site, or "home/" and the short name of a person. A way that is given in
// one direction alone is as long in the other.
func ParseTravel(r io.Reader) (map[[2]string]Trip, error) {
	limited := &io.LimitedReader{R: r, N: mostBytes}
	in := csv.NewReader(limited)
	in.FieldsPerRecord, in.TrimLeadingSpace, in.Comment = -1, true, '#'
	given := map[[2]string]Trip{}
	lines := map[[2]string]int{}
	for first := true; ; first = false {
		row, err := in.Read()
		if limited.N == 0 {
			return nil, fmt.Errorf("the file is longer than %d MB: leave out ways between places that are never visited on one day", mostBytes>>20)
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, unreadable(err)
		}
		line, _ := in.FieldPos(0)
		if first {
			row[0] = strings.TrimPrefix(row[0], "\ufeff")
			if heading(row) {
				continue
			}
		}
		way, trip, err := travelRow(row)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		if was, twice := lines[way]; twice {
			return nil, fmt.Errorf("line %d: the way from %s to %s stands on line %d already: leave one of the two out", line, way[0], way[1], was)
		}
		if len(given) == mostWays {
			return nil, fmt.Errorf("line %d: there are more than %s: leave out ways between places that are never visited on one day", line, Count(mostWays, "way", "ways"))
		}
		given[way], lines[way] = trip, line
	}
	if len(given) == 0 {
		return nil, errors.New("the file holds no way: write lines of from,to,minutes, like corn-hall,moot-hall,25")
	}
	for way := range lines {
		back := [2]string{way[1], way[0]}
		if _, ok := lines[back]; !ok {
			given[back] = given[way]
		}
	}
	return given, nil
}

// unreadable says what is wrong with a file that is not lines of values.
func unreadable(err error) error {
	var at *csv.ParseError
	if errors.As(err, &at) {
		return fmt.Errorf("line %d: it is not values separated by commas (%v): put a value that holds a quote or a comma between quotes, and double the quotes in it", at.Line, at.Err)
	}
	return fmt.Errorf("the file cannot be read: %w", err)
}

// heading reports whether a row names the columns.
func heading(row []string) bool {
	return len(row) >= 3 && strings.EqualFold(strings.TrimSpace(row[0]), "from") && strings.EqualFold(strings.TrimSpace(row[2]), "minutes")
}

// travelRow reads one line.
func travelRow(row []string) (way [2]string, trip Trip, err error) {
	if len(row) < 3 || len(row) > 4 {
		return way, trip, fmt.Errorf("it has %s, and a way has 3 or 4: from,to,minutes and perhaps km", Count(len(row), "value", "values"))
	}
	for i := range way {
		if way[i] = strings.TrimSpace(row[i]); !isPlace(way[i]) {
			return way, trip, fmt.Errorf("%q is not a place: write the short name of a site, or home/ and the short name of a person", clipped(way[i]))
		}
	}
	if way[0] == way[1] {
		return way, trip, fmt.Errorf("the way leads from %s to itself: leave the line out", way[0])
	}
	if trip.Minutes, err = positive(row[2], "minutes", mostMinutes); err != nil {
		return way, trip, err
	}
	if len(row) == 4 && strings.TrimSpace(row[3]) != "" {
		if trip.Km, err = positive(row[3], "km", mostKm); err != nil {
			return way, trip, err
		}
	}
	return way, trip, nil
}

// isPlace reports whether a name could be a site's or a home's.
func isPlace(name string) bool {
	return checkSlug("", strings.TrimPrefix(name, homes)) == nil
}

// positive reads a number from 0 to the most it can be.
func positive(s, what string, most float64) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(v) || v < 0 || v > most {
		return 0, fmt.Errorf("%s %q: write a number from 0 to %s, with a point for decimals", what, clipped(s), Thousands(most))
	}
	return cmp.Or(v, 0), nil // and no -0
}
