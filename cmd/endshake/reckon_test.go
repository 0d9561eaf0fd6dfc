package main

import (
	"encoding/json"
	"strings"
	"testing"

	"endshake/daemon/reckon"
)

// Bench arithmetic by command: no database, the answer as text or JSON, negative
// numbers and lengths without quotes read as they are meant.
func TestReckon(t *testing.T) {
	for _, c := range []struct {
		args string
		want string
	}{
		{"reckon", "  washer "},
		{"reckon --help", "Sheets of bench arithmetic"},
		{"reckon washer --help", "--end-shake  the end-shake now"},
		{"reckon washer -h", "For example:"},
		{"reckon washer --end-shake 1.15 mm --pocket 0.90 mm --facing 1.00 mm --washer 1.00 mm", "0.250 mm (9.84 thou)"},
		{"reckon pendulum --degree-rate -0.605", "14 millionths per °C"}, // clock pages of a Cambridge college
		{"reckon pendulum --expansion 11.3 --warmer -33 C", "+16.11 s/day (gains)"},
		{"reckon oil --at=-5 C", "Ageing beside that at 15 °C"},
		{"reckon strike --turns 36 --turn-blows 10", "2.308 days"}, // Beckett 1903, p. 197
		{"reckon thread --major 1/4 in --tpi 20 --form american", "(0.2013 in)"},
	} {
		status, stdout, stderr := program(t, strings.Fields(c.args)...)
		if status != 0 || !strings.Contains(stdout, c.want) || stderr != "" {
			t.Errorf("endshake %s: status %d, stderr %q; want %q in:\n%s", c.args, status, stderr, c.want, stdout)
		}
	}
	_, stdout, _ := program(t, "reckon", "mesh", "--json", "--teeth", "20", "--mate", "20", "--module", "2", "--shift", "1 mm")
	var a map[string]any
	if err := json.Unmarshal([]byte(stdout), &a); err != nil {
		t.Fatalf("%v: %s", err, stdout)
	}
	for _, key := range []string{"sheet", "title", "inputs", "results", "remarks", "caution"} {
		if _, ok := a[key]; !ok {
			t.Errorf("reckon --json has no %q", key)
		}
	}
	first := a["results"].([]any)[0].(map[string]any)
	for _, key := range []string{"key", "label", "value", "unit", "text", "formula", "source"} {
		if _, ok := first[key]; !ok {
			t.Errorf("a result has no %q: %v", key, first)
		}
	}
	for _, s := range reckon.Sheets {
		if status, out, _ := program(t, "reckon", s.Name, "--help"); status != 0 || !strings.Contains(out, s.Title) {
			t.Errorf("reckon %s --help: status %d: %s", s.Name, status, out)
		}
	}
}

func TestReckonRefuses(t *testing.T) {
	for _, c := range []struct{ args, want string }{
		{"reckon barometer", `no sheet "barometer"`},
		{"reckon washer", "nothing can be reckoned from that alone"},
		{"reckon washer --end-shake 1.15", "--end-shake: "},
		{"reckon washer --end-shake 1.15 --json", "no unit"},
		{"reckon washer 1.15 mm", "stands alone"},
		{"reckon washer --endshake 1 mm", "--endshake is no input"},
		{"reckon pendulum --gained NaN", "not a plain number"},
		{"reckon --json", `no sheet "--json"`},
	} {
		status, stdout, stderr := program(t, strings.Fields(c.args)...)
		if status == 0 || stdout != "" || !strings.Contains(stderr, c.want) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("endshake %s: status %d, stdout %q, stderr %q; want one sentence with %q", c.args, status, stdout, stderr, c.want)
		}
	}
}
