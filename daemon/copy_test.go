package daemon

import (
	"bytes"
	"image"
	"image/jpeg"
	"net/http"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"endshake/db"
	"endshake/schedule"
)

// What the pages give at /export is the whole file that is copied into an empty
// database: fleet, logs and pictures stand there as they stood here, and what was cut
// short is refused.
func TestExportOfThePagesIsCopiedIn(t *testing.T) {
	h := open(t, "2026-11-25 10:00", append(wound(t, "2024-01-01 09:00", "2026-11-23 09:00"), reading(t, "2026-06-10 10:00", 0.30))...)
	var picture bytes.Buffer
	if err := jpeg.Encode(&picture, image.NewGray(image.Rect(0, 0, 30, 20)), nil); err != nil {
		t.Fatal(err)
	}
	note := schedule.Entry{Clock: "moot-hall", Kind: schedule.Noted, At: h.clock(), By: "ned", Note: "A jackdaw in the louvres.\n“Gone” by noon.", Source: "test"}
	if _, err := h.desk.LogShown(t.Context(), note, []schedule.Picture{{JPEG: picture.Bytes(), Small: picture.Bytes(), Width: 30, Height: 20, Words: "A jackdaw"}}); err != nil {
		t.Fatal(err)
	}
	code, file := h.post("/export", nil)
	if code != http.StatusOK {
		t.Fatalf("/export answers %d: %.300s", code, file)
	}
	empty := func() *db.Store {
		store, err := db.Open(t.Context(), filepath.Join(t.TempDir(), "endshake.db"))
		if err == nil {
			t.Cleanup(func() { store.Close() })
			_, _, err = store.Migrate(t.Context())
		}
		if err != nil {
			t.Fatal(err)
		}
		return store
	}
	into := empty()
	foot, err := CopyIn(t.Context(), into, "test", h.clock(), strings.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := h.store.Fleet(t.Context())
	back, backErr := into.Fleet(t.Context())
	if err != nil || backErr != nil || !reflect.DeepEqual(fleet, back) || len(back.Clocks) != 2 {
		t.Errorf("the fleet comes back as %+v, %v, %v; it was %+v", back, err, backErr, fleet)
	}
	entries, pictures := 0, 0
	for _, c := range fleet.Clocks {
		log, err := h.store.Entries(t.Context(), c.Slug)
		backLog, backErr := into.Entries(t.Context(), c.Slug)
		if err != nil || backErr != nil || !reflect.DeepEqual(log, backLog) {
			t.Errorf("%s: %d entries, %v, and back %d, %v", c.Slug, len(log), err, len(backLog), backErr)
		}
		shown, err := h.store.Pictures(t.Context(), c.Slug)
		backShown, backErr := into.Pictures(t.Context(), c.Slug)
		if err != nil || backErr != nil || !reflect.DeepEqual(shown, backShown) {
			t.Errorf("%s: pictures %+v, %v, and back %+v, %v", c.Slug, shown, err, backShown, backErr)
		}
		entries, pictures = entries+len(log), pictures+len(shown)
	}
	if foot.Counts["entry"] != entries || entries < 100 || foot.Counts["picture"] != pictures || pictures != 1 {
		t.Errorf("the file counts %v; kept are %d entries and %d pictures", foot.Counts, entries, pictures)
	}
	if _, err := CopyIn(t.Context(), empty(), "test", h.clock(), strings.NewReader(file[:len(file)-40])); err == nil {
		t.Error("a file that was cut short is taken")
	}
}
