package daemon

import (
	"bytes"
	"image"
	"image/png"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
)

// A form with a picture goes through the whole service: sent twice, it is logged
// once, and the second answer leads to the same entry.
func TestQuickFormWithAPicture(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	base := "http://" + h.Addr()
	client := &http.Client{Jar: h.http.Jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	post := func(errorFound string) string {
		var body bytes.Buffer
		m := multipart.NewWriter(&body)
		for name, v := range map[string]string{"key": "form-1", "at": "", "ago": "90", "train": "going", "errorFound": errorFound, "errorFoundWay": "slow", "by": "ned"} {
			_ = m.WriteField(name, v)
		}
		w, err := m.CreateFormFile("picture", "a.png")
		if err == nil {
			err = png.Encode(w, image.NewGray(image.Rect(0, 0, 30, 20)))
		}
		if err != nil {
			t.Fatal(err)
		}
		m.Close()
		req, _ := http.NewRequest("POST", base+"/clock/moot-hall/do/wind?subject=going", &body)
		req.Header.Set("Content-Type", m.FormDataContentType())
		req.Header.Set("Sec-Fetch-Site", "same-origin")
		res, err := client.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		to := res.Header.Get("Location")
		if res.StatusCode != http.StatusSeeOther || !strings.HasPrefix(to, "/clock/moot-hall/done/") {
			t.Fatalf("answer %d to %q", res.StatusCode, to)
		}
		return to
	}
	first := post("12")
	h.set("2026-11-25 10:05") // the answer was lost, and it was sent again
	if again := post("12"); again != first+"?again" {
		t.Errorf("sent again it leads to %s, the first time to %s", again, first)
	}
	all, err := h.store.Entries(t.Context(), "moot-hall")
	if err != nil || len(all) != 1 || !all[0].At.Equal(at(t, "2026-11-25 10:00").Add(-90e9)) || all[0].By != "ned" || *all[0].ErrorFound != -12 {
		t.Errorf("logged %+v, %v", all, err)
	}
	pictures, err := h.store.Pictures(t.Context(), "moot-hall")
	if err != nil || len(pictures) != 1 || pictures[0].Entry != all[0].ID || !strings.HasPrefix(pictures[0].Words, "Wound the going train") {
		t.Errorf("pictures %+v, %v", pictures, err)
	}
}
