package mail

import (
	"context"
	"encoding/base64"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// browser starts Chromium, or skips loudly where there is none; a run that
// counts (ENDSHAKE_CI=1) must have it.
func browser(t *testing.T) context.Context {
	t.Helper()
	var path string
	for _, name := range []string{os.Getenv("CHROMIUM"), "chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); name != "" && err == nil {
			path = p
			break
		}
	}
	if path == "" {
		skip(t, "no Chromium is installed, so no letter was looked at: install the package chromium, or name its path in CHROMIUM")
	}
	flags := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-sync", true))
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewExecAllocator(ctx, flags...)
	t.Cleanup(stop)
	ctx, done := chromedp.NewContext(ctx)
	t.Cleanup(done)
	return ctx
}

// skip leaves a test out, which a run that counts must not do.
func skip(t *testing.T, why string) {
	t.Helper()
	if os.Getenv("ENDSHAKE_CI") == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
}

// shown is the HTML of a letter with its pictures put in.
func shown(l letter) string {
	page := l.html
	for cid, png := range l.pictures {
		page = strings.ReplaceAll(page, "cid:"+cid, "data:image/png;base64,"+base64.StdEncoding.EncodeToString(png))
	}
	return page
}

// TestInABrowser opens each letter at the width of a mail program and of a
// telephone, in light and dark: nothing may run out at the side (WCAG 2.2,
// 1.4.10), and all can be read (1.4.3). ENDSHAKE_SHOTS names a folder for
// pictures.
func TestInABrowser(t *testing.T) {
	ctx := browser(t)
	pages := map[string]string{}
	for name, l := range samples() {
		_, got := composeBy(t, answeringComposer(), l)
		pages["/"+name] = shown(got)
	}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write([]byte(pages[r.URL.Path]))
	}))
	defer srv.Close()
	shots := os.Getenv("ENDSHAKE_SHOTS")
	for _, look := range []struct {
		name          string
		width         int64
		scheme, media string
	}{{"640", 640, "light", ""}, {"390", 390, "light", ""}, {"640-dark", 640, "dark", ""}, {"390-dark", 390, "dark", ""}, {"print", 720, "light", "print"}} {
		for name := range pages {
			_, err := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride,
				emulation.SetDeviceMetricsOverrideParams{Width: look.width, Height: 850, DeviceScaleFactor: 1, Mobile: look.width < 500})
			if err == nil {
				_, err = chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: look.media,
					Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: look.scheme}}})
			}
			if err == nil {
				err = chromedp.Do(ctx, chromedp.Navigate(srv.URL+name))
			}
			if err != nil {
				t.Fatalf("open %s at %s: %v", name, look.name, err)
			}
			wrong, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](sideways))
			if err == nil {
				var pale []string
				pale, err = chromedp.Run(ctx, chromedp.Evaluate[[]string](contrast))
				wrong = append(wrong, pale...)
			}
			if err != nil {
				t.Fatal(err)
			}
			if len(wrong) > 0 {
				t.Errorf("%s at %s: %s", name, look.name, strings.Join(wrong, "; "))
			}
			if shots == "" {
				continue
			}
			data, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err == nil {
				err = os.WriteFile(filepath.Join(shots, name+"-"+look.name+".png"), data, 0o644)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
}

// sideways lists the elements that stand out to the right, if the page scrolls.
const sideways = `document.documentElement.scrollWidth <= window.innerWidth ? [] :
	[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
	.slice(0, 5).map(e => e.tagName + '.' + e.className + ' ' + Math.round(e.getBoundingClientRect().right))`

// contrast lists the texts whose ratio of contrast with the paper behind them
// is below 4.5, by the formula of WCAG 2.2 (relative luminance).
const contrast = `(() => {
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
	return bad.slice(0, 5);
})()`
