package dbtest

import (
	"fmt"
	"os"
	"syscall"
	"testing"
)

// SmallDisk gives a folder that is a disk of its own, of so many bytes, until the test
// ends. It needs root, see Need.
func SmallDisk(t testing.TB, bytes int) string {
	t.Helper()
	folder := t.TempDir()
	if os.Geteuid() != 0 {
		Need(t, "only root can mount a small disk to fill")
	}
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, fmt.Sprintf("size=%d,mode=0777", bytes)); err != nil {
		Need(t, "a small disk to fill cannot be mounted here: "+err.Error())
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return folder
}
