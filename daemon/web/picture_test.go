package web

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// corner is a picture that is white but for its first pixels at the top left.
func corner(w, h int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.Gray{255}
			if x < w/4 && y < h/4 {
				c.Y = 0
			}
			img.Set(x, y, c)
		}
	}
	return img
}

// exif is a block as a camera writes it (Exif 2.3, 4.6): how it was held, its
// maker, and where it was, in a directory of its own.
func exif(order binary.AppendByteOrder, orientation uint16) []byte {
	b := []byte("MM\x00\x2a")
	if order.AppendUint16(nil, 1)[0] == 1 {
		b = []byte("II\x2a\x00")
	}
	b = order.AppendUint32(b, 8)
	b = order.AppendUint16(b, 3)
	tag := func(id, kind uint16, n, value uint32) {
		b = order.AppendUint32(order.AppendUint32(order.AppendUint16(order.AppendUint16(b, id), kind), n), value)
	}
	tag(0x010f, 2, 4, 0x4d414b45) // Make
	b = order.AppendUint16(order.AppendUint16(b, 0x0112), 3)
	b = order.AppendUint32(b, 1)
	b = append(order.AppendUint16(b, orientation), 0, 0)
	tag(0x8825, 4, 1, 50) // the GPS directory
	b = order.AppendUint32(b, 0)
	b = order.AppendUint16(b, 1)
	tag(0x001d, 2, 11, 68)
	b = append(order.AppendUint32(b, 0), "2026:11:25\x00GPS-LATITUDE-51.4779"...)
	return append([]byte("Exif\x00\x00"), b...)
}

// photo is a JPEG with a block, as a telephone sends it.
func photo(t testing.TB, img image.Image, block []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, nil); err != nil {
		t.Fatal(err)
	}
	head := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(block)+2))...)
	return slices.Concat(head, block, out.Bytes()[2:])
}

// Whichever way the telephone was held, the picture stands upright; of where it
// was taken, and of what took it, nothing is left.
func TestPicturesAreUprightAndBare(t *testing.T) {
	// Where the corner that the camera wrote first is seen, by its orientation
	// (Exif 2.3, 4.6.4, tag 274: the sides of row 0 and of column 0).
	for orientation, want := range map[uint16]string{1: "top left", 2: "top right", 3: "bottom right", 4: "bottom left",
		5: "top left", 6: "top right", 7: "bottom right", 8: "bottom left", 0: "top left", 9: "top left"} {
		for _, order := range []binary.AppendByteOrder{binary.BigEndian, binary.LittleEndian} {
			raw := photo(t, corner(400, 200), exif(order, orientation))
			if !bytes.Contains(raw, []byte("GPS-LATITUDE")) {
				t.Fatal("the picture of the test has no place in it")
			}
			p, err := shrink(t.Context(), raw)
			if err != nil {
				t.Fatal(err)
			}
			for _, data := range [][]byte{p.JPEG, p.Small} {
				for _, no := range []string{"Exif", "GPS", "2026:", "\xff\xe1", "\xff\xed", "\xff\xfe"} {
					if bytes.Contains(data[:min(len(data), 600)], []byte(no)) || len(no) > 2 && bytes.Contains(data, []byte(no)) {
						t.Errorf("orientation %d: %q is left", orientation, no)
					}
				}
			}
			img, err := jpeg.Decode(bytes.NewReader(p.JPEG))
			if err != nil {
				t.Fatal(err)
			}
			w, h := img.Bounds().Dx(), img.Bounds().Dy()
			if (orientation >= 5 && orientation <= 8) != (w == 200 && h == 400) || p.Width != w || p.Height != h {
				t.Errorf("orientation %d: %d by %d, said to be %d by %d", orientation, w, h, p.Width, p.Height)
			}
			dark := map[string]image.Point{"top left": {5, 5}, "top right": {w - 5, 5}, "bottom left": {5, h - 5}, "bottom right": {w - 5, h - 5}}
			for name, at := range dark {
				if y := color.GrayModel.Convert(img.At(at.X, at.Y)).(color.Gray).Y; (y < 100) != (name == want) {
					t.Errorf("orientation %d: %s is %d, want the corner %s", orientation, name, y, want)
				}
			}
		}
	}
}

func TestPicturesAreMadeSmall(t *testing.T) {
	var clear bytes.Buffer
	if err := png.Encode(&clear, image.NewNRGBA(image.Rect(0, 0, 40, 30))); err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		raw                []byte
		wide, high, sw, sh int
		white              bool
	}{
		"wide": {photo(t, corner(2400, 600), nil), 1600, 400, 320, 80, false}, "high": {photo(t, corner(500, 2000), nil), 400, 1600, 80, 320, false},
		"small": {photo(t, corner(120, 80), nil), 120, 80, 120, 80, false}, "seen through": {clear.Bytes(), 40, 30, 40, 30, true},
	} {
		p, err := shrink(t.Context(), tt.raw)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		large, err := jpeg.Decode(bytes.NewReader(p.JPEG))
		if err != nil {
			t.Fatal(err)
		}
		small, err := jpeg.DecodeConfig(bytes.NewReader(p.Small))
		if err != nil || p.Width != tt.wide || p.Height != tt.high || small.Width != tt.sw || small.Height != tt.sh {
			t.Errorf("%s: %d by %d and %d by %d", name, p.Width, p.Height, small.Width, small.Height)
		}
		if r, _, _, _ := large.At(2, 2).RGBA(); tt.white && r < 0xf000 {
			t.Errorf("%s is not on white", name)
		}
	}
}

// sized is a PNG that says how large it is, and holds nothing.
func sized(w, h uint32, depth, interlace byte) []byte {
	ihdr := append(binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32([]byte("IHDR"), w), h), depth, 6, 0, 0, interlace)
	out := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0d"), ihdr...)
	return binary.BigEndian.AppendUint32(out, crcOf(ihdr))
}

// crcOf is the check of PNG (ISO 3309).
func crcOf(b []byte) uint32 {
	c := ^uint32(0)
	for _, x := range b {
		c ^= uint32(x)
		for range 8 {
			c = c>>1 ^ 0xedb88320*(c&1)
		}
	}
	return ^c
}

func TestPicturesRefused(t *testing.T) {
	whole := photo(t, corner(300, 200), exif(binary.BigEndian, 6))
	for name, tt := range map[string]struct {
		raw  []byte
		says string
	}{
		"no picture": {[]byte("<svg onload=alert(1)>"), "not a JPEG or PNG"}, "gif": {[]byte("GIF89a\x01\x00\x01\x00"), "not a JPEG or PNG"},
		"cut off": {whole[:len(whole)/2], "cannot be read"}, "head alone": {whole[:3], "cannot be read"},
		"too many pixels": {sized(10_000, 5_001, 8, 0), "has 10000 by 5001 pixels"}, "more than fits": {sized(1<<31-1, 1<<31-1, 8, 0), ""},
		"too deep": {sized(6_000, 5_000, 16, 0), "pixels"}, "just as many": {sized(10_000, 5_000, 8, 0), "cannot be read"}, "none": {sized(0, 5, 8, 0), "cannot be read"},
	} {
		if p, err := shrink(t.Context(), tt.raw); err == nil || !strings.Contains(err.Error(), tt.says) || len(p.JPEG) > 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzOrientation(f *testing.F) {
	f.Add(photo(f, corner(8, 8), exif(binary.BigEndian, 6)))
	f.Add(photo(f, corner(8, 8), exif(binary.LittleEndian, 8)))
	f.Add([]byte("\xff\xd8\xff\xe1\xff\xff"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		if v := orientation(raw); v < 1 || v > 8 {
			t.Errorf("orientation %d", v)
		}
	})
}

// sendParts posts a form with pictures.
func sendParts(t *testing.T, h http.Handler, path string, values url.Values, pictures ...[]byte) (*http.Response, string) {
	t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for name, list := range values {
		for _, v := range list {
			if err := m.WriteField(name, v); err != nil {
				t.Fatal(err)
			}
		}
	}
	for i, p := range pictures {
		w, err := m.CreateFormFile("picture", fmt.Sprintf("../../etc/%d.jpg", i))
		if err == nil {
			_, err = w.Write(p)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	m.Close()
	r := httptest.NewRequest("POST", path, &body)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return ask(t, h, r)
}

// Pictures go with the entry, stand in the log with words, and are shown to
// those alone who may see the clock.
func TestPicturesOfAnEntry(t *testing.T) {
	d := woundDesk()
	s := siteFor(t, d, winder)
	raw := photo(t, corner(640, 480), exif(binary.BigEndian, 1))
	_, body := get(t, s, "/clock/corn-hall/do/wind?subject=going")
	v := filled(t, body)
	v.Del("picture")
	res, body := sendParts(t, s, "/clock/corn-hall/do/wind?subject=going", v, raw, nil, raw)
	if res.StatusCode != http.StatusSeeOther || len(d.album) != 2 || len(d.logged) != 1 || d.logged[0].Train != "going" {
		t.Fatalf("%d, %d pictures, %d entries: %s", res.StatusCode, len(d.album), len(d.logged), body)
	}
	for _, path := range []string{"/clock/corn-hall", res.Header.Get("Location")} {
		_, body := get(t, s, path)
		checkPage(t, path, body)
		if strings.Count(body, `<img src="/picture/p`) != 2 || !strings.Contains(body, `alt="Wound the going train, 25 Nov 2026"`) || !strings.Contains(body, `width="320" height="240"`) {
			t.Errorf("%s does not show them", path)
		}
	}
	for _, path := range []string{"/picture/p0", "/picture/p1/small"} {
		res, body := get(t, s, path)
		if res.StatusCode != 200 || res.Header.Get("Content-Type") != "image/jpeg" || !strings.HasPrefix(body, "\xff\xd8") || strings.Contains(body, "Exif") {
			t.Errorf("%s: %d", path, res.StatusCode)
		}
		// A browser keeps it, and asks each time whether it may still be shown.
		r := httptest.NewRequest("GET", path, nil)
		r.Header.Set("If-None-Match", res.Header.Get("ETag"))
		if again, body := ask(t, s, r); res.Header.Get("Cache-Control") != "private, no-cache" || again.StatusCode != http.StatusNotModified || body != "" {
			t.Errorf("%s again: %q, %d", path, res.Header.Get("Cache-Control"), again.StatusCode)
		}
		r = r.Clone(t.Context())
		if other, _ := ask(t, siteFor(t, d, schedule.Actor{Person: "eve"}), r); other.StatusCode != 404 {
			t.Errorf("%s again, of somebody else: %d", path, other.StatusCode)
		}
		lost, _ := get(t, s, "/picture/none")
		for _, a := range []schedule.Actor{{Person: "eve"}, {Person: "nobody"}, {Machine: &schedule.Machine{Name: "gauge", Scopes: []schedule.Scope{schedule.ScopeMetrics}}}} {
			if other, _ := get(t, siteFor(t, d, a), path); other.StatusCode != lost.StatusCode || lost.StatusCode != 404 {
				t.Errorf("%s of %s: %d", path, a.Name(), other.StatusCode)
			}
		}
		if nobody, _ := get(t, siteFor(t, d, schedule.Actor{}), path); nobody.StatusCode != http.StatusSeeOther {
			t.Errorf("%s of nobody: %d", path, nobody.StatusCode)
		}
	}
}

// A picture that is refused refuses the form, as it was filled in.
func TestPicturesOfAFormRefused(t *testing.T) {
	s := newSite(t)
	raw := photo(t, corner(64, 48), nil)
	_, body := get(t, s, "/clock/corn-hall/log?kind=noted")
	v := filled(t, body)
	v.Set("note", "a crack in the <bush>")
	v.Del("picture")
	for name, tt := range map[string]struct {
		pictures [][]byte
		status   int
		says     string
	}{
		"no picture": {[][]byte{raw, []byte("hello")}, 422, "Picture 2 is not a JPEG or PNG file"}, "four": {[][]byte{raw, raw, raw, raw}, 413, "more than 3 pictures"},
		"large": {[][]byte{append(slices.Clone(raw), make([]byte, mostRaw)...)}, 413, "larger than 12 MB"},
	} {
		res, body := sendParts(t, s, "/clock/corn-hall/log", v, tt.pictures...)
		if text := flat(t, body); res.StatusCode != tt.status || !strings.Contains(text, tt.says) {
			t.Errorf("%s: %d: %s", name, res.StatusCode, text)
		}
		if tt.status == 422 && (!strings.Contains(body, "a crack in the &lt;bush&gt;") || !strings.Contains(body, "Choose the 2 pictures again:")) {
			t.Errorf("%s: what was filled in is lost", name)
		}
	}
	v.Set("note", strings.Repeat("x", mostBody+1))
	if res, _ := sendParts(t, s, "/clock/corn-hall/log", v, raw); res.StatusCode != 413 {
		t.Errorf("a note without end: %d", res.StatusCode)
	}
	if len(s.desk.logged)+len(s.desk.album) > 0 {
		t.Errorf("%d entries, %d pictures", len(s.desk.logged), len(s.desk.album))
	}
}

// A program reads the pictures of its clocks, and no others, under whichever
// clock it asks for them.
func TestPicturesForPrograms(t *testing.T) {
	_, router := described(t)
	d := newDesk()
	d.album = []schedule.Picture{{ID: "p-1", Clock: "corn-hall", Entry: "e001", At: now, Words: "A crack", Width: 40, Height: 30, JPEG: []byte("\xff\xd8of the corn hall")},
		{ID: "p-2", Clock: "mill", Entry: "e002", At: now, Words: "The mill's", Width: 40, Height: 30, JPEG: []byte("\xff\xd8of the mill")}}
	h := apiSite(t, d, tokens{token("one"): {Name: "rota", Scopes: []schedule.Scope{schedule.ScopeRead}, Clocks: []string{"corn-hall"}, Ends: now.Add(time.Hour)}})
	res, body := held(t, router, h, bearer("GET", "/api/clocks/corn-hall/pictures", token("one"), ""))
	if res.StatusCode != 200 || !strings.Contains(string(body), `{"id":"p-1","entry":"e001","at":"`) || strings.Contains(string(body), "p-2") {
		t.Errorf("the pictures are %d: %s", res.StatusCode, body)
	}
	res, text := ask(t, h, bearer("GET", "/api/clocks/corn-hall/pictures/p-1", token("one"), ""))
	if res.StatusCode != 200 || res.Header.Get("Content-Type") != "image/jpeg" || text != "\xff\xd8of the corn hall" {
		t.Errorf("the picture is %d, %v: %q", res.StatusCode, res.Header, text)
	}
	_, lost := ask(t, h, bearer("GET", "/api/clocks/corn-hall/pictures/none", token("one"), ""))
	if res, text := ask(t, h, bearer("GET", "/api/clocks/corn-hall/pictures/p-2", token("one"), "")); res.StatusCode != 404 || text != lost {
		t.Errorf("a picture of another clock answers %d: %s", res.StatusCode, text)
	}
	_, lost = ask(t, h, bearer("GET", "/api/clocks/none/pictures/p-2", token("one"), ""))
	if res, text := ask(t, h, bearer("GET", "/api/clocks/mill/pictures/p-2", token("one"), "")); res.StatusCode != 404 || strings.ReplaceAll(text, "mill", "none") != lost {
		t.Errorf("another's clock answers %d: %s, want %s", res.StatusCode, text, lost)
	}
}
