package web

import (
	"io"
	"mime"
	"net/http"
	"strings"
	"time"
)

// mostSent is the largest form with pictures that is read, and slowest how long
// it may take to come in from a tower.
const (
	mostSent = mostPictures*(mostRaw+1<<10) + mostBody
	slowest  = 5 * time.Minute
)

// withPictures reports whether a request brings a form that may have pictures.
func withPictures(r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "multipart/form-data" && (strings.HasSuffix(r.Pattern, "/log") || strings.Contains(r.Pattern, "/do/"))
}

// LongOnItsWay reports whether a request may take minutes because of the line it
// comes or is answered on, not of the database: a form that brings files, or a
// file that is taken away.
func LongOnItsWay(r *http.Request) bool {
	if r.Method != http.MethodPost {
		return false
	}
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "multipart/form-data" || r.URL.Path == "/export" || strings.HasSuffix(r.URL.Path, "/history")
}

// bodyOf bounds what is read of a form.
func bodyOf(w http.ResponseWriter, r *http.Request) io.ReadCloser {
	most := int64(mostBody)
	switch {
	case withBook(r):
		most = mostBook
	case withPictures(r):
		most = mostSent
	}
	if most > mostBody {
		c := http.NewResponseController(w)
		inTime(c.SetReadDeadline, slowest)
		inTime(c.SetWriteDeadline, slowest+time.Minute)
	}
	return http.MaxBytesReader(w, r.Body, most)
}

// inTime gives a connection so long, which holds as well for what a handler leaves to
// be read and sent when it returns. Where it cannot be set, the usual time holds.
func inTime(deadline func(time.Time) error, d time.Duration) { _ = deadline(time.Now().Add(d)) }
