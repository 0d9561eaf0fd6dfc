package web

import (
	"go/ast"
	"go/parser"
	gotoken "go/token"
	"os"
	"strings"
	"testing"
)

// readsAll are the functions that read the whole fleet, and why each may; all else
// reads what its reader may see.
var readsAll = map[string]string{
	"answerable":    "of a link: its pass is checked by Allow",
	"calendar":      "of a link: reads Seen of its pass",
	"declinable":    "of a link: its pass is checked by Allow",
	"answer":        "of a link: its clock once more, after its answer",
	"showDecline":   "of a link: the name of its person",
	"showJoin":      "of a link: the name of its person; of the first conservator's, who there is to be",
	"join":          "of a link: its person",
	"first":         "of a link: who is to be the first conservator",
	"chosen":        "what a password must not be like: names of clocks; says none of them",
	"accountNamed":  "whose account a name or an address is; tells nobody",
	"sendForgotten": "where the letter goes; tells nobody",
	"invite":        "the name of the conservator who invites, in the letter",
	"units":         "the reader's own unit",
	"render":        "the reader's own name, and when the fleet was last assessed",
	"done":          "who is told hangs on whether they have an address, which is not a reader's; shows names",
	"Entries":       "of a clock that Allow has let through",
	"joinable":      "of a link: looks whether its person is there",
	"reader":        "makes of it what a reader may see",
	"apiLogEntry":   "a program may log what it may not read: its clock is checked by Allow",
	"showPicture":   "the picture's clock is checked by Allow",
	"logIn":         "only whether the fleet is known yet; tells nothing of it",
	"plan":          "a person's days hang on all clocks that they go to; shown of them is what seen, unmet and decided let through",
	"myself":        "one's own person and roles, and one's own entries, also of clocks that are one's own no more",
}

// A handler that reads the whole fleet, or asks the desk for it, is one of those
// that are known to, and those all do.
func TestWhoReadsTheWholeFleet(t *testing.T) {
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
			continue
		}
		file, err := parser.ParseFile(gotoken.NewFileSet(), f.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			ast.Inspect(fn, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				if sel, ok := call.Fun.(*ast.SelectorExpr); ok && (sel.Sel.Name == "whole" || sel.Sel.Name == "Snapshot") && fn.Name.Name != "whole" {
					found[fn.Name.Name] = true
				}
				return true
			})
		}
	}
	for name := range found {
		if readsAll[name] == "" {
			t.Errorf("%s reads the whole fleet: let it read s.snapshot, or say in readsAll why it may", name)
		}
	}
	for name := range readsAll {
		if !found[name] {
			t.Errorf("%s reads the whole fleet no more: take it out of readsAll", name)
		}
	}
}
