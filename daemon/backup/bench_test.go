package backup

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
)

// benchRows is how many entries the log holds: by ENDSHAKE_ROWS, or few.
func benchRows(b *testing.B) int {
	n, err := strconv.Atoi(os.Getenv("ENDSHAKE_ROWS"))
	if err != nil || n < 1 {
		return 30_000
	}
	return n
}

// withRows is a store with so many entries.
func withRows(b *testing.B, address string, rows int) *db.Store {
	b.Helper()
	s := dbtest.Open(b, address)
	must(b, s.SaveFleet(b.Context(), "bench", dbtest.Day, dbtest.Fleet(200), nil))
	log := dbtest.Log(200, rows)
	for i := 0; i < len(log); i += 50_000 {
		must(b, s.AppendAll(b.Context(), "bench", dbtest.Day, log[i:min(i+50_000, len(log))]))
	}
	return s
}

// BenchmarkDrill makes a copy and restores it, with every check of both, and gives
// the seconds of each, and how often longer it takes than the baseline: writing the
// same file anew and flushing it.
func BenchmarkDrill(b *testing.B) {
	for _, engine := range engines {
		b.Run(engine.name, func(b *testing.B) {
			s := withRows(b, engine.fresh(b), benchRows(b))
			var made, restored, base time.Duration
			for b.Loop() {
				folder := b.TempDir()
				began := time.Now()
				m, err := Make(b.Context(), s, Settings{Folder: folder, Keep: Usual}, dbtest.Day)
				must(b, err)
				made += time.Since(began)
				place := engine.fresh(b)
				if strings.HasPrefix(place, "sqlite:") {
					place = filepath.Join(b.TempDir(), "new")
				}
				began = time.Now()
				_, err = Restore(b.Context(), Order{Backup: m.Path, Database: place}, dbtest.Day)
				must(b, err)
				restored += time.Since(began)
				began = time.Now()
				f, err := os.Open(m.Path)
				must(b, err)
				must(b, writeNew(filepath.Join(folder, "baseline"), f))
				f.Close()
				base += time.Since(began)
			}
			n := float64(b.N)
			b.ReportMetric(made.Seconds()/n, "s/backup")
			b.ReportMetric(restored.Seconds()/n, "s/restore")
			b.ReportMetric(made.Seconds()/base.Seconds(), "backup/file-copy")
			b.ReportMetric(restored.Seconds()/base.Seconds(), "restore/file-copy")
		})
	}
}

// BenchmarkCheckPages is what a start costs for seeing that the pages fit together.
func BenchmarkCheckPages(b *testing.B) {
	s := withRows(b, dbtest.SQLite(b), benchRows(b))
	for b.Loop() {
		must(b, s.CheckPages(b.Context()))
	}
	size, err := s.Size(b.Context())
	must(b, err)
	b.ReportMetric(float64(size)/1e6, "MB")
}
