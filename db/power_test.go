package db_test

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// journalled is a database and its journal, as the loss of power would leave them: so
// many entries were acknowledged, each in a commit of its own.
type journalled struct {
	file, wal []byte
	frames    []int // where each frame of the journal begins
	acked     int
}

// The sizes of the journal's head and of what stands before the page in each frame
// (SQLite file format, 4.1 and 4.2).
const walHead, frameHead = 32, 24

func journal(t *testing.T, entries int) (j journalled) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "endshake.db")
	s := dbtest.Open(t, path)
	if err := s.SaveFleet(t.Context(), "test", dbtest.Day, dbtest.Fleet(1), nil); err != nil {
		t.Fatal(err)
	}
	// What was there before lies in the file, and the journal begins anew.
	if _, err := beside(t, "sqlite:"+path).Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		t.Fatal(err)
	}
	for i := range entries {
		_, _, err := s.Append(t.Context(), "test", dbtest.Day, dbtest.Log(1, entries)[i], nil, schedule.Notice{Key: fmt.Sprint("k", i), Raw: []byte("letter")})
		if err != nil {
			t.Fatal(err)
		}
	}
	var err error
	if j.file, err = os.ReadFile(path); err != nil {
		t.Fatal(err)
	}
	if j.wal, err = os.ReadFile(path + "-wal"); err != nil {
		t.Fatal(err)
	}
	j.acked = entries
	page := int(binary.BigEndian.Uint32(j.wal[8:]))
	for at := walHead; at+frameHead+page <= len(j.wal); at += frameHead + page {
		j.frames = append(j.frames, at)
	}
	if len(j.frames) < entries {
		t.Fatalf("%d frames in the journal for %d commits: it was emptied meanwhile", len(j.frames), entries)
	}
	return j
}

// left opens what the loss of power left, and counts its entries: those that were
// written first, none torn, each with its audit row and its letter.
func (j journalled) left(t *testing.T, wal []byte) int {
	t.Helper()
	path := filepath.Join(t.TempDir(), "endshake.db")
	for name, text := range map[string][]byte{path: j.file, path + "-wal": wal} {
		if err := os.WriteFile(name, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s, err := db.OpenExisting(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	log, err := s.Entries(t.Context(), "clock-0")
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range log {
		if e.Key != fmt.Sprint("row-", i) {
			t.Fatalf("entry %d is %s: what was written first is not what is there", i, e.Key)
		}
	}
	e, err := s.Extent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	letters, one := e.Rows["notice"], int64(len(log))
	if letters != one || e.Rows["notice_body"] != one || e.Rows["reading"] != (one+2)/3 {
		t.Fatalf("%d entries with %d letters, %d bodies and %d readings", one, letters, e.Rows["notice_body"], e.Rows["reading"])
	}
	if c, err := s.CheckAudit(t.Context(), dbtest.Day); err != nil || !c.Sound() {
		t.Fatalf("the audit: %+v, %v", c, err)
	}
	if err := s.CheckPages(t.Context()); err != nil {
		t.Fatal(err)
	}
	return len(log)
}

// Power lost in the middle of the journal, at every edge of a frame and within one:
// what is left was committed, in its order, and never less where more was written.
func TestCutJournal(t *testing.T) {
	j := journal(t, 60)
	seed := rand.Uint64()
	t.Logf("seed %d, %d frames", seed, len(j.frames))
	r := rand.New(rand.NewPCG(seed, 1))
	var cuts []int
	for i := range 200 {
		at := walHead + (len(j.wal)-walHead)*i/199
		if i%2 == 0 && i < 199 { // at an edge
			at = j.frames[(len(j.frames)-1)*i/199]
		} else if i < 199 {
			at = min(at+r.IntN(200), len(j.wal))
		}
		cuts = append(cuts, at)
	}
	last, at := 0, 0
	for _, cut := range cuts {
		n := j.left(t, j.wal[:cut])
		if cut >= at && n < last {
			t.Errorf("cut at %d of %d bytes: %d entries, and %d when it was cut at %d", cut, len(j.wal), n, last, at)
		}
		if cut >= at {
			last, at = n, cut
		}
	}
	if n := j.left(t, j.wal); n != j.acked {
		t.Errorf("%d entries are left of the whole journal, and %d were acknowledged", n, j.acked)
	}
	t.Logf("%d cuts, none of which left anything but a beginning", len(cuts))
}

// Bits that flip in a frame of the journal: what was committed before that frame is
// there, and nothing of what comes after.
func TestFlippedJournal(t *testing.T) {
	j := journal(t, 60)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 2))
	for bits := range 64 {
		frame := r.IntN(len(j.frames))
		whole := j.left(t, j.wal[:j.frames[frame]])
		wal := append([]byte(nil), j.wal...)
		size := j.frames[1] - j.frames[0]
		flipped := map[int]bool{}
		for len(flipped) <= bits {
			if n := r.IntN(size * 8); !flipped[n] { // twice would be none
				flipped[n] = true
				wal[j.frames[frame]+n/8] ^= 1 << (n % 8)
			}
		}
		if n := j.left(t, wal); n != whole {
			t.Errorf("%d bits in frame %d: %d entries are left, want the %d before it", bits+1, frame, n, whole)
		}
	}
}

// A page of the file that is torn is found, wherever it lies, before anything is
// made of it.
func TestTornPage(t *testing.T) {
	path := filepath.Join(t.TempDir(), "endshake.db")
	s := dbtest.Open(t, path)
	if err := s.SaveFleet(t.Context(), "test", dbtest.Day, dbtest.Fleet(3), nil); err != nil {
		t.Fatal(err)
	}
	if err := s.AppendAll(t.Context(), "test", dbtest.Day, dbtest.Log(3, 500)); err != nil {
		t.Fatal(err)
	}
	if err := s.CheckPages(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 3))
	for page := 1; page < len(file)/4096; page++ {
		torn := append([]byte(nil), file...)
		for i := range 512 { // where a page says what lies on it (SQLite file format, 1.6)
			torn[page*4096+i] = byte(r.Uint32())
		}
		at := filepath.Join(t.TempDir(), "endshake.db")
		if err := os.WriteFile(at, torn, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := db.OpenToRead(t.Context(), at)
		if err == nil {
			err = s.CheckPages(t.Context())
			s.Close()
		}
		if err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("page %d of %d is torn: %v, want a sentence", page+1, len(file)/4096, err)
		}
		if left, _ := filepath.Glob(at + "-*"); len(left) > 0 {
			t.Errorf("looking at it left %q", left)
		}
	}
}

// A full disk refuses an entry with a sentence, keeps what was acknowledged, and
// takes entries again by itself once there is room.
func TestDiskFull(t *testing.T) {
	folder := dbtest.SmallDisk(t, 2<<20)
	s := dbtest.Open(t, folder)
	if err := s.SaveFleet(t.Context(), "test", dbtest.Day, dbtest.Fleet(1), nil); err != nil {
		t.Fatal(err)
	}
	ballast := filepath.Join(folder, "ballast")
	fill, err := os.Create(ballast)
	if err != nil {
		t.Fatal(err)
	}
	for err == nil { // to the last page
		_, err = fill.Write(make([]byte, 4096))
	}
	fill.Close()
	acked, full := 0, error(nil)
	entry := func(i int) schedule.Entry {
		return schedule.Entry{Clock: "clock-0", Kind: schedule.Noted, At: dbtest.Day, Note: strings.Repeat("long ", 400), Source: "test", Key: fmt.Sprint(i)}
	}
	for i := 0; full == nil && i < 10_000; i++ {
		if _, _, full = s.Append(t.Context(), "test", dbtest.Day, entry(i), nil); full == nil {
			acked++
		}
	}
	if full == nil || !strings.Contains(full.Error(), "the disk of the database is full: make room, nothing is lost") {
		t.Errorf("the full disk says %v", full)
	}
	if err := s.CheckPages(t.Context()); err != nil {
		t.Error(err)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.Append(t.Context(), "test", dbtest.Day, entry(-1), nil); err != nil {
		t.Errorf("there is room again: %v", err)
	}
	log, err := s.Entries(t.Context(), "clock-0")
	if err != nil || len(log) != acked+1 {
		t.Errorf("%d entries, %v; %d were acknowledged", len(log), err, acked+1)
	}
	if c, err := s.CheckAudit(t.Context(), dbtest.Day); err != nil || !c.Sound() {
		t.Errorf("the audit: %+v, %v", c, err)
	}
}

// A journal that somebody removed takes with it what was not in the file yet, and
// nothing else.
func TestJournalRemoved(t *testing.T) {
	j := journal(t, 30)
	if n := j.left(t, nil); n != 0 {
		t.Errorf("%d entries are left without the journal that holds them", n)
	}
}

// A start looks at its pages, and waits for that no longer than it may: what is too
// large to be looked through by then is begun with, and whoever stops the start is heard.
func TestStartWaitsForItsPages(t *testing.T) {
	path := filepath.Join(t.TempDir(), "endshake.db")
	s := dbtest.Open(t, path)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(s.SaveFleet(t.Context(), "test", dbtest.Day, dbtest.Fleet(3), nil))
	must(s.AppendAll(t.Context(), "test", dbtest.Day, dbtest.Log(3, 500)))
	must(s.CheckStart(t.Context()))
	must(s.Close())
	file, err := os.ReadFile(path)
	must(err)
	for i := range 512 {
		file[len(file)-4096+i] = byte(i * 7)
	}
	must(os.WriteFile(path, file, 0o600))
	s, err = db.OpenToRead(t.Context(), path)
	must(err)
	defer s.Close()
	if err := s.CheckStart(t.Context()); err == nil || !strings.Contains(err.Error(), "is damaged") {
		t.Errorf("a torn page: %v", err)
	}
	must(s.CheckStartWithin(t.Context(), 0))
	ended, end := context.WithCancel(t.Context())
	end()
	if err := s.CheckStart(ended); !errors.Is(err, context.Canceled) {
		t.Errorf("a start that was stopped: %v", err)
	}
}
