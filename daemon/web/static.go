package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"
)

//go:embed static
var staticFiles embed.FS

// files are the static files, each under an address that holds a hash of what
// is in it, so that a browser may keep it for ever.
type files struct {
	byName map[string]file
}

type file struct {
	hash string
	data []byte
	kind string
}

// kinds are the content types of what is served; there is nothing else.
var kinds = map[string]string{".css": "text/css; charset=utf-8", ".svg": "image/svg+xml", ".js": "text/javascript; charset=utf-8",
	".webmanifest": "application/manifest+json"}

// manifestFile is what a telephone reads to keep the pages on its home screen.
const manifestFile = "endshake.webmanifest"

func newFiles() *files {
	f := &files{byName: map[string]file{}}
	names, _ := fs.Glob(staticFiles, "static/*")         // the pattern is right
	slices.SortStableFunc(names, func(a, b string) int { // the manifest last: it names another by its address
		return strings.Compare(path.Ext(a), path.Ext(b))
	})
	for _, name := range names {
		data, err := staticFiles.ReadFile(name)
		if err != nil {
			panic(err) // it is built in
		}
		if path.Base(name) == manifestFile {
			data = bytes.Replace(data, []byte("face.svg"), []byte(f.path("face.svg")), 1)
		}
		sum := sha256.Sum256(data)
		f.byName[path.Base(name)] = file{hex.EncodeToString(sum[:6]), data, kinds[path.Ext(name)]}
	}
	return f
}

func (f *files) path(name string) string { return "/static/" + f.byName[name].hash + "/" + name }

func (s *server) static(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	f, ok := s.views.files.byName[name]
	if !ok || f.hash != r.PathValue("hash") {
		s.nowhere(w, r)
		return
	}
	w.Header().Set("Content-Type", f.kind)
	if name == "keep.js" { // the page that a telephone opens first is the fleet
		w.Header().Set("Service-Worker-Allowed", "/")
	}
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(f.data))
}
