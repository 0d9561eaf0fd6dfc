package main

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const trendFile = "../../daemon/trend/testdata/fleet.csv"

// A file is answered in words, in JSON and as a picture, from a path or from
// standard input.
func TestTrend(t *testing.T) {
	status, text, stderr := program(t, "trend", trendFile, "--limit=0.8", "--at=40000", "--at=60000", "--track-record", "--folds=3")
	for _, want := range []string{"mill/centre", "already", "row 9 does not fit: read again", "nothing read since", "at 60,000 h", "straight line", "rates per 1000 hours"} {
		if status != 0 || !strings.Contains(text, want) {
			t.Errorf("status %d, %s, no %q in:\n%s", status, stderr, want, text)
		}
	}
	status, doc, stderr := program(t, "trend", trendFile, "--json", "--gauge=0.02 mm")
	var got struct {
		Unit     string
		RateUnit string `json:"rate_unit"`
		Points   []struct{ Point string }
	}
	if err := json.Unmarshal([]byte(doc), &got); status != 0 || err != nil || got.Unit != "mm" || got.RateUnit != "mm per 1000 hours" || len(got.Points) != 8 {
		t.Fatalf("status %d, %v, %s: %+v", status, err, stderr, got)
	}
	f, err := os.Open(trendFile)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	was := os.Stdin
	os.Stdin = f
	t.Cleanup(func() { os.Stdin = was })
	if status, piped, stderr := program(t, "trend", "-", "--json", "--gauge=0.02"); status != 0 || piped != doc {
		t.Errorf("from standard input: status %d, %s; the answer is not that of the file", status, stderr)
	}
}

func TestTrendChart(t *testing.T) {
	one := filepath.Join(t.TempDir(), "one.csv")
	if err := os.WriteFile(one, []byte("point,group,hours,value\na,g,0,0.1\na,g,9000,0.2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, in := range []string{trendFile, one} {
		for _, name := range []string{"out.svg", "out.PNG", "out.pdf"} {
			file := filepath.Join(t.TempDir(), name)
			if status, stdout, stderr := program(t, "trend", in, "--limit=0.8", "--chart="+file); status != 0 || stdout == "" {
				t.Fatalf("%s: status %d, %s", name, status, stderr)
			}
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			switch filepath.Ext(name) {
			case ".svg":
				for d := xml.NewDecoder(bytes.NewReader(data)); err == nil; {
					_, err = d.Token()
				}
				if !errors.Is(err, io.EOF) {
					t.Errorf("%s: %v", name, err)
				}
			case ".PNG":
				if _, err := png.Decode(bytes.NewReader(data)); err != nil {
					t.Errorf("%s: %v", name, err)
				}
			default:
				if !bytes.HasPrefix(data, []byte("%PDF-")) || !bytes.HasSuffix(bytes.TrimSpace(data), []byte("%%EOF")) {
					t.Errorf("%s is no PDF", name)
				}
			}
		}
	}
}

// Bad input: one sentence, a status that is not 0, nothing on standard output,
// no picture.
func TestTrendRefuses(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	bad := write("bad.csv", "point,group,hours,value\na,g,200,0.1\na,g,100,0.2\n")
	picture := filepath.Join(dir, "out.svg")
	for _, tt := range []struct {
		name string
		args []string
		want string
	}{
		{"no file", nil, "file"},
		{"no such file", []string{"nowhere.csv"}, "nowhere.csv"},
		{"a folder", []string{dir}, dir},
		{"backwards", []string{bad, "--chart=" + picture}, "bad.csv: line 3, column 5: hours"},
		{"backwards, as JSON", []string{bad, "--json"}, "bad.csv: line 3, column 5: hours"},
		{"empty", []string{write("empty.csv", "")}, "the file is empty"},
		{"limit of nothing", []string{trendFile, "--limit=0"}, "--limit"},
		{"limit of no number", []string{trendFile, "--limit=NaN"}, "--limit"},
		{"hours of no number", []string{trendFile, "--at=NaN"}, "--at"},
		{"gauge below nothing", []string{trendFile, "--gauge=-1"}, "--gauge"},
		{"unit of something else", []string{trendFile, "--unit=dB"}, "--no-physics"},
		{"one fold", []string{trendFile, "--track-record", "--folds=1"}, "--folds"},
		{"picture of another kind", []string{trendFile, "--chart=out.gif"}, ".svg, .png or .pdf"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			status, stdout, stderr := program(t, append([]string{"trend"}, tt.args...)...)
			last := strings.Split(strings.TrimSpace(stderr), "\n")
			if usage := tt.args == nil; status == 0 || stdout != "" && !usage || !strings.Contains(last[len(last)-1], tt.want) {
				t.Errorf("status %d, stdout %q, stderr %q; want a sentence with %q", status, stdout, stderr, tt.want)
			}
		})
	}
	status, stdout, stderr := program(t, "trend", trendFile, "--chart="+filepath.Join(bad, "out.svg"))
	if status == 0 || !strings.Contains(stdout, "granary/centre") || !strings.Contains(stdout, "Learned from 7 points") ||
		!strings.Contains(stderr, "the answer is printed, the picture is not drawn") || !strings.Contains(stderr, "out.svg") {
		t.Errorf("a picture where none can be: status %d, stdout %q, stderr %q; want the answer and a sentence", status, stdout, stderr)
	}
	if _, err := os.Stat(picture); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a refused file left a picture: %v", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	var out, errs strings.Builder
	if run(ctx, []string{"trend", trendFile}, &out, &errs); out.Len() > 0 {
		t.Errorf("stopped before it began, it printed %q", out.String())
	}
}
