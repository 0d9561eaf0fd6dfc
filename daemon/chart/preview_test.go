package chart

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPreview writes every picture as PNG to the folder that ENDSHAKE_SHOTS
// names, for somebody to look at.
func TestPreview(t *testing.T) {
	dir := os.Getenv("ENDSHAKE_SHOTS")
	all := odd(t)
	all["worn"] = worn(t)
	for name, o := range all {
		for size, s := range map[string]Size{"wide": Wide, "narrow": Narrow} {
			data, err := Bearing(o, now, utc, s).PNG(2)
			if err != nil || len(data) < 1000 {
				t.Fatalf("%s: %d bytes, %v", name, len(data), err)
			}
			if dir == "" {
				continue
			}
			if err := os.WriteFile(filepath.Join(dir, "chart-"+strings.ReplaceAll(name, " ", "-")+"-"+size+".png"), data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
