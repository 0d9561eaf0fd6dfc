package trend

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

// answered is a report with its points, which otherwise are written one by one.
type answered struct {
	*Report
	Points []Point
}

func (r *Report) all(t testing.TB) answered {
	t.Helper()
	a := answered{Report: r}
	for _, p := range r.log.points {
		one, err := r.answer(p)
		if err != nil {
			t.Fatal(err)
		}
		a.Points = append(a.Points, one)
	}
	return a
}

// answer runs a file that must be taken.
func answer(t testing.TB, csv string, o Options) answered {
	t.Helper()
	o.Name = "fleet.csv"
	if o.Unit == "" {
		o.Unit = "mm"
	}
	if o.Folds == 0 {
		o.Folds = 4
	}
	r, err := Run(context.Background(), strings.NewReader(csv), o)
	if err != nil {
		t.Fatal(err)
	}
	return r.all(t)
}

// asJSON is the document as a program would read it.
func asJSON(t testing.TB, r answered) string {
	t.Helper()
	var b strings.Builder
	if err := r.WriteJSON(context.Background(), &b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func asText(t testing.TB, r answered) string {
	t.Helper()
	var b strings.Builder
	if err := r.WriteText(context.Background(), &b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// fleet is the invented fleet of the golden files: one point each that wears
// evenly, was misread, has changed, was repaired, is over, was read once, was
// not read since its repair.
func fleet(t testing.TB) string {
	t.Helper()
	b, err := os.ReadFile("testdata/fleet.csv")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestGolden(t *testing.T) {
	r := answer(t, fleet(t), Options{Limit: "0.8", At: []float64{40000, 60000}, TrackRecord: true})
	plain := answer(t, lasers.csv("laser", 2, false), Options{Unit: "%", Limit: "10 %", Plain: true, KnownStart: true})
	for name, got := range map[string]string{
		"fleet.json": asJSON(t, r), "fleet.txt": asText(t, r),
		"lasers.txt": asText(t, plain),
	} {
		file := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatalf("%v: write it with go test -update", err)
		}
		if !bytes.Equal([]byte(got), want) {
			t.Errorf("%s has changed; look at it, and if it is right run go test -update:\n%s", name, got)
		}
	}
}

// The names in the JSON are a promise to those who read it by program.
func TestJSONNames(t *testing.T) {
	var doc map[string]any
	csv := fleet(t)
	if err := json.Unmarshal([]byte(asJSON(t, answer(t, csv, Options{Limit: "0.8", At: []float64{4e4}, TrackRecord: true}))), &doc); err != nil {
		t.Fatal(err)
	}
	has := func(where string, m any, names string) map[string]any {
		t.Helper()
		o, ok := m.(map[string]any)
		if !ok {
			t.Fatalf("%s is %v, want an object", where, m)
		}
		for name := range strings.SplitSeq(names, " ") {
			if _, ok := o[name]; !ok {
				t.Errorf("%s has no %q", where, name)
			}
		}
		return o
	}
	has("the document", doc, "unit rate_unit note learned points track_record")
	points := doc["points"].([]any)
	if len(points) != 8 {
		t.Fatalf("%d points, want 8", len(points))
	}
	p := has("a point", points[0], "point group readings hours level level_sd rate rate_low rate_high exponent crossing at change doubtful next_measurement_hours")
	has("crossing", p["crossing"], "p10 p50 p90 already beyond_horizon")
	has("at", p["at"].([]any)[0], "hours mean q05 q10 q50 q90 q95")
	has("change", p["change"], "probability after_hours")
	doubtful := points[1].(map[string]any)["doubtful"].([]any)
	if len(doubtful) != 1 {
		t.Fatalf("the misread point has %d doubtful readings, want 1", len(doubtful))
	}
	if row := has("doubtful", doubtful[0], "row probability")["row"]; row != 9.0 {
		t.Errorf("the misread row is %v, want 9, its line in the file", row)
	}
	track := has("track_record", doc["track_record"], "next last")
	for _, of := range []string{"next", "last"} {
		v := has(of, track[of], "forecasts crps mae cover80 cover90 straight_line")
		has(of+".straight_line", v["straight_line"], "forecasts crps mae cover80 cover90")
	}
	if s := asJSON(t, answer(t, csv, Options{})); strings.Contains(s, "track_record") || !strings.Contains(s, `"crossing": null`) || !strings.Contains(s, `"next_measurement_hours": null`) {
		t.Error("without a limit and a track record there must be neither, and null for what hangs on the limit")
	}
}
