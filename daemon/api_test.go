package daemon

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// A program with a token reads and logs over the network, on a real database:
// its entry once however often it is sent, in its own name in the audit, also
// after a restart, and nothing once its token is taken back.
func TestProgramLogsOverTheNetwork(t *testing.T) {
	h := open(t, "2026-11-25 10:00", wound(t, "2026-09-01 10:00", "2026-11-17 10:00")...)
	token := strings.Repeat("b2", 16)
	m := schedule.Machine{Name: "rota", Token: token, Scopes: []schedule.Scope{schedule.ScopeRead, schedule.ScopeLog}, Clocks: []string{"moot-hall"}, Ends: h.clock().Add(48 * time.Hour)}
	if err := h.store.GiveMachine(t.Context(), "test", h.clock(), m); err != nil {
		t.Fatal(err)
	}
	ask := func(method, path, body string) (int, map[string]any) {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), method, "http://"+h.Addr()+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+token)
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Idempotency-Key", "k1")
		res, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, _ := io.ReadAll(res.Body)
		var out map[string]any
		if err := json.Unmarshal(b, &out); err != nil {
			t.Fatalf("%s %s: %v in %s", method, path, err, b)
		}
		return res.StatusCode, out
	}
	if code, fleet := ask("GET", "/api/fleet", ""); code != 200 || fleet["total"] != 1.0 {
		t.Fatalf("the fleet: %d %v", code, fleet["total"])
	}
	before := len(h.assessment("moot-hall").Entries)
	const body = `{"kind":"wound","at":"2026-11-25T09:50:00Z","by":"ned"}`
	code, first := ask("POST", "/api/clocks/moot-hall/log", body)
	if code != 201 {
		t.Fatalf("%d %v", code, first)
	}
	id := first["entry"].(map[string]any)["id"]
	for range 2 { // again, at once and after a restart
		if code, again := ask("POST", "/api/clocks/moot-hall/log", body); code != 201 || again["entry"].(map[string]any)["id"] != id {
			t.Fatalf("again: %d %v, want %v", code, again["entry"], id)
		}
		h.stop()
		h.start(h.options("127.0.0.1:1"))
	}
	if n := len(h.assessment("moot-hall").Entries); n != before+1 {
		t.Errorf("%d entries, want %d", n, before+1)
	}
	if code, p := ask("POST", "/api/clocks/moot-hall/log", strings.Replace(body, "09:50", "09:40", 1)); code != 409 || p["code"] != "conflict" {
		t.Errorf("another entry by the same key: %d %v", code, p)
	}
	rows, err := h.store.Audit(t.Context(), 20)
	if err != nil {
		t.Fatal(err)
	}
	logged := 0
	for _, row := range rows {
		if row.Action == "logged" && strings.HasSuffix(row.Detail, id.(string)) && row.Actor == "token rota" {
			logged++
		}
	}
	if logged != 1 {
		t.Errorf("the audit says %+v", rows)
	}
	if all, err := h.store.Machines(t.Context()); err != nil || len(all) != 1 || all[0].Used.IsZero() {
		t.Errorf("%+v, %v", all, err)
	}
	if err := h.store.EndMachine(t.Context(), "test", h.clock(), "rota"); err != nil {
		t.Fatal(err)
	}
	if code, p := ask("GET", "/api/fleet", ""); code != 401 {
		t.Errorf("taken back: %d %v", code, p)
	}
}
