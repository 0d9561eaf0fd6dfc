package web

import (
	"net/http"
	"strings"
	"testing"
)

// printed reports whether an address gives a report as a PDF, and holds it to be one
// that is kept as a file.
func printed(t *testing.T, path string, res *http.Response, body string) bool {
	t.Helper()
	if !strings.Contains(path, "as=pdf") {
		return false
	}
	if !strings.HasPrefix(body, "%PDF-") || res.Header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(res.Header.Get("Content-Disposition"), `attachment; filename="report`) {
		t.Errorf("%s is no PDF to keep: %v, %.20q", path, res.Header, body)
	}
	return true
}

// A report opens with which clock needs money first; what an address cannot mean is
// refused with a sentence.
func TestReportPages(t *testing.T) {
	s := siteOf(t, cared())
	if text := pageText(t, s, "/report"); !strings.Contains(text, "Which clock needs money first") && !strings.Contains(text, "No clock") || !strings.Contains(text, "No rates are given") {
		t.Errorf("%s", text)
	}
	for path, want := range map[string]string{"/report?from=3+March": "is not a day", "/report?until=2999-01-01": "ahead of the data", "/report?from=2026-02-02&until=2026-02-01": "turn them round",
		"/report?as=docx": "is neither", "/report?owner=nobody": "who owns a clock", "/clock/corn-hall/report?from=x": "is not a day"} {
		res, body := get(t, s, path)
		if res.StatusCode < 400 || res.StatusCode > 499 || !strings.Contains(body, want) {
			t.Errorf("%s answers %d without %q", path, res.StatusCode, want)
		}
	}
}
