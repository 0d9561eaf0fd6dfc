package trend

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
)

const head = "point,group,hours,value\n"

// files are bad input and good input side by side. want is the whole sentence;
// empty: the file is taken.
var files = []struct {
	name, csv, want string
	o               Options
}{
	{"plain", head + "a,g,0,0.1\na,g,100,0.2\n", "", Options{}},
	{"hours backwards", head + "a,g,200,0.1\na,g,100,0.2\n",
		`fleet.csv: line 3, column 5: hours "100" run backwards from 200 on line 2: put the point's rows in order, and give what is another point another name`, Options{}},
	{"by turns, each forwards", head + "a,g,200,0.1\nb,g,100,0.2\na,g,300,0.2\n", "", Options{}},
	{"a row twice", head + "a,g,100,0.1\nb,g,100,0.1\na,g,100,0.10\n",
		`fleet.csv: line 4, column 1: the row says again what line 2 says of point "a", with the same hours and value: leave one out`, Options{}},
	{"two readings at once", head + "a,g,100,0.1\na,g,100,0.12\n", "", Options{}},
	{"a known start twice", head + "a,g,0,0\na,g,0,0\n",
		`fleet.csv: line 3, column 1: the row says again what line 2 says of point "a", with the same hours and value: leave one out`, Options{KnownStart: true}},
	{"a repair twice", "point,group,hours,value,event\na,g,1,,repaired\na,g,1,,repaired\n",
		`fleet.csv: line 3, column 1: the row says again what line 2 says of point "a", with the same hours and value: leave one out`, Options{}},
	{"the same before and after a repair", "point,group,hours,value,event\na,g,1,0.1,\na,g,1,0.1,repaired\n", "", Options{}},
	{"two groups", head + "a,g,100,0.1\na,h,200,0.2\n",
		`fleet.csv: line 3, column 3: group "h" is another group than "g", where point "a" was on line 2: a point has one group`, Options{}},
	{"empty file", "", `fleet.csv: line 1, column 1: the file is empty: the first line must name point,group,hours,value and may name sd,event`, Options{}},
	{"only a mark", "\ufeff", `fleet.csv: line 1, column 1: the file is empty: the first line must name point,group,hours,value and may name sd,event`, Options{}},
	{"header only", head, `fleet.csv: line 2, column 1: no row follows the header: add readings, a row each`, Options{}},
	{"no header", "a,g,100,0.1\n", `fleet.csv: line 1, column 1: column "a" is not known: the first line must name point,group,hours,value and may name sd,event`, Options{}},
	{"missing column", "point,group,value\na,g,0.1\n",
		`fleet.csv: line 1, column 1: there is no column hours: the first line must name point,group,hours,value and may name sd,event`, Options{}},
	{"unknown column", "point,group,hours,value,clock\na,g,1,0.1,x\n",
		`fleet.csv: line 1, column 25: column "clock" is not known: the first line must name point,group,hours,value and may name sd,event`, Options{}},
	{"column twice", "point,group,hours,value,Hours\n", `fleet.csv: line 1, column 25: column hours stands there twice: leave one out`, Options{}},
	{"any order, any case, a mark and a note", "\ufeff# from the notebook\nVALUE,Hours, Point ,group\n0.1,100,a,g\n", "", Options{}},
	{"line ends of another system", "point,group,hours,value\r\na,g,100,0.1\r\n", "", Options{}},
	{"decimal comma", head + "a,g,100,\"0,42\"\n", `fleet.csv: line 2, column 9: value "0,42" has a comma: write a decimal point, and no thousands marks`, Options{}},
	{"thousands", head + "a,g,\"1,200\",0.42\n", `fleet.csv: line 2, column 5: hours "1,200" has a comma: write a decimal point, and no thousands marks`, Options{}},
	{"decimal comma unquoted", head + "a,g,100,0,42\n",
		`fleet.csv: line 2, column 1: the row has 5 cells where the header has 4: a decimal comma makes two cells of one, so write a point`, Options{}},
	{"semicolons", "point;group;hours;value\na;g;100;0,42\n",
		`fleet.csv: line 1, column 1: the cells are parted by semicolons or tabs: part them by commas, and write figures with a decimal point`, Options{}},
	{"the unit", head + "a,g,100,0.42 mm\n", "", Options{}},
	{"the unit spelt otherwise", head + "a,g,100,420 µm\n", "", Options{Unit: "um"}},
	{"another unit", head + "a,g,100,0.42 mm\na,g,200,12 thou\n", `fleet.csv: line 3, column 9: value "12 thou" is not in mm as the others are: convert it`, Options{}},
	{"a unit for hours", head + "a,g,100 h,0.42\n", `fleet.csv: line 2, column 5: hours "100 h" is not a plain number: write it like 0.42`, Options{}},
	{"NUL in a name", head + "a\x00,g,100,0.42\n", `fleet.csv: line 2, column 1: point "a\x00" has a character that does not print: take it out`, Options{}},
	{"NUL in a figure", head + "a,g,100,0.4\x002\n", `fleet.csv: line 2, column 9: value "0.4\x002" has a character that does not print: take it out`, Options{}},
	{"not UTF-8", head + "caf\xe9,g,100,0.42\n", `fleet.csv: line 2, column 1: point "caf\xe9" is not UTF-8: save the file as CSV in UTF-8`, Options{}},
	{"UTF-16", "\xff\xfep\x00o\x00", `fleet.csv: line 1, column 1: the file is UTF-16: save it as CSV in UTF-8`, Options{}},
	{"letters of other tongues", head + "Kirche/Größe,тест,100,0.42\n", "", Options{}},
	{"NaN", head + "a,g,100,NaN\n", `fleet.csv: line 2, column 9: value "NaN" is not a number: write it like 0.42`, Options{}},
	{"Inf", head + "a,g,Inf,0.1\n", `fleet.csv: line 2, column 5: hours "Inf" is not a plain number: write it like 0.42`, Options{}},
	{"hexadecimal", head + "a,g,100,0x1p2\n", `fleet.csv: line 2, column 9: value "0x1p2" is not a plain number: write it like 0.42`, Options{}},
	{"underscores", head + "a,g,1_000,0.1\n", `fleet.csv: line 2, column 5: hours "1_000" is not a plain number: write it like 0.42`, Options{}},
	{"exponent", head + "a,g,1e2,42e-2\n", "", Options{}},
	{"exponent beyond", head + "a,g,100,1e999\n", `fleet.csv: line 2, column 9: value "1e999" is not a plain number: write it like 0.42`, Options{}},
	{"exponent below", head + "a,g,100,1e-400\n", `fleet.csv: line 2, column 9: value "1e-400" is no size that can be measured: check its exponent`, Options{}},
	{"nothing in any spelling", head + "a,g,0e5,-0.00\n", "", Options{}},
	{"a metre and more", head + "a,g,100,1001\n", `fleet.csv: line 2, column 9: value "1001" is beyond 1000 mm: check the unit`, Options{}},
	{"the same as no length", head + "a,g,100,1001\n", "", Options{Plain: true, Unit: "dB"}},
	{"negative hours", head + "a,g,-1,0.1\n", `fleet.csv: line 2, column 5: hours "-1" are not from 0 to 1000000000: check them`, Options{}},
	{"no hours", head + "a,g,,0.1\n", `fleet.csv: line 2, column 5: hours is empty: fill it in`, Options{}},
	{"no value", head + "a,g,1,\n", `fleet.csv: line 2, column 7: value is empty: fill it in`, Options{}},
	{"no point", head + ",g,1,0.1\n", `fleet.csv: line 2, column 1: point is empty: fill it in`, Options{}},
	{"no group", head + "a,,1,0.1\na,,2,0.1\n", "", Options{}},
	{"negative sd", "point,group,hours,value,sd\na,g,1,0.1,-0.03\n", `fleet.csv: line 2, column 11: sd "-0.03" must be above nothing: leave it empty where it is not known`, Options{}},
	{"no sd", "point,group,hours,value,sd\na,g,1,0.1,\n", "", Options{}},
	{"unknown event", "event,point,group,hours,value\nbroken,a,g,1,0.1\n",
		`fleet.csv: line 2, column 1: event "broken" is not known: leave it empty, or write fitted or repaired`, Options{}},
	{"repaired without a size", "event,point,group,hours,value\nRepaired,a,g,1,\n", "", Options{}},
	{"long name", head + strings.Repeat("x", 201) + ",g,1,0.1\n",
		`fleet.csv: line 2, column 1: point "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"… is longer than 200 bytes: use a short name`, Options{}},
	{"long figure", head + "a,g,1,0." + strings.Repeat("1", 100) + "\n",
		`fleet.csv: line 2, column 7: value "0.11111111111111111111111111111111111111"… is not a plain number: write it like 0.42`, Options{}},
	{"endless row", head + "a,g,1,0.1\n" + strings.Repeat("y", 1<<20) + "\n",
		`fleet.csv: line 3, column 1: the row is longer than 64 KiB: is a quotation mark left open?`, Options{}},
	{"open quotation mark", head + "a,g,1,0.1\n\"b,g,1,0.1\n" + strings.Repeat("a,g,1,0.1\n", 1e5),
		`fleet.csv: line 3, column 1: the row is longer than 64 KiB: is a quotation mark left open?`, Options{}},
	{"stray quotation mark", head + "a\"b,g,1,0.1\n",
		`fleet.csv: line 2, column 2: a quotation mark stands alone: take it out, or put the whole cell in quotation marks and double it`, Options{}},
	{"out of proportion", head + "a,g,1,1\na,g,2,2\nb,g,1,1\nb,g,2,2\nc,g,1,1\nc,g,2,1e9\n",
		`fleet.csv: line 7, column 1: the row is out of all proportion to the others, more than 10000 times the usual: check it`, Options{Plain: true, Unit: "dB"}},
	{"limit of nothing", head, `--limit "0" must be above nothing`, Options{Limit: "0"}},
	{"limit below nothing", head, `--limit "-1 mm" must be above nothing`, Options{Limit: "-1 mm"}},
	{"limit in another unit", head, `--limit "1 dB" is not in mm as the others are: convert it`, Options{Limit: "1 dB"}},
	{"limit of words", head, `--limit "much" is not a number: write it like 0.42`, Options{Limit: "much"}},
	{"gauge of nothing", head, `--gauge "0.0" must be above nothing`, Options{Gauge: "0.0"}},
	{"unit unknown", head, `--unit "dB" is not a length: use mm, um, in or thou, or --no-physics for another quantity`, Options{Unit: "dB"}},
	{"unit that is no word", head, `--unit "d\nB" is not a word that can stand after a figure: use a short one, like dB`, Options{Unit: "d\nB", Plain: true}},
	{"forecast of the past", head, `--at -1 must be hours from 0 to 1000000000`, Options{At: []float64{-1}}},
	{"one fold", head, `--folds 1 must be from 2 to 100`, Options{TrackRecord: true, Folds: 1}},
}

func TestRefusals(t *testing.T) {
	for _, tt := range files {
		t.Run(tt.name, func(t *testing.T) {
			tt.o.Name = "fleet.csv"
			if tt.o.Unit == "" {
				tt.o.Unit = "mm"
			}
			r, err := Run(context.Background(), iotest.HalfReader(strings.NewReader(tt.csv)), tt.o)
			switch {
			case tt.want == "" && err != nil:
				t.Errorf("refused: %v", err)
			case tt.want != "" && (err == nil || err.Error() != tt.want || r != nil):
				t.Errorf("got  %v\nwant %s", err, tt.want)
			}
		})
	}
}

// A file that cannot be read to its end, and a person who stops waiting.
func TestReadFails(t *testing.T) {
	broken := errors.New("the disk is gone")
	_, err := Run(context.Background(), io.MultiReader(strings.NewReader(head+"a,g,1,0.1\n"), iotest.ErrReader(broken)), Options{Name: "fleet.csv", Unit: "mm"})
	if !errors.Is(err, broken) || !strings.Contains(err.Error(), "fleet.csv") {
		t.Errorf("%v, want the reader's own error and the file's name", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Run(ctx, strings.NewReader(fleet(t)), Options{Name: "fleet.csv", Unit: "mm"}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v, want %v", err, context.Canceled)
	}
}

// FuzzRead: whatever a file holds, it is answered or refused with its name; the
// figures of an answer are real or null, and its points are those of the file.
func FuzzRead(f *testing.F) {
	for _, s := range []string{
		head + "a,g,0,0.1\na,g,100,0.2\nb,h,5,0.3 mm\n",
		"\ufeff# note\r\nValue,hours,POINT,group,sd,event\r\n0.1,0,a,g,,fitted\r\n,5,a,g,,repaired\r\n0.2,6,a,g,0.01,\r\n",
		head + "\"a\"\"b\",g,1e2,\"0,42\"\n", "point;group;hours;value\na;g;1;2\n", head + "a\x00,g,1,2\n", "\xff\xfe", head + "\"a",
		head + "a,g,200,1\na,g,100,1\n", head + "a,g,1,1\na,g,1,1\n", head + "a,g,1e308,1\n", head + "a,g,1,1e-13\n", head + "a,g,1,-5\na,g,2,-9\n",
	} {
		f.Add(s, false, false)
		f.Add(s, true, true)
	}
	f.Fuzz(func(t *testing.T, csv string, plain, start bool) {
		if len(csv) > 4000 {
			return // nothing new comes of it
		}
		o := Options{Name: "fleet.csv", Unit: "mm", Limit: "0.5", Plain: plain, KnownStart: start, At: []float64{1000}}
		r, err := Run(context.Background(), strings.NewReader(csv), o)
		if err != nil {
			if !strings.HasPrefix(err.Error(), "fleet.csv: line ") || strings.ContainsAny(err.Error(), "\n\x00") {
				t.Fatalf("refused with %q, which is no sentence with file and line", err)
			}
			return
		}
		all := r.all(t)
		if len(all.Points) == 0 {
			t.Fatal("taken, but without a point")
		}
		if doc := asJSON(t, all); !json.Valid([]byte(doc)) {
			t.Errorf("no JSON: %s", doc)
		}
		asText(t, all)
		for _, p := range all.Points {
			if p.Level.Real() != p.LevelSD.Real() || !p.Rate.Real() || !(p.RateLow <= p.Rate && p.Rate <= p.RateHigh) {
				t.Errorf("level %v ± %v, rate %v from %v to %v", p.Level, p.LevelSD, p.Rate, p.RateLow, p.RateHigh)
			}
			if c := p.Crossing; c != nil && c.P10 > c.P90 {
				t.Errorf("crosses with 10 %% at %v, with 90 %% at %v", c.P10, c.P90)
			}
		}
	})
}
