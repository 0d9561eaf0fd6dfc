package main

import (
	"hash/fnv"
	"math/rand/v2"
	"os"
	"strconv"
	"sync"
	"testing"
	"time"

	"endshake/db/dbtest"
)

// killPoint is a moment at which the daemon is killed with SIGKILL, amid forms,
// replies, jobs and letters.
type killPoint struct {
	name  string
	point string // of db/failpoint; empty: the test kills by itself, see end
	after int    // so many hits are let pass, those of the start
	hits  int    // the seed says at which of so many hits then
	twice int    // how many letters may have come twice then
	// surely: as many did, or it is not killed where it should be.
	surely bool
	// sends: letters go out meanwhile; else no server can be reached until the end.
	sends  bool
	deaths int // in a row; 0: one
	parked int // letters that end parked
	// fault is what becomes of the point in the place of a kill, of db/failpoint: the
	// daemon goes on, and is told to stop once everything is acknowledged.
	fault string
	// end kills by itself, and reports whether it was by SIGKILL.
	end func(r *killRun, p *process) bool
	// act is done beside what is done in every run; it is asked for again
	// until it is done.
	act func(r *killRun, p *process) (done bool)
}

// killPoints: a letter may come twice where the server may have taken it before
// that could be kept. What has no counterpart here: what is worked out of the log
// (levels, tasks, dates) is kept nowhere but in memory, and worked out anew at each
// start, so that there is nothing to kill half way (K06 to K09;
// TestRebuildEqualsRunning holds that it comes out the same). The lease of a run is
// longer than its job and is never renewed (K14); who lost it cannot finish the run.
// What a command takes in at once (K32) has a table of its own, importPoints.
var killPoints = []killPoint{
	{name: "K01", point: "K01", hits: 3}, // a form is read, and no transaction begun
	{name: "K02", point: "K02", hits: 3}, // the entry is stored, and not in the audit
	{name: "K03", point: "K03", hits: 3}, // it is in the audit as well, and nothing is committed
	{name: "K04", point: "K04", hits: 3}, // committed, and not answered
	{name: "K05", end: onAnswer},         // answered
	{name: "K10", point: "K10", hits: 2}, // what is owed of jobs is known, and nothing kept
	{name: "K11", point: "K11", hits: 2}, // a claim is stored, and not committed
	{name: "K12", point: "K12", hits: 2}, // claimed, and not begun
	{name: "K13", point: "K13", hits: 2}, // the work is done, and not kept as done
	{name: "K13 open", point: "K13 open", hits: 2},
	{name: "K15", sends: true, point: "K15", hits: 1},                         // letters are claimed, nothing is connected
	{name: "K16", sends: true, point: "K16", hits: 1},                         // the server is greeted
	{name: "K17 open", sends: true, point: "K17 open", hits: 3, twice: 1},     // the recipient is taken, and what became of the letter before not kept
	{name: "K17", sends: true, point: "K17", hits: 3},                         // both are kept: that, and this one as handed over
	{name: "K18", sends: true, point: "K18", hits: 3},                         // in the body, before the final dot
	{name: "K19", sends: true, point: "K19", hits: 3, twice: 1},               // the final dot is sent, and its answer not read
	{name: "K20", sends: true, point: "K20", hits: 3, twice: 1, surely: true}, // the answer is read, and not kept
	{name: "K21", sends: true, point: "K21", hits: 1},                         // it is kept, before QUIT
	// K20 five times: two letters twice each, which are then parked, and a third once.
	{name: "K22", sends: true, point: "K20", hits: 1, twice: 3, surely: true, deaths: 5, parked: 2},
	// Twice before the final dot of one letter: nobody can know that it never went.
	{name: "K17 twice", sends: true, point: "K17", hits: 1, deaths: 2, parked: 1},
	{name: "K18 twice", sends: true, point: "K18", hits: 1, deaths: 2, parked: 1},
	{name: "K23", point: "K23", hits: readers},                          // some of the due-lists are owed, and nothing is committed
	{name: "K24", point: "K24", hits: 3},                                // a reply is read, and not looked at
	{name: "K25", point: "K25", hits: 3},                                // stored, and not committed
	{name: "K26", point: "K26", hits: 3},                                // committed, and not answered
	{name: "K33", point: "K33", hits: readers + 1, act: askForPassword}, // the tokens of a letter are stored, and nothing is committed
	{name: "K34", point: "K34", hits: 1, act: changePassword},           // a new password is stored, and nothing is committed
	{name: "K35", sends: true, end: whileStopping, twice: 1},            // told to stop, and killed within the second
	{name: "any time", sends: true, end: atAnyTime, twice: 1},           // wherever it is
}

// faultPoints: the disk says no once, or takes long each time.
var faultPoints = []killPoint{
	{name: "D09", sends: true, point: "commit", after: 4, hits: 16, fault: "err", twice: 1}, // one commit fails: a letter that was handed over is not known to be
	{name: "D12", sends: true, point: "slow commit", hits: 1, fault: "sleep=1s"},
}

// killSeeds is how many runs each point gets: ENDSHAKE_KILLS, or few.
func killSeeds(few int) int {
	if n, err := strconv.Atoi(os.Getenv("ENDSHAKE_KILLS")); err == nil {
		return n
	}
	return few
}

// killSeed is ENDSHAKE_SEED, with which a run is repeated, or another each time.
func killSeed() uint64 {
	if n, err := strconv.ParseUint(os.Getenv("ENDSHAKE_SEED"), 10, 64); err == nil {
		return n
	}
	return uint64(time.Now().UnixNano())
}

// TestKilled kills the daemon at each point, lets another finish the work, and
// compares what was acknowledged and what arrived with what is kept: nothing is
// lost, nothing is half done, and no letter came twice but where nobody can know.
func TestKilled(t *testing.T) {
	killAll(t, newStage(t, dbtest.SQLite(t)), killSeeds(1))
}

func TestKilledOnPostgres(t *testing.T) {
	killAll(t, newStage(t, dbtest.Postgres(t)), min(killSeeds(1), 5))
}

// TestDiskThatFails has one commit of the daemon fail, or each take long: what is not
// kept is not acknowledged, what people send again is taken, and nothing is done twice.
func TestDiskThatFails(t *testing.T) {
	killThem(t, newStage(t, dbtest.SQLite(t)), faultPoints, min(killSeeds(1), 4))
}

func killAll(t *testing.T, s *stage, seeds int) { killThem(t, s, killPoints, seeds) }

func killThem(t *testing.T, s *stage, points []killPoint, seeds int) {
	seed := killSeed()
	for _, k := range points {
		t.Run(k.name, func(t *testing.T) {
			h := fnv.New64a()
			h.Write([]byte(k.name))
			began, total := time.Now(), tally{}
			var runs []*killRun
			for i := range seeds {
				runs = append(runs, newKillRun(t, s, k, rand.New(rand.NewPCG(seed+uint64(i), h.Sum64()))))
			}
			two(runs, (*killRun).run)
			for _, r := range runs {
				total.add(r.tally)
			}
			took := time.Since(began)
			t.Logf("seed %d: %d kills, %.2f s each: %d entries and %d replies acknowledged before, %d letters, of which %d came twice and %d are parked, %d runs of jobs, %d rows of audit",
				seed, total.kills, took.Seconds()/float64(max(total.kills, 1)), total.entries, total.replies, total.letters, total.twice, total.parked, total.jobs, total.audit)
		})
	}
}

// two does something for each run, two at a time.
func two(runs []*killRun, do func(*killRun)) {
	next := make(chan *killRun)
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for r := range next {
				do(r)
			}
		})
	}
	for _, r := range runs {
		next <- r
	}
	close(next)
	wg.Wait()
}
