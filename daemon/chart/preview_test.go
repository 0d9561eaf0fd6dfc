package chart

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"endshake/schedule"
	"endshake/wear"
)

// TestPreview writes every picture as PNG to the folder that ENDSHAKE_SHOTS
// names, for somebody to look at.
func TestPreview(t *testing.T) {
	dir := os.Getenv("ENDSHAKE_SHOTS")
	all := odd(t)
	all["worn"] = worn(t)
	for name, o := range all {
		keep(t, dir, name, func(s Size) Picture { return Bearing(o, now, utc, s) })
	}
	for name, c := range map[string]schedule.Change{"if washer": {Washer: wear.FromMM(.3)}, "if oiled": {OilDays: 90}} {
		before, after := supposed(t, c)
		keep(t, dir, name, func(s Size) Picture { return WhatIf(before, after, now, utc, s) })
	}
}

// keep draws a picture in both sizes and writes it to a folder, if one is named.
func keep(t *testing.T, dir, name string, draw func(Size) Picture) {
	t.Helper()
	for size, s := range map[string]Size{"wide": Wide, "narrow": Narrow} {
		data, err := draw(s).PNG(2)
		if err != nil || len(data) < 1000 {
			t.Fatalf("%s: %d bytes, %v", name, len(data), err)
		}
		if dir == "" {
			continue
		}
		name := strings.NewReplacer(" ", "-", ",", "").Replace(name)
		if err := os.WriteFile(filepath.Join(dir, "chart-"+name+"-"+size+".png"), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
