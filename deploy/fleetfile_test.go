package deploy_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// sectionOf is the section of FLEETFILE.md that describes each type of the
// fleet file.
var sectionOf = map[string]string{
	"fileFleet": "The file", "fileSite": "Site", "fileClimate": "Climate", "filePerson": "Person", "fileClock": "Clock", "fileDuty": "Duty",
	"fileTrain": "Train", "fileWeight": "Weight", "fileStriking": "Striking", "fileArbor": "Arbor", "fileBearing": "Bearing",
	"fileLimit": "Limit", "fileMesh": "Mesh", "filePolicy": "Policy", "fileCare": "Care", "OilPoint": "Point", "fileLine": "Line",
	"Tolerance": "Tolerance", "filePendulum": "Pendulum", "fileSeason": "Season", "Wishes": "Mail",
	"Reach": "Reach", "Going": "Going", "Where": "Where", "OpenHours": "Hours", "Span": "Days away",
}

// fileFields are the names that each type of the fleet file is written with.
func fileFields(t *testing.T) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, name := range []string{"fleetfile.go", "carefile.go", "care.go", "wishes.go", "reach.go"} {
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", "schedule", name), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			spec, ok := n.(*ast.TypeSpec)
			if !ok || !strings.HasPrefix(spec.Name.Name, "file") && sectionOf[spec.Name.Name] == "" {
				return true
			}
			if s, ok := spec.Type.(*ast.StructType); ok {
				for _, field := range s.Fields.List {
					tag, err := strconv.Unquote(field.Tag.Value)
					if err != nil {
						t.Fatal(err)
					}
					json, _, _ := strings.Cut(reflect.StructTag(tag).Get("json"), ",")
					if json != "-" {
						out[spec.Name.Name] = append(out[spec.Name.Name], json)
					}
				}
			}
			return true
		})
	}
	return out
}

// The list of fields has every field that a fleet file may hold, each in its
// section, and no other.
func TestFleetFileFields(t *testing.T) {
	sections := map[string]string{}
	for _, part := range strings.Split(read(t, "FLEETFILE.md"), "\n## ")[1:] {
		title, text, _ := strings.Cut(part, "\n")
		sections[title] = text
	}
	row := regexp.MustCompile(`(?m)^\| (\x60[^|]*)\|`)
	word := regexp.MustCompile("`([^`]+)`")
	fields := fileFields(t)
	for typ, names := range fields {
		title := sectionOf[typ]
		text, ok := sections[title]
		if !ok || title == "" {
			t.Errorf("FLEETFILE.md has no section for %s", typ)
			continue
		}
		delete(sections, title)
		var listed []string
		for _, r := range row.FindAllStringSubmatch(text, -1) {
			for _, w := range word.FindAllStringSubmatch(r[1], -1) {
				listed = append(listed, w[1])
			}
		}
		slices.Sort(listed)
		if want := slices.Sorted(slices.Values(names)); !slices.Equal(listed, want) {
			t.Errorf("section %q lists %q, and the file holds %q", title, listed, want)
		}
	}
	if len(fields) != len(sectionOf) || len(sections) > 0 {
		t.Errorf("%d types are read of %d; sections of nothing: %q", len(fields), len(sectionOf), slices.Sorted(maps.Keys(sections)))
	}
	if !strings.Contains(read(t, "../README.md"), "deploy/FLEETFILE.md") {
		t.Error("README.md does not say where the fields stand")
	}
}
