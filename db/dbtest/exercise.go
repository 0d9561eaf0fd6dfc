package dbtest

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// promises are the parts of the suite.
var promises = []struct {
	name string
	run  func(t *testing.T, address string, s *db.Store)
}{
	{"migrate", migrateTwice},
	{"migrate at once", migrateAtOnce},
	{"newer schema", newerSchema},
	{"open existing", openExisting},
	{"size", size},
	{"fleet round trip", fleetRoundTrip},
	{"fleet changes", fleetChanges},
	{"fleet order", fleetOrder},
	{"care round trip", careRoundTrip},
	{"fleet refused", fleetRefused},
	{"learned round trip", learnedRoundTrip},
	{"learned refused", learnedRefused},
	{"learned side by side", learnedSideBySide},
	{"entry round trip", entryRoundTrip},
	{"entry refused", entryRefused},
	{"order of the log", logOrder},
	{"append all", appendAll},
	{"append only", appendOnly},
	{"unreadable", unreadable},
	{"news", news},
	{"news of what cannot be read", newsOfTheUnreadable},
	{"news keeps up", newsKeepsUp},
	{"append checked", appendChecked},
	{"fleet checked", fleetChecked},
	{"fleet undone", fleetUndone},
	{"keys", keys},
	{"key says the same", keySaysTheSame},
	{"corrections", corrections},
	{"atomic", atomicAppend},
	{"hostile text", hostileText},
	{"micro times", microTimes},
	{"appends side by side", appendsSideBySide},
	{"one key side by side", oneKeySideBySide},
	{"stops side by side", stopsSideBySide},
	{"fleet and log side by side", fleetSideBySide},
	{"killed", killed},
	{"context ends", contextEnds},
	{"begin a job", beginOnce},
	{"claim a run", claimRun},
	{"finish a run", finishRun},
	{"a clock that was wrong", wrongClock},
	{"runs side by side", runsSideBySide},
	{"owe", owe},
	{"claims side by side", claimsSideBySide},
	{"lease over", leaseOver},
	{"uncertain", uncertainByLease},
	{"uncertain by reply", uncertainByReply},
	{"claim lost", claimLost},
	{"settle", settle},
	{"resend", resend},
	{"first try", firstTry},
	{"known keys", knownKeys},
	{"unwritten", unwritten},
	{"refused at an old address", mended},
	{"passes", passes},
	{"passes of notices", passesOfNotices},
	{"passes refused", passesRefused},
	{"passes taken back", passesTakenBack},
	{"declines", declines},
	{"round marks", roundMarks},
	{"round marks moved", roundMarksMoved},
	{"round marks refused", roundMarksRefused},
	{"round marks side by side", roundMarksSideBySide},
	{"audit chain", auditChain},
	{"audit tampered", auditTampered},
	{"erase", erase},
	{"erase again", eraseAgain},
	{"erase refused", eraseRefused},
	{"accounts", accounts},
	{"account meanwhile", accountMeanwhile},
	{"passes of closed accounts", passesOfClosedAccounts},
	{"last conservator", lastConservator},
	{"join", join},
	{"sessions", sessions},
	{"programs", programs},
	{"pictures", pictures},
	{"append together", appendTogether},
	{"take in", takeIn},
	{"take in refused", takeInRefused},
	{"take in side by side", takeInSideBySide},
	{"bounce settled", bounceSettled},
	{"old mail", oldMail},
	{"no such mailbox", noSuchMailbox},
	{"third in a row", thirdInARow},
	{"bounces", bounces},
	{"bounce overtakes", bounceOvertakes},
	{"steps", steps},
	{"grouped marks", groupedMarks},
	{"trouble", trouble},
	{"nothing stuck", nothingStuck},
}

// Exercise holds every promise of package db against a database. fresh gives
// the address of a new, empty one each time, which goes with the test.
func Exercise(t *testing.T, fresh func(t testing.TB) string) {
	for _, part := range promises {
		t.Run(part.name, func(t *testing.T) {
			address := fresh(t)
			part.run(t, address, Open(t, address))
		})
	}
}

// withFleet stores a fleet of n clocks.
func withFleet(t testing.TB, s *db.Store, n int) {
	t.Helper()
	must(t, s.SaveFleet(t.Context(), "tester", Day, Fleet(n), nil))
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// wantCode sees that an error is one that a person can mend, in one sentence.
func wantCode(t testing.TB, err error, code schedule.Code) {
	t.Helper()
	if schedule.CodeOf(err) != code {
		t.Fatalf("got error %v (code %q), want code %q", err, schedule.CodeOf(err), code)
	}
	if strings.ContainsAny(err.Error(), "\n\r") {
		t.Errorf("not one line: %q", err)
	}
}

func wantEqual[T any](t testing.TB, what string, got, want T) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

func count(t testing.TB, address, query string) (n int) {
	t.Helper()
	must(t, raw(t, address).QueryRow(query).Scan(&n))
	return n
}

func migrateTwice(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	want, err := s.Version(t.Context())
	must(t, err)
	from, to, err := s.Migrate(t.Context())
	must(t, err)
	if from != want || to != want || want < 1 {
		t.Errorf("migrated again from %d to %d, was at %d", from, to, want)
	}
	f, err := s.Fleet(t.Context())
	must(t, err)
	wantEqual(t, "fleet after migrating again", f, Fleet(1))
}

func migrateAtOnce(t *testing.T, address string, s *db.Store) {
	// Everything is taken away first, as the suite hands over a migrated one.
	dropAll(t, address, s.Engine())
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			other, err := db.Open(t.Context(), address)
			if err != nil {
				t.Error(err)
				return
			}
			defer other.Close()
			if _, to, err := other.Migrate(t.Context()); err != nil || to < 1 {
				t.Errorf("migrated to %d, %v", to, err)
			}
		})
	}
	wg.Wait()
	withFleet(t, s, 1)
}

func dropAll(t *testing.T, address, engine string) {
	t.Helper()
	d := raw(t, address)
	if engine == "postgres" {
		_, err := d.Exec(`DROP SCHEMA public CASCADE; CREATE SCHEMA public`)
		must(t, err)
		return
	}
	for _, table := range []string{"duty", "policy", "mesh", "bearing", "arbor", "train", "reading", "entry", "clock", "person", "site",
		"audit", "revision", "job_run", "covered", "notice_event", "notice_body", "notice", "learned", "pass", "decline", "mailbox", "inward",
		"account", "session", "machine", "picture", "audit_check", "erased", "moving", "round_mark", "goose_db_version"} {
		_, err := d.Exec(`DROP TABLE ` + table)
		must(t, err)
	}
}

func newerSchema(t *testing.T, address string, s *db.Store) {
	knows, err := s.Version(t.Context())
	must(t, err)
	_, err = raw(t, address).Exec(fmt.Sprintf(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (%d, true)`, knows+41))
	must(t, err)
	_, err = db.Open(t.Context(), address)
	for _, want := range []string{fmt.Sprint("version ", knows+41), fmt.Sprint("up to ", knows, ":")} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("opening a newer schema: %v, want %q in it", err, want)
		}
	}
	if _, _, err := s.Migrate(t.Context()); err == nil {
		t.Error("a newer schema was migrated")
	}
}

// openExisting: a database that was never migrated is refused and left as it is.
func openExisting(t *testing.T, address string, s *db.Store) {
	again, err := db.OpenExisting(t.Context(), address)
	must(t, err)
	defer again.Close()
	if v, err := again.Version(t.Context()); err != nil || v < 1 {
		t.Errorf("version %d, %v", v, err)
	}
	dropAll(t, address, s.Engine())
	_, err = db.OpenExisting(t.Context(), address)
	if err == nil || !strings.Contains(err.Error(), "holds no fleet yet: run endshake migrate") {
		t.Errorf("without a schema: %v", err)
	}
	if v, err := s.Version(t.Context()); err != nil || v != 0 {
		t.Errorf("migrated to %d, %v", v, err)
	}
}

// killed kills a process that appends, again and again, and looks for what it
// was told is stored.
func killed(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	var acked []string
	for range 4 {
		acked = append(acked, killOne(t, address, 1+rand.IntN(30))...)
	}
	again, err := db.Open(t.Context(), address)
	must(t, err)
	defer again.Close()
	log, err := again.Entries(t.Context(), "clock-0")
	must(t, err)
	for _, key := range acked {
		if !slices.ContainsFunc(log, func(e schedule.Entry) bool { return e.Key == key }) {
			t.Errorf("%s was acknowledged and is gone", key)
		}
	}
	n := len(log)
	for what, query := range map[string]string{
		"readings":   `SELECT count(*) FROM reading`,
		"notices":    `SELECT count(*) FROM notice`,
		"audit rows": `SELECT count(*) FROM audit WHERE action = 'logged'`,
	} {
		if got := count(t, address, query); got != n {
			t.Errorf("%d %s for %d entries: a transaction was torn", got, what, n)
		}
	}
}

// killOne lets a child append until it has acknowledged n, kills it, and gives
// what it acknowledged.
func killOne(t *testing.T, address string, n int) []string {
	t.Helper()
	self, err := os.Executable()
	must(t, err)
	child := exec.Command(self)
	child.Env = append(os.Environ(), childEnv+"="+address)
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	must(t, err)
	must(t, child.Start())
	var acked []string
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		acked = append(acked, lines.Text())
		if len(acked) == n {
			must(t, child.Process.Kill())
		}
	}
	child.Wait() // the kill is its error
	if len(acked) < n {
		t.Fatalf("the child ended by itself after %d of %d: is TestMain calling dbtest.Main?", len(acked), n)
	}
	return acked
}

func contextEnds(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := s.Append(ctx, "tester", Day, measured("clock-0", Day, 1), nil); err == nil {
		t.Error("appended after the context ended")
	}
	if n := count(t, address, `SELECT count(*) FROM entry`); n != 0 {
		t.Errorf("%d entries are there", n)
	}
	if _, _, err := s.Append(t.Context(), "tester", Day, measured("clock-0", Day, 1), nil); err != nil {
		t.Errorf("the store is of no use after an ended context: %v", err)
	}
}

// minutes after Day.
func minutes(n int) time.Time { return Day.Add(time.Duration(n) * time.Minute) }
