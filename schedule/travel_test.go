package schedule

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"strings"
	"testing"
)

// A file of ways: with a heading or not, both ways as given or as long back.
func TestParseTravel(t *testing.T) {
	in := "\ufefffrom,to,minutes,km\n# the ferry\ncorn-hall, moot-hall ,25,18.5\nmoot-hall,corn-hall,40\nhome/ann,corn-hall,12.5\n"
	got, err := ParseTravel(strings.NewReader(in))
	if err != nil {
		t.Fatal(err)
	}
	want := map[[2]string]Trip{
		{"corn-hall", "moot-hall"}: {25, 18.5}, {"moot-hall", "corn-hall"}: {40, 0},
		{"home/ann", "corn-hall"}: {12.5, 0}, {"corn-hall", "home/ann"}: {12.5, 0},
	}
	if len(got) != len(want) {
		t.Fatalf("%v", got)
	}
	for way, trip := range want {
		if got[way] != trip {
			t.Errorf("%v: %v, want %v", way, got[way], trip)
		}
	}
	if got, err := ParseTravel(strings.NewReader("a,b,0\n")); err != nil || len(got) != 2 {
		t.Errorf("%v, %v", got, err)
	}
}

// What is hostile or mistaken is refused with its line.
func TestParseTravelRefuses(t *testing.T) {
	for _, tt := range []struct{ in, want string }{
		{"", "holds no way"},
		{"from,to,minutes\n", "holds no way"},
		{"a,b\n", "line 1: it has 2 values"},
		{"a,b,3,4,5\n", "line 1: it has 5 values"},
		{"from,to,minutes\na,b,x\n", `line 2: minutes "x"`},
		{"a,b,NaN\n", "line 1: minutes"},
		{"a,b,-1\n", "line 1: minutes"},
		{"a,b,Inf\n", "line 1: minutes"},
		{"a,b,1e9\n", "from 0 to 10,080"},
		{"a,b,5,1e9\n", `line 1: km "1e9"`},
		{"a,b,5\n\na,b,6\n", "line 3: the way from a to b stands on line 1 already"},
		{"a,a,5\n", "leads from a to itself"},
		{"A Place,b,5\n", `line 1: "A Place" is not a place`},
		{"home/,b,5\n", `"home/" is not a place`},
		{"../x,b,5\n", "is not a place"},
		{strings.Repeat("x", 5000) + ",b,5\n", "..."},
		{"a,\"b\x00\",5\n", "is not a place"},
		{"a,\"b,5\n", "line 1: it is not values separated by commas"},
	} {
		got, err := ParseTravel(strings.NewReader(tt.in))
		if err == nil || got != nil || !strings.Contains(err.Error(), tt.want) || len(err.Error()) > 400 {
			t.Errorf("%.40q: %v, want %q", tt.in, err, tt.want)
		}
	}
}

// A file without end is not read to its end.
func TestParseTravelWithoutEnd(t *testing.T) {
	if _, err := ParseTravel(endless{}); err == nil || !strings.Contains(err.Error(), "longer than 64 MB") {
		t.Error(err)
	}
}

type endless struct{}

func (endless) Read(b []byte) (int, error) { return copy(b, bytes.Repeat([]byte("x"), len(b))), nil }

// Ways as the crow flies: a degree of latitude is 111.195 km on a ball of the
// Earth's mean radius of 6371.0088 km (by hand: its girth through the poles by 360),
// so 144.55 km by road at 1.3, and 2 h 10 at 66.7 km/h.
func TestWay(t *testing.T) {
	here, there := spot{name: "here", at: &Where{51, -1}}, spot{name: "there", at: &Where{52, -1}}
	nowhere, home := spot{name: "nowhere"}, spot{name: "home/ann", near: true}
	got, known := Travel{Speed: 66.7}.way(here, there)
	if !known || math.Abs(got.Km-144.55) > .01 || math.Abs(got.Minutes-130.03) > .01 {
		t.Errorf("%v %v", got, known)
	}
	if usual, _ := (Travel{}).way(here, there); math.Abs(usual.Minutes-60*usual.Km/50) > 1e-9 {
		t.Errorf("%v at the usual speed", usual)
	}
	if got, known := (Travel{}).way(here, nowhere); known || got != (Trip{Minutes: 30}) {
		t.Errorf("%v %v", got, known)
	}
	if got, known := (Travel{}).way(home, nowhere); !known || got != (Trip{}) {
		t.Errorf("a day that begins where the first site is: %v %v", got, known)
	}
	m := Travel{Matrix: map[[2]string]Trip{{"home/ann", "nowhere"}: {7, 3}}}
	if got, known := m.way(home, nowhere); !known || got != (Trip{7, 3}) {
		t.Errorf("%v %v", got, known)
	}
}

func FuzzParseTravel(f *testing.F) {
	for _, s := range []string{"", "from,to,minutes\na,b,5\n", "a,b,5,3\nb,a,6\n", "home/ann,b,1e3\n", "a,\"b\n\",5\n", "#x\n\n\"\"\n", "a,b,0x1p-2\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, in string) {
		got, err := ParseTravel(strings.NewReader(in))
		if err != nil {
			if got != nil {
				t.Fatal("both ways and an error")
			}
			return
		}
		var out strings.Builder
		w := csv.NewWriter(&out)
		for way, trip := range got {
			if _, back := got[[2]string{way[1], way[0]}]; !back || !(trip.Minutes >= 0 && trip.Minutes <= mostMinutes) || !(trip.Km >= 0 && trip.Km <= mostKm) {
				t.Fatalf("%v: %v", way, trip)
			}
			w.Write([]string{way[0], way[1], fmt.Sprint(trip.Minutes), fmt.Sprint(trip.Km)})
		}
		w.Flush()
		again, err := ParseTravel(strings.NewReader(out.String()))
		if err != nil || len(again) != len(got) {
			t.Fatalf("written and read again: %v", err)
		}
		for way, trip := range got {
			if again[way] != trip {
				t.Fatalf("%v: %v, then %v", way, trip, again[way])
			}
		}
	})
}
