// Package browsertest looks at pages in a real browser, for the tests of the
// packages that write them.
package browsertest

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// Start starts Chromium, which ends with the test, or skips loudly where there is
// none; a run that counts (ENDSHAKE_CI=1) must have it.
func Start(t *testing.T) context.Context {
	t.Helper()
	var path string
	for _, name := range []string{os.Getenv("CHROMIUM"), "chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); name != "" && err == nil {
			path = p
			break
		}
	}
	if path == "" {
		const how = "no Chromium is installed, so nothing was looked at in a browser: install the package chromium, or name its path in CHROMIUM"
		if os.Getenv("ENDSHAKE_CI") == "1" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	flags := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-sync", true))
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewExecAllocator(ctx, flags...)
	t.Cleanup(stop)
	ctx, done := chromedp.NewContext(ctx)
	t.Cleanup(done)
	return ctx
}

// Look is a way to look at a page.
type Look struct {
	Name   string
	Width  int64  // in pixels; below 500 it is a telephone
	Scheme string // light or dark
	Media  string // print, or empty
}

// Open opens a page.
func (l Look) Open(t *testing.T, ctx context.Context, url string) {
	t.Helper()
	err := l.set(ctx)
	if err == nil {
		err = chromedp.Do(ctx, chromedp.Navigate(url))
	}
	if err != nil {
		t.Fatalf("open %s at %s: %v", url, l.Name, err)
	}
}

// set makes the page that is open look so.
func (l Look) set(ctx context.Context) error {
	_, err := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride,
		emulation.SetDeviceMetricsOverrideParams{Width: l.Width, Height: 850, DeviceScaleFactor: 1, Mobile: l.Width < 500})
	if err == nil {
		_, err = chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: l.Media,
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: l.Scheme}}})
	}
	return err
}

// See runs an expression that lists what is wrong on the page.
func See(t *testing.T, ctx context.Context, expression string) []string {
	t.Helper()
	out, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](expression))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Shot writes the whole page as PNG to a folder, if one is named.
func Shot(t *testing.T, ctx context.Context, dir, name string) {
	t.Helper()
	if dir == "" {
		return
	}
	data, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), data, 0o644)
	}
	if err != nil {
		t.Fatalf("picture of %s: %v", name, err)
	}
}

// Sheets counts the sheets of A4 that the page that is open is printed on.
func Sheets(t *testing.T, ctx context.Context) int {
	t.Helper()
	css := true
	pdf, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: 210 / 25.4, PaperHeight: 297 / 25.4, PreferCSSPageSize: &css})
	if err != nil {
		t.Fatalf("print: %v", err)
	}
	return len(onePage.FindAll(pdf.Data, -1))
}

// onePage is how a page begins in a PDF file (ISO 32000-1, 7.7.3.3).
var onePage = regexp.MustCompile(`/Type\s*/Page\b`)

// Sideways lists the elements that stand out to the right, if the page scrolls.
const Sideways = `document.documentElement.scrollWidth <= window.innerWidth ? [] :
	[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
	.slice(0, 5).map(e => e.tagName + '.' + e.className + ' ' + Math.round(e.getBoundingClientRect().right))
	.concat('scrollWidth ' + document.documentElement.scrollWidth)`

// Contrast works out in the browser the contrast ratio of every text with the
// paper behind it, by the formula of WCAG 2.2 (relative luminance), and lists
// those below 4.5 (success criterion 1.4.3), words that stand in empty fields too.
const Contrast = `(() => {
	const lum = c => { const v = c.map(x => (x /= 255) <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4); return 0.2126*v[0] + 0.7152*v[1] + 0.0722*v[2]; };
	const parse = s => s.match(/[\d.]+/g).map(Number);
	const behind = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c.length < 4 || c[3] > 0) return c; } return [255,255,255]; };
	const bad = [];
	for (const e of document.querySelectorAll('body *')) {
		if (![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
		if (['TITLE','DESC','OPTION'].includes(e.tagName.toUpperCase())) continue;
		const style = getComputedStyle(e), svg = e.namespaceURI.includes('svg');
		const a = lum(parse(svg ? style.fill : style.color)), b = lum(behind(e));
		const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (ratio < 4.5) bad.push(e.tagName + '.' + e.getAttribute('class') + ' ' + ratio.toFixed(2) + ' ' + e.textContent.trim().slice(0, 30));
	}
	for (const e of document.querySelectorAll('[placeholder]')) {
		const style = getComputedStyle(e, '::placeholder'), a = lum(parse(style.color)), b = lum(behind(e));
		const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (ratio < 4.5 || style.opacity !== '1') bad.push('placeholder ' + ratio.toFixed(2) + ' ' + e.placeholder);
	}
	return bad.slice(0, 5);
})()`
