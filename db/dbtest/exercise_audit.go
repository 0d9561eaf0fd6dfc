package dbtest

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strings"
	"sync"
	"testing"

	"endshake/db"
	"endshake/schedule"
)

// unguarded opens a database as somebody has it who may write what they like.
func unguarded(t *testing.T, address, engine string) *sql.DB {
	t.Helper()
	d := raw(t, address)
	statements := []string{`DROP TRIGGER audit_no_update`, `DROP TRIGGER audit_no_delete`}
	if engine == "postgres" {
		statements = []string{`ALTER TABLE audit DISABLE TRIGGER USER`}
	}
	for _, statement := range statements {
		_, err := d.Exec(statement)
		must(t, err)
	}
	return d
}

// wantAudit looks at the whole audit, and wants its first bad row to be one of a
// number, with words; 0: all fit.
func wantAudit(t *testing.T, s *db.Store, broken int64, why string) schedule.AuditCheck {
	t.Helper()
	c, err := s.CheckAudit(t.Context(), Day)
	must(t, err)
	if c.Broken != broken || !strings.Contains(c.Why, why) || broken > 0 && c.Rows != broken-1 || c.Sound() != (broken == 0) || !c.At.Equal(Day) {
		t.Errorf("the audit: %+v; want row %d broken because %q", c, broken, why)
	}
	return c
}

// sha is SHA-256 over parts after their lengths in eight bytes, worked out here
// once more.
func sha(parts ...[]byte) []byte {
	var all []byte
	for _, p := range parts {
		all = append(binary.BigEndian.AppendUint64(all, uint64(len(p))), p...)
	}
	sum := sha256.Sum256(all)
	return sum[:]
}

// auditChain: each row is chained to the one before, by what stands in the
// columns, also when many write at once; a row that was changed, taken away or put
// in is named.
func auditChain(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	withFleet(t, s, 3)
	var all sync.WaitGroup
	other, err := db.Open(ctx, address)
	must(t, err)
	defer other.Close()
	for i, store := range []*db.Store{s, other, s, other} {
		all.Go(func() {
			for n := range 6 {
				e := measured("clock-0", minutes(10*i+n), 1)
				if _, _, err := store.Append(ctx, fmt.Sprintf("writer %d", i), Day, e, nil); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	c := wantAudit(t, s, 0, "")
	rev, err := s.Revision(ctx)
	must(t, err)
	if c.Rows != rev || c.Emptied != 0 {
		t.Errorf("looked at %d rows of %d", c.Rows, rev)
	}
	rows, err := s.Audit(ctx, 100)
	must(t, err)
	var before []byte
	for i := len(rows) - 1; i >= 0; i-- {
		r, d := rows[i], raw(t, address)
		var salt, seal, hash []byte
		must(t, d.QueryRow(`SELECT salt, seal, hash FROM audit WHERE id = $1`, r.ID).Scan(&salt, &seal, &hash))
		number := binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(nil, uint64(r.ID)), uint64(r.At.UnixMicro()))
		wantSeal := sha(salt, []byte(r.Subject), []byte(r.Detail))
		if want := sha(before, number, []byte(r.Actor), []byte(r.Action), wantSeal); len(salt) != 16 || !bytes.Equal(seal, wantSeal) || !bytes.Equal(hash, want) {
			t.Fatalf("row %d is not chained as it should be", r.ID)
		}
		before = hash
	}
	if c.Head != hex.EncodeToString(before) {
		t.Errorf("the head is %s, want %x", c.Head, before)
	}
	if _, ok, err := s.LastAuditCheck(ctx); ok || err != nil {
		t.Errorf("a look that was not kept is there: %v", err)
	}
	for _, c.Broken = range []int64{4, 0} {
		must(t, s.KeepAuditCheck(ctx, c))
	}
	got, ok, err := s.LastAuditCheck(ctx)
	must(t, err)
	c.Head = ""
	if !ok || got != c {
		t.Errorf("kept %+v, %v; want %+v", got, ok, c)
	}
}

// auditTampered: whatever somebody does to the table beside the service, the next
// look names the row.
func auditTampered(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	must(t, keepAccount(t.Context(), s, "tester", accountOf("boss", true), "let in"))
	for n := range 5 {
		_, _, err := s.Append(t.Context(), "tester", Day, measured("clock-0", minutes(n), 1), nil)
		must(t, err)
	}
	last, err := s.Revision(t.Context())
	must(t, err)
	wantAudit(t, s, 0, "")
	d := unguarded(t, address, s.Engine())
	for _, test := range []struct {
		what, why string
		broken    int64
	}{
		{`UPDATE audit SET actor = 'another' WHERE id = 3`, "actor", 3},
		{`UPDATE audit SET action = 'said' WHERE id = 3`, "action", 3},
		{`UPDATE audit SET at = (SELECT at FROM audit WHERE id = 8) WHERE id = 2`, "", 0}, // the same instant
		{`UPDATE audit SET detail = 'other' WHERE id = 4`, "speaks of", 4},
		{`UPDATE audit SET subject = 'clock clock-1' WHERE id = 7`, "speaks of", 7},
		{`UPDATE audit SET detail = '', salt = hash WHERE id = 5`, "speaks of", 5},
		{`UPDATE audit SET subject = 'person 1, erased', detail = '', salt = substr(salt, 1, 0) WHERE id = 5`, "speaks of", 5}, // nobody was
		{`UPDATE audit SET seal = salt WHERE id = 6`, "the row before", 6},
		{`UPDATE audit SET hash = seal WHERE id = 1`, "number", 1},
		{`UPDATE audit SET hash = substr(hash, 1, 0) WHERE id = 6`, "never chained", 6},
		{`UPDATE audit SET id = 100 WHERE id = 3`, "missing", 3},
		{fmt.Sprintf(`UPDATE audit SET id = 100 WHERE id = %d`, last), "missing", last},
		{`UPDATE audit SET id = 100 WHERE id = 1`, "missing", 1},
	} {
		tx, err := d.Begin()
		must(t, err)
		_, err = tx.Exec(`CREATE TABLE kept AS SELECT * FROM audit`)
		must(t, err)
		_, err = tx.Exec(test.what)
		must(t, err)
		must(t, tx.Commit())
		t.Log(test.what)
		wantAudit(t, s, test.broken, test.why)
		_, err = d.Exec(`DELETE FROM audit`)
		must(t, err)
		_, err = d.Exec(`INSERT INTO audit SELECT * FROM kept`)
		must(t, err)
		_, err = d.Exec(`DROP TABLE kept`)
		must(t, err)
	}
	wantAudit(t, s, 0, "")
	// Where the last row is gone the service goes on, and the gap stays named.
	_, err = d.Exec(fmt.Sprintf(`DELETE FROM audit WHERE id = %d`, last))
	must(t, err)
	_, _, err = s.Append(t.Context(), "tester", Day, measured("clock-0", minutes(9), 1), nil)
	must(t, err)
	wantAudit(t, s, last, "missing")
}
