package browsertest

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// Axe gives the text of the script of axe-core, whose path ENDSHAKE_AXE names, or
// skips loudly where it is not named; a run that counts (ENDSHAKE_CI=1) must have it.
func Axe(t *testing.T) string {
	t.Helper()
	path := os.Getenv("ENDSHAKE_AXE")
	if path == "" {
		const how = "ENDSHAKE_AXE names no axe.min.js of axe-core, so no page was audited: .ci/run shows how it is fetched"
		if os.Getenv("ENDSHAKE_CI") == "1" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("read axe-core for the audit: %v: let ENDSHAKE_AXE name its axe.min.js", err)
	}
	return string(text)
}

// audit runs axe-core by its rules for WCAG 2.0 to 2.2, A and AA, and what its
// makers hold to be good practice, or by those of contrast alone.
const audit = `axe.run(document, {resultTypes: ['violations'], runOnly: %s})
	.then(r => r.violations.flatMap(v => v.nodes.slice(0, 3).map(n => v.id + ': ' + n.target.join(' ') + ' ' + n.html.slice(0, 200) + ' ' + n.any.concat(n.all, n.none).map(c => c.message).join('; ').slice(0, 200))))`

// Audit opens a page and audits it: wide in light, then on a telephone in dark,
// by all rules; and each in the other colours by those of contrast. It lists what
// is wrong. The page's policy for scripts stays in force.
func Audit(t *testing.T, ctx context.Context, axe, url string) (wrong []string) {
	t.Helper()
	const all, contrast = `{type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}`, `{type: 'rule', values: ['color-contrast', 'link-in-text-block']}`
	Look{Name: "1280", Width: 1280, Scheme: "light"}.Open(t, ctx, url)
	if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](axe+";0")); err != nil {
		t.Fatalf("load axe-core on %s: %v", url, err)
	}
	for _, l := range []struct {
		Look
		rules string
	}{
		{Look{"1280 light", 1280, "light", ""}, all}, {Look{"1280 dark", 1280, "dark", ""}, contrast},
		{Look{"390 dark", 390, "dark", ""}, all}, {Look{"390 light", 390, "light", ""}, contrast},
	} {
		if err := l.set(ctx); err != nil {
			t.Fatalf("look at %s at %s: %v", url, l.Name, err)
		}
		found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](fmt.Sprintf(audit, l.rules), chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatalf("audit %s at %s: %v", url, l.Name, err)
		}
		for _, f := range found {
			wrong = append(wrong, l.Name+": "+strings.Join(strings.Fields(f), " "))
		}
	}
	return wrong
}
