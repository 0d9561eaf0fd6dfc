package daemon

import (
	"bytes"
	"database/sql"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
)

// Each night the whole audit is looked at. A row that somebody changed beside the
// service is said in the log, on the page and in the metrics.
func TestLooksAtTheAuditAtNight(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	var said bytes.Buffer
	night := *h.runner // beside the running one, which writes letters
	night.letters, night.log = nil, slog.New(slog.NewTextHandler(&said, nil))
	h.set("2026-11-26 04:09")
	night.Wake(t.Context())
	if got := lastRun(t, h.Daemon, auditJob); got == "2026-11-26" {
		t.Error("the audit was looked at before its time")
	}
	h.set("2026-11-26 04:11")
	night.Wake(t.Context())
	if got := lastRun(t, h.Daemon, auditJob); got != "2026-11-26" {
		t.Errorf("the audit was last looked at for %s", got)
	}
	if v, ok := h.metric("endshake_audit_sound"); !ok || v != 1 || !strings.Contains(said.String(), "the audit fits together") || strings.Contains(said.String(), "level=ERROR") {
		t.Errorf("of a sound audit: metric %v, %v, log %s", v, ok, &said)
	}
	if words := textOf(h.page("/audit")); !strings.Contains(words, "Every row fits those before it, looked at 26 Nov 2026.") {
		t.Errorf("the page says %s", words)
	}
	d, err := sql.Open("sqlite", filepath.Join(h.dir, "endshake.db")+"?_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	for _, statement := range []string{`DROP TRIGGER audit_no_update`, `UPDATE audit SET detail = 'nothing' WHERE id = 2`} {
		if _, err := d.Exec(statement); err != nil {
			t.Fatal(err)
		}
	}
	h.set("2026-11-27 04:11")
	night.Wake(t.Context())
	if v, ok := h.metric("endshake_audit_sound"); !ok || v != 0 || !strings.Contains(said.String(), "level=ERROR") || !strings.Contains(said.String(), "row=2 ") {
		t.Errorf("of a changed audit: metric %v, %v, log %s", v, ok, &said)
	}
	if words := textOf(h.page("/audit")); !strings.Contains(words, "Row 2 does not fit those before it") || strings.Contains(words, "Every row fits") {
		t.Errorf("the page says %s", words)
	}
	runs, err := h.store.Runs(t.Context(), 1)
	if err != nil || len(runs) != 1 || runs[0].Job != auditJob || !strings.HasPrefix(runs[0].Note, "row 2 does not fit") {
		t.Errorf("the run is kept as %+v, %v", runs, err)
	}
}
