package backup

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

func day(s string) time.Time {
	t, err := time.Parse("2006-01-02 15:04", s)
	if err != nil {
		panic(err)
	}
	return t
}

// filesAt are copies of instants, newest first as List gives them.
func filesAt(at ...time.Time) (out []File) {
	for _, t := range at {
		out = append(out, File{Path: nameAt(t, kindSQLite, false), At: t, Kind: kindSQLite})
	}
	slices.SortFunc(out, func(a, b File) int { return b.At.Compare(a.At) })
	return out
}

// A copy each night for two years: what stays is counted off by hand on a calendar.
func TestKeepOnACalendar(t *testing.T) {
	now := day("2026-11-26 05:00") // a Thursday
	var at []time.Time
	for d := range 730 {
		at = append(at, day("2026-11-26 04:40").AddDate(0, 0, -d))
	}
	files := filesAt(at...)
	gone := Keep{7, 4, 12}.surplus(files, now, true)
	var left []string
	for _, f := range files {
		if !slices.ContainsFunc(gone, func(g File) bool { return g.Path == f.Path }) {
			left = append(left, f.At.Format("01-02"))
		}
	}
	want := []string{
		"11-26", "11-25", "11-24", "11-23", "11-22", "11-21", "11-20", // days; 22 November is a Sunday, and so the newest of its week
		"11-15", "11-08", // the weeks before
		"10-31", "09-30", "08-31", "07-31", "06-30", "05-31", "04-30", "03-31", "02-28", "01-31", "12-31", // months
	}
	if !slices.Equal(left, want) {
		t.Errorf("what stays is %q, want %q", left, want)
	}
}

// Whatever the copies are: the newest that is not ahead of its time stays; what is
// ahead stays where now may be wrong, and goes where it is right, and never has
// another go; what else goes is older than something that stays of the same day, week and month, or beyond
// what is counted; and once it is done there is nothing more to do.
func TestKeepProperties(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for range 2000 {
		now := day("2026-11-26 05:00")
		var at []time.Time
		for range r.IntN(60) {
			at = append(at, now.Add(-time.Duration(r.IntN(500*24*60))*time.Minute+time.Duration(r.IntN(48))*time.Hour))
		}
		files := filesAt(at...)
		files = slices.CompactFunc(files, func(a, b File) bool { return a.Path == b.Path })
		k, sure := Keep{r.IntN(9), r.IntN(6), 1 + r.IntN(13)}, r.IntN(2) == 0
		gone := k.surplus(files, now, sure)
		right := slices.DeleteFunc(slices.Clone(files), func(f File) bool { return f.Ahead(now) })
		alone := k.surplus(right, now, sure)
		left := slices.DeleteFunc(slices.Clone(files), func(f File) bool {
			return slices.ContainsFunc(gone, func(g File) bool { return g.Path == f.Path })
		})
		if len(left)+len(gone) != len(files) {
			t.Fatalf("%d stay and %d go of %d", len(left), len(gone), len(files))
		}
		if len(files) == 0 {
			continue
		}
		if n := len(gone) - len(alone); sure && n != len(files)-len(right) || !sure && n != 0 {
			t.Fatalf("beside %d that are ahead, %d go; without them %d", len(files)-len(right), len(gone), len(alone))
		}
		past, days, months := 0, map[string]bool{}, map[string]bool{}
		newest := true
		for _, f := range files {
			stays := slices.Contains(left, f)
			if f.At.After(now.Add(time.Hour)) {
				if stays == sure {
					t.Fatalf("one of the future: %v, stays %v where now is sure %v", f.Path, stays, sure)
				}
				continue
			}
			if newest && !stays { // of what is not of the future
				t.Fatalf("the newest that can be right goes: %v, %+v", f.Path, k)
			}
			newest = false
			d, m := f.At.Format("2006-01-02"), f.At.Format("2006-01")
			if !days[d] && len(days) < k.Daily && !stays {
				t.Fatalf("%v goes, the newest of one of the %d last days", f.Path, k.Daily)
			}
			if !months[m] && len(months) < k.Monthly && !stays {
				t.Fatalf("%v goes, the newest of one of the %d last months", f.Path, k.Monthly)
			}
			days[d], months[m] = true, true
			if stays {
				past++
			}
		}
		if most := k.Daily + k.Weekly + k.Monthly; past > most {
			t.Fatalf("%d stay, want %d at most by %+v", past, most, k)
		}
		if more := k.surplus(left, now, sure); len(more) > 0 {
			t.Fatalf("a second time %d more go, by %+v", len(more), k)
		}
	}
}

func TestParseKeep(t *testing.T) {
	for s, want := range map[string]Keep{"7,4,12": Usual, " 1 , 0, 0": {1, 0, 0}, "0,0,10000": {0, 0, 10000}} {
		if got, err := ParseKeep(s); err != nil || got != want {
			t.Errorf("%q is %+v, %v", s, got, err)
		}
	}
	for _, s := range []string{"", "7", "7,4", "7,4,12,1", "0,0,0", "-1,4,12", "7,4,10001", "a,b,c", "7;4;12", "99999999999999999999,1,1", "7,4,12 months"} {
		if k, err := ParseKeep(s); err == nil || k != (Keep{}) || !strings.Contains(err.Error(), "7,4,12") {
			t.Errorf("%q is %+v, %v", s, k, err)
		}
	}
	if k, err := ParseKeep(Usual.String()); err != nil || k != Usual {
		t.Errorf("%v reads back as %+v, %v", Usual, k, err)
	}
}

// Nothing goes but what this program made, by its name and by how it begins.
func TestRemovesOnlyItsOwn(t *testing.T) {
	folder := t.TempDir()
	put := func(name, text string) {
		must(t, os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600))
	}
	sqlite, dump, sealed := heads[kindSQLite], heads[kindPostgres], heads[sealedEnd]
	own := map[string]string{
		"endshake-20200101T000000Z.db": sqlite + "x", "endshake-20200102T000000Z.pgdump": dump + "x",
		"endshake-20200103T000000Z.db.age": sealed + "x", "endshake-20200104T000000Z.pgdump.age": sealed,
	}
	others := map[string]string{
		"endshake-20200101T000000Z.db.age": sqlite, "endshake-20200105T000000Z.db": "old", "endshake-20200106T000000Z.db": dump,
		"endshake-20200107T000000Z.pgdump": sqlite, "endshake-20200108T000000Z.db": "", "endshake-20200109T000000Z.db": sealed,
		"endshake.db": sqlite, "notes.txt": sqlite, "endshake-20200110T000000Z.db~": sqlite, "endshake-20201301T000000Z.db": sqlite,
		"endshake-20200111T000000.db": sqlite, "my-endshake-20200112T000000Z.db": sqlite, "endshake-20200113T000000Z.sql": sqlite,
		".endshake-20200114T000000Z.part~": sqlite, ".endshake-20260125T000000Z.part": "a note of mine",
	}
	for name, text := range own {
		put(name, text)
	}
	put("endshake-20200101T000000Z.db"+sumEnd, "its sum")
	for name, text := range others {
		put(name, text)
	}
	must(t, os.Mkdir(filepath.Join(folder, "endshake-20200115T000000Z.db"), 0o700))
	must(t, os.Symlink(filepath.Join(folder, "endshake.db"), filepath.Join(folder, "endshake-20200116T000000Z.db")))
	// What a killed program left is taken away once nobody can be at it.
	for name, text := range map[string]string{".endshake-20260101T000000Z.part": sqlite + "half", ".endshake-20260102T000000Z.part": "", ".endshake-20260102T000000Z.part-journal": "x"} {
		put(name, text)
		old := time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)
		must(t, os.Chtimes(filepath.Join(folder, name), old, old))
	}
	must(t, os.Chtimes(filepath.Join(folder, ".endshake-20260125T000000Z.part"), day("2026-01-25 00:00"), day("2026-01-25 00:00")))
	put(".endshake-20260103T000000Z.part", sqlite+"somebody is at it")
	now := time.Now()
	m, err := Make(t.Context(), filled(t, filepath.Join(t.TempDir(), "data")), Settings{Folder: folder, Keep: Keep{1, 0, 0}}, now)
	must(t, err)
	if len(m.Removed) != len(own) {
		t.Errorf("removed %q", m.Removed)
	}
	others[filepath.Base(m.Path)+sumEnd] = ""
	others[filepath.Base(m.Path)], others["endshake-20200115T000000Z.db"], others["endshake-20200116T000000Z.db"], others[".endshake-20260103T000000Z.part"] = "", "", "", ""
	entries, err := os.ReadDir(folder)
	must(t, err)
	for _, e := range entries {
		if _, ok := others[e.Name()]; !ok {
			t.Errorf("%s is still there", e.Name())
		}
		delete(others, e.Name())
	}
	if len(others) > 0 {
		t.Errorf("gone is what was not its own: %v", others)
	}
}

// The names that are written are read again.
func TestNames(t *testing.T) {
	at := time.Date(2026, 11, 26, 4, 40, 59, 999, time.FixedZone("", 3600))
	for _, kind := range []string{kindSQLite, kindPostgres} {
		for _, sealed := range []bool{false, true} {
			name := nameAt(at, kind, sealed)
			f, ok := parseName(name)
			if want := (File{At: at.UTC().Truncate(time.Second), Kind: kind, Sealed: sealed}); !ok || f != want {
				t.Errorf("%s reads as %+v, %v", name, f, ok)
			}
			if !strings.HasPrefix(name, "endshake-20261126T034059Z.") {
				t.Errorf("the name is %s", name)
			}
		}
	}
	if _, ok := parseName(partName(at)); ok {
		t.Error("what is not whole is taken for a copy")
	}
}
