package backup

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"endshake/db/dbtest"
	"endshake/schedule"
)

// A full disk for backups: it fails with a sentence, leaves the older ones and
// nothing half, the service's database goes on, and it works again once there is room.
func TestBackupDiskFull(t *testing.T) {
	folder := dbtest.SmallDisk(t, 1<<20)
	s := filled(t, dbtest.SQLite(t))
	set := Settings{Folder: folder, Keep: Usual}
	good, err := Make(t.Context(), s, set, dbtest.Day)
	must(t, err)
	ballast := filepath.Join(folder, "ballast")
	must(t, os.WriteFile(ballast, make([]byte, 1<<20-int(good.Size)-100<<10), 0o600))
	_, err = Make(t.Context(), s, set, dbtest.Day.Add(time.Hour))
	wantSentence(t, err, "the disk of the copy is full, make room there")
	t.Log(err)
	if all, err := List(folder); err != nil || len(all) != 1 || all[0] != good.File {
		t.Errorf("the folder holds %+v, %v", all, err)
	}
	if left, _ := filepath.Glob(filepath.Join(folder, ".*")); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
	e := schedule.Entry{Clock: "clock-1", Kind: schedule.Noted, At: dbtest.Day, Note: "meanwhile", Source: "test"}
	_, _, err = s.Append(t.Context(), "test", dbtest.Day, e, nil)
	must(t, err)
	must(t, os.Remove(ballast))
	_, err = Make(t.Context(), s, set, dbtest.Day.Add(2*time.Hour))
	must(t, err)
}
