package web

import (
	"bytes"
	"compress/gzip"
	"encoding/base64"
	"encoding/csv"
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"

	"endshake/daemon/oldbook"
	"endshake/schedule"
)

// bookForm is a form with a file, as a browser sends it.
func bookForm(t testing.TB, file string, v url.Values) (kind, body string) {
	t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for name, values := range v {
		for _, value := range values {
			if err := w.WriteField(name, value); err != nil {
				t.Fatal(err)
			}
		}
	}
	part, err := w.CreateFormFile("file", `C:\books\tower.csv`)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := part.Write([]byte(file)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return w.FormDataContentType(), b.String()
}

// sendBook sends one, with a file or what is packed in the form.
func sendBook(t *testing.T, h http.Handler, file string, v url.Values) (*http.Response, string) {
	t.Helper()
	kind, body := bookForm(t, file, v)
	return ask(t, h, posting("/old-book", kind, body))
}

const towerBook = "date,clock,what,bearing,reading (mm),by,remarks\n" +
	"2025-01-13,corn-hall,wound,,,tom,cold\n" +
	"2025-02-13,corn-hall,serviced,,,J. B.,\n" +
	"2025-03-13,corn-hall,measured,centre-front,16,edda,\n" +
	"2025-04-13,mill,inspected,,,edda,<script>alert(1)</script>\n"

// wellBook is one of which nothing is asked.
const wellBook = "date,clock,what,bearing,reading (mm),by,remarks\n2025-01-13,corn-hall,wound,,,tom,cold\n2025-02-14,corn-hall,measured,centre-front,0.55,edda,with a feeler\n"

// A book is looked at, asked about, and logged by the form that comes back, with the
// file in it; nothing is kept here in between, and once is once.
func TestOldBook(t *testing.T) {
	d := newDesk()
	s := siteOf(t, d)
	_, body := get(t, s, "/old-book")
	checkPage(t, "/old-book", body)
	res, body := sendBook(t, s, towerBook, nil)
	checkPage(t, "/old-book", body)
	text := flat(t, body)
	for _, want := range []string{"tower.csv", "4 rows give 2 entries to log; 2 questions are open; 1 row is refused", "What does “serviced” mean", "Who is “J. B.”?",
		"Row 4, column E: 16 mm (0.630 in) does not fit", "Row 4 is right as written", "Corn Hall clock: 1 wound, 13 Jan 2025", "Column A “date”"} {
		if !strings.Contains(text, want) {
			t.Errorf("there is no %q: %s", want, text)
		}
	}
	if res.StatusCode != 200 || len(d.logged) > 0 || strings.Contains(body, `name="keep"`) || strings.Contains(body, "<script>alert") {
		t.Fatalf("%d, %d entries", res.StatusCode, len(d.logged))
	}
	v := filled(t, body)
	v.Set("keep", "yes") // too early
	if res, _ := sendBook(t, s, "", v); res.StatusCode != 200 || len(d.logged) > 0 {
		t.Fatalf("with questions open: %d, %d entries", res.StatusCode, len(d.logged))
	}
	v.Del("keep")
	for i, key := range v["k"] {
		v.Set("q-"+string(rune('0'+i)), map[string]string{"what serviced": "oiled", "who j b": "as a note"}[key])
	}
	v.Set("sure", "4")
	_, body = sendBook(t, s, "", v)
	checkPage(t, "/old-book", body)
	if !strings.Contains(body, ">Log 4 entries</button>") {
		t.Fatalf("answered: %s", flat(t, body))
	}
	v = filled(t, body)
	v.Set("keep", "yes")
	res, _ = sendBook(t, s, "", v)
	if res.StatusCode != 303 || res.Header.Get("Location") != "/old-book?logged=4" || len(d.logged) != 4 {
		t.Fatalf("%d, %d entries", res.StatusCode, len(d.logged))
	}
	for _, e := range d.logged {
		if !e.Old || !strings.HasPrefix(e.Key, "old book ") || e.Kind == schedule.Oiled && e.Note != "by J. B.; serviced" && e.Note != "serviced; by J. B." || e.Kind == schedule.Measured && !e.Sure {
			t.Errorf("logged %+v", e)
		}
	}
	_, body = get(t, s, res.Header.Get("Location"))
	if !strings.Contains(body, "Logged 4 entries of the old book.") {
		t.Errorf("after it: %s", flat(t, body))
	}
	res, body = sendBook(t, s, "", v)
	if len(d.logged) != 4 || res.StatusCode != 303 && !strings.Contains(body, "4 that the log has already") {
		t.Errorf("sent twice: %d, %d entries", res.StatusCode, len(d.logged))
	}
}

// W03 to W06: what stands in the cells, the header and the name of a book is words
// on every page that shows it.
func TestOldBookHostileWords(t *testing.T) {
	d := newDesk()
	s := siteOf(t, d)
	var file strings.Builder
	c := csv.NewWriter(&file)
	for _, row := range [][]string{{"date", "clock", "what", "bearing", "reading (mm)", "by", "remarks", evil}, {"2025-01-13", "corn-hall", evil, "", "", evil, evil, evil},
		{"2025-01-14", evil, "wound", "", "", "tom", "", ""}, {evil, "corn-hall", "wound", "", "", "tom", "", ""}, {"2025-01-15", "corn-hall", "measured", evil, evil, "tom", "", ""}} {
		if err := c.Write(row); err != nil {
			t.Fatal(err)
		}
	}
	c.Flush()
	kind, form := bookForm(t, file.String(), url.Values{"answers": {`{"what x":"` + "<x-evil>" + `"}`}})
	form = strings.Replace(form, "tower.csv", "<x-evil>.csv", 1)
	_, body := ask(t, s, posting("/old-book", kind, form))
	checkPage(t, "/old-book", body)
	checkTame(t, "/old-book", body)
	if n := strings.Count(body, "x-evil"); n < 5 {
		t.Errorf("what was written stands %d times on the page: %s", n, flat(t, body))
	}
	v := filled(t, body)
	for i := range v["k"] { // each question is answered with what it is asked of
		v.Set("q-"+strconv.Itoa(i), evil)
	}
	_, body = sendBook(t, s, "", v)
	checkPage(t, "/old-book", body)
	checkTame(t, "/old-book", body)
	if !strings.Contains(flat(t, body), "is none of the answers") {
		t.Errorf("answers that are none: %s", flat(t, body))
	}
}

// What a column is can be said on the page, and refused rows be left out.
func TestOldBookColumnsAndRefused(t *testing.T) {
	d := newDesk()
	s := siteOf(t, d)
	_, body := sendBook(t, s, "date,clock,what,weather\n2025-01-13,corn-hall,wound,dull\n2027-01-13,corn-hall,wound,dull\n", nil)
	v := filled(t, body)
	if !slices.Equal(v["k"], []string{"column D"}) || len(v["was"]) != 3 {
		t.Fatalf("asks %q, %q", v["k"], v["was"])
	}
	v.Set("q-0", "note")
	v.Set("leaveOut", "on")
	_, body = sendBook(t, s, "", v)
	if !strings.Contains(body, ">Log 1 entry</button>") {
		t.Fatalf("left out: %s", flat(t, body))
	}
	v = filled(t, body)
	v.Set("keep", "yes")
	if res, _ := sendBook(t, s, "", v); res.StatusCode != 303 || len(d.logged) != 1 || d.logged[0].Note != "dull" {
		t.Errorf("%d, %+v", res.StatusCode, d.logged)
	}
	v.Set("c-2", "note") // what was done is a remark only
	v.Del("keep")
	_, body = sendBook(t, s, "", v)
	if !strings.Contains(flat(t, body), "1 noted") {
		t.Errorf("said otherwise: %s", flat(t, body))
	}
}

// What is no book, too large, or packed to burst is refused, and is no fault.
func TestOldBookHostile(t *testing.T) {
	d := newDesk()
	s := siteOf(t, d)
	bomb := func(n int) string {
		var b bytes.Buffer
		text := base64.NewEncoder(base64.StdEncoding, &b)
		z := gzip.NewWriter(text)
		for range n {
			if _, err := z.Write(make([]byte, 1<<20)); err != nil {
				t.Fatal(err)
			}
		}
		if z.Close() != nil || text.Close() != nil {
			t.Fatal("cannot be packed")
		}
		return b.String()
	}
	for name, tt := range map[string]struct {
		file string
		v    url.Values
		want int
		says string
	}{
		"nothing":           {"", nil, 422, "No file was chosen"},
		"no book":           {"PK\x03\x04 not really", nil, 422, "damaged"},
		"too large":         {strings.Repeat("a,b\n", 1<<19+1), nil, 422, "larger than 2 MB"},
		"far too large":     {strings.Repeat("a,b\n", 3<<20), nil, 413, ""},
		"a bomb":            {"", url.Values{"packed": {bomb(200)}}, 422, "larger than 2 MB"},
		"not packed":        {"", url.Values{"packed": {"????"}}, 400, ""},
		"answers of no use": {towerBook, url.Values{"answers": {"[]"}}, 400, ""},
		"many answers":      {towerBook, url.Values{"answers": {strings.Repeat("x", mostAnswered+1)}}, 413, ""},
	} {
		res, body := sendBook(t, s, tt.file, tt.v)
		if res.StatusCode != tt.want || !strings.Contains(flat(t, body), tt.says) {
			t.Errorf("%s: %d, want %d: %.300s", name, res.StatusCode, tt.want, flat(t, body))
		}
	}
	if res, _ := send(t, s, "/old-book", url.Values{"file": {"x"}}); res.StatusCode != 400 {
		t.Errorf("a form without a file: %d", res.StatusCode)
	}
	if len(d.logged) > 0 {
		t.Error("something is logged")
	}
	if packed, err := pack([]byte(towerBook)); err != nil {
		t.Error(err)
	} else if back, err := unpack(packed); err != nil || string(back) != towerBook {
		t.Errorf("packed and unpacked: %q, %v", back, err)
	}
	if n := base64.StdEncoding.EncodedLen(oldbook.OfPage.Bytes + 4096); n > mostPacked {
		t.Errorf("the largest file is packed in %d bytes, more than is read", n)
	}
}
