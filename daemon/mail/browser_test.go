package mail

import (
	"encoding/base64"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"endshake/daemon/browsertest"
)

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
	ctx := browsertest.Start(t)
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
	looks := []browsertest.Look{{Name: "640", Width: 640, Scheme: "light"}, {Name: "390", Width: 390, Scheme: "light"},
		{Name: "390-dark", Width: 390, Scheme: "dark"}, {Name: "print", Width: 720, Scheme: "light", Media: "print"}}
	if shots != "" {
		looks = append(looks, browsertest.Look{Name: "640-dark", Width: 640, Scheme: "dark"})
	}
	for _, look := range looks {
		for name := range pages {
			look.Open(t, ctx, srv.URL+name)
			wrong := append(browsertest.See(t, ctx, browsertest.Sideways), browsertest.See(t, ctx, browsertest.Contrast)...)
			if len(wrong) > 0 {
				t.Errorf("%s at %s: %s", name, look.Name, strings.Join(wrong, "; "))
			}
			browsertest.Shot(t, ctx, shots, name+"-"+look.Name)
		}
	}
}
