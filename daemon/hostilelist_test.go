package daemon_test

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// What DEVELOPERS.md says is held against hostile requests names, row by row,
// tests that are there, and leaves out no row.
func TestHostileRequestsAreListed(t *testing.T) {
	text, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	there, function := map[string]bool{}, regexp.MustCompile(`(?m)^func (Test\w+)\(t \*testing\.T\)`)
	err = filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		src, err := os.ReadFile(path)
		for _, m := range function.FindAllSubmatch(src, -1) {
			there[string(m[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if wrong := unlisted(string(text), there); len(wrong) > 0 {
		t.Error(strings.Join(wrong, "\n"))
	}
	// The check itself tells what is wrong.
	short := "| W01 | x | `TestHostileRequestsAreListed`, `TestNone` |\n| W02 | x | |\n"
	if wrong := unlisted(short, there); len(wrong) != 2+34 {
		t.Errorf("of a list that is wrong in 36 ways it is told %q", wrong)
	}
}

// unlisted is what is wrong with the list of hostile requests.
func unlisted(text string, there map[string]bool) (wrong []string) {
	row, name := regexp.MustCompile(`(?m)^\| (W\d\d) \|[^|]+\|([^|]*)\|$`), regexp.MustCompile("`(\\w+)`")
	rows := map[string]string{}
	for _, m := range row.FindAllStringSubmatch(text, -1) {
		rows[m[1]] = m[2]
	}
	for i := 1; i <= 36; i++ {
		no := fmt.Sprintf("W%02d", i)
		tests, ok := rows[no]
		names := name.FindAllStringSubmatch(tests, -1)
		if !ok || len(names) == 0 {
			wrong = append(wrong, no+" is held by no test")
		}
		for _, m := range names {
			if !there[m[1]] {
				wrong = append(wrong, no+" names "+m[1]+", and there is no such test")
			}
		}
	}
	return wrong
}
