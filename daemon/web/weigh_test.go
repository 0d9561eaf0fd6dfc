package web

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image/jpeg"
	"image/png"
	"net/http"
	"net/url"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"endshake/schedule"
)

// made is a JPEG that is grey all over, written with as few bits as there can be
// (ITU-T T.81: B.2 its segments, F.2.2 and G.1.2 what a nought bit stands for
// here: no difference, and the end of the block).
type made struct {
	wide, high int
	frame      byte   // SOF: 0xc0 baseline, 0xc2 progressive
	sampling   []byte // of each component, as B.2.2 has it
	scans      int    // 0: one
	extra      string // segments before the frame
	late       string // segments after it
}

func (m made) jpeg() []byte {
	segment := func(marker byte, b ...byte) []byte {
		return append(append([]byte{0xff, marker}, binary.BigEndian.AppendUint16(nil, uint16(len(b)+2))...), b...)
	}
	sof := []byte{8, byte(m.high >> 8), byte(m.high), byte(m.wide >> 8), byte(m.wide), byte(len(m.sampling))}
	sos := []byte{byte(len(m.sampling))}
	per := 0 // blocks in a unit
	for i, hv := range m.sampling {
		sof = append(sof, byte(i+1), hv, 0)
		sos = append(sos, byte(i+1), 0)
		per += int(hv>>4) * int(hv&15)
	}
	h, v := 8*int(m.sampling[0]>>4), 8*int(m.sampling[0]&15)
	if len(m.sampling) == 1 {
		h, v, per = 8, 8, 1
	}
	bits, end := 2, byte(63) // one for DC, one for the rest
	if m.frame == 0xc2 {
		bits, end = 1, 0
	}
	code := append([]byte{0, 1}, make([]byte, 16)...) // one code, of one bit, for 0
	rest := append([]byte{0x10, 1}, make([]byte, 16)...)
	out := slices.Concat([]byte{0xff, 0xd8}, segment(0xdb, append([]byte{0}, bytes.Repeat([]byte{1}, 64)...)...), []byte(m.extra),
		segment(m.frame, sof...), []byte(m.late), segment(0xc4, code...), segment(0xc4, rest...))
	units := ((m.wide + h - 1) / h) * ((m.high + v - 1) / v)
	for range max(1, m.scans) {
		out = append(out, segment(0xda, append(slices.Clone(sos), 0, end, 0)...)...)
		out = append(out, make([]byte, (units*per*bits+7)/8)...)
	}
	return append(out, 0xff, 0xd9)
}

const adobe = "\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00\x00" // RGB, or CMYK

// pngOf is a PNG of noughts: depth and kind as in its header (PNG 2nd edition,
// 11.2.2), and chunks before its pixels.
func pngOf(t testing.TB, wide, high int, depth, kind, interlace byte, more ...[]byte) []byte {
	t.Helper()
	chunk := func(name string, b []byte) []byte {
		out := append(binary.BigEndian.AppendUint32(nil, uint32(len(b))), name...)
		out = append(out, b...)
		return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
	}
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(wide)), uint32(high))
	var body bytes.Buffer
	z := zlib.NewWriter(&body)
	bits := int(depth) * map[byte]int{0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[kind]
	passes := [][4]int{{0, 0, 1, 1}}
	if interlace == 1 { // 8.2: where each of the seven begins, and its steps
		passes = [][4]int{{0, 0, 8, 8}, {4, 0, 8, 8}, {0, 4, 4, 8}, {2, 0, 4, 4}, {0, 2, 2, 4}, {1, 0, 2, 2}, {0, 1, 1, 2}}
	}
	for _, p := range passes {
		w, h := (wide-p[0]+p[2]-1)/p[2], (high-p[1]+p[3]-1)/p[3]
		if w > 0 && h > 0 {
			row := make([]byte, 1+(bits*w+7)/8)
			for range h {
				if _, err := z.Write(row); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	z.Close()
	out := slices.Concat([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(head, depth, kind, 0, 0, interlace)))
	for _, m := range more {
		out = append(out, chunk(string(m[:4]), m[4:])...)
	}
	return slices.Concat(out, chunk("IDAT", body.Bytes()), chunk("IEND", nil))
}

// allocated is how many bytes a function takes from the heap, whether or not it
// gives them back.
func allocated(f func()) int64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return int64(after.TotalAlloc - before.TotalAlloc)
}

// What a picture is said to take is what the decoder takes.
func TestWeighedAsDecoded(t *testing.T) {
	const rgb, late = adobe, "\xff\xe0\x00\x07JFXX\x00"
	jfif := "\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"
	pictures := map[string][]byte{"palette": pngOf(t, 1000, 900, 8, 3, 0, append([]byte("PLTE"), 9, 9, 9))}
	for _, frame := range []byte{0xc0, 0xc1, 0xc2} {
		for name, sampling := range map[string][]byte{"grey": {0x11}, "grey 2 by 2": {0x22}, "4:4:4": {0x11, 0x11, 0x11}, "4:2:2": {0x21, 0x11, 0x11},
			"4:2:0": {0x22, 0x11, 0x11}, "4:4:0": {0x12, 0x11, 0x11}, "4:1:1": {0x41, 0x11, 0x11}, "4:1:0": {0x42, 0x11, 0x11}, "2 by 2 in all": {0x21, 0x21, 0x21}} {
			for _, side := range [][2]int{{801, 603}, {9, 20_001}} {
				pictures[fmt.Sprintf("%s, %#x, %d", name, frame, side)] = made{side[0], side[1], frame, sampling, 1, jfif, ""}.jpeg()
			}
		}
		pictures[fmt.Sprintf("rgb, %#x", frame)] = made{801, 603, frame, []byte{0x11, 0x11, 0x11}, 1, rgb, ""}.jpeg()
		pictures[fmt.Sprintf("cmyk, %#x", frame)] = made{801, 603, frame, []byte{0x11, 0x11, 0x11, 0x11}, 1, rgb, ""}.jpeg()
		pictures[fmt.Sprintf("cmyk, sampled, %#x", frame)] = made{801, 603, frame, []byte{0x22, 0x11, 0x11, 0x22}, 1, rgb, ""}.jpeg()
		pictures[fmt.Sprintf("rgb, said late, %#x", frame)] = made{801, 603, frame, []byte{0x11, 0x11, 0x11}, 1, jfif, late + rgb}.jpeg()
	}
	for _, way := range []byte{0, 1} {
		for _, kind := range [][2]byte{{8, 0}, {16, 0}, {8, 2}, {16, 2}, {8, 6}, {16, 6}, {8, 4}} {
			pictures[fmt.Sprintf("png %d, %d", kind, way)] = pngOf(t, 801, 603, kind[0], kind[1], way)
		}
		pictures[fmt.Sprintf("png seen through, %d", way)] = pngOf(t, 801, 603, 16, 0, way, []byte("tRNS\x00\x01"))
	}
	for name, raw := range pictures {
		_, says, err := config(raw)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		took := allocated(func() {
			if isJPEG(raw) {
				_, err = jpeg.Decode(bytes.NewReader(raw))
			} else {
				_, err = png.Decode(bytes.NewReader(raw))
			}
		})
		// A grey PNG is taken for a coloured one.
		most := 1.1
		if !isJPEG(raw) {
			most = 8.1
		}
		if ratio := float64(says) / float64(took-20_000); err != nil || ratio < 0.9 || ratio > most {
			t.Errorf("%s: said to take %d bytes, took %d: %.2f; %v", name, says, took, ratio, err)
		}
	}
}

// A small file that stands for a large picture, or for one that is gone over for
// hours, is refused before anything is decoded; what telephones and programs
// write is not.
func TestPictureBombs(t *testing.T) {
	full, half := []byte{0x11, 0x11, 0x11}, []byte{0x22, 0x11, 0x11}
	for name, tt := range map[string]struct {
		raw  []byte
		says string // empty: it is taken
	}{
		"progressive":             {made{7064, 7064, 0xc2, full, 1, "", ""}.jpeg(), "takes too much memory to open"},
		"progressive, grey":       {made{7064, 7064, 0xc2, []byte{0x11}, 1, "", ""}.jpeg(), "takes too much memory to open"},
		"many scans":              {made{400, 400, 0xc2, full, 3000, "", ""}.jpeg(), "more than 64 scans"},
		"many scans, baseline":    {made{160, 160, 0xc0, full, 65, "", ""}.jpeg(), "more than 64 scans"},
		"scans behind fill":       {bytes.ReplaceAll(made{16, 16, 0xc2, full, 65, "", ""}.jpeg(), []byte("\xff\xda"), []byte("\xff\xff\xff\xda")), "more than 64 scans"},
		"scans behind a remark":   {bytes.ReplaceAll(made{16, 16, 0xc2, full, 65, "", ""}.jpeg(), []byte("\xff\xda"), []byte("\xff\xfe\x00\x04\xff\xd9\xff\xda")), "more than 64 scans"},
		"said to be RGB late":     {made{7064, 7064, 0xc0, full, 1, "\xff\xe0\x00\x07JFIF\x00", adobe}.jpeg(), "takes too much memory to open"},
		"interlaced":              {sized(5010, 5000, 8, 1), "takes too much memory to open"},
		"deep":                    {sized(6000, 5000, 16, 0), "takes too much memory to open"},
		"thin":                    {sized(2, 70_000, 8, 0), "has 2 by 70000 pixels"},
		"as many scans as may be": {made{320, 200, 0xc2, full, 64, "", ""}.jpeg(), ""},
		"a camera's":              {made{2000, 1500, 0xc0, half, 1, "", ""}.jpeg(), ""},
		"a program's":             {made{2000, 1500, 0xc2, half, 10, "", ""}.jpeg(), ""},
		"behind its end":          {append(made{320, 200, 0xc0, half, 1, "", ""}.jpeg(), bytes.Repeat([]byte("\xff\xda\x00\x08"), 100)...), ""},
		"in a remark":             {made{320, 200, 0xc0, half, 1, "\xff\xfe\x01\x92" + strings.Repeat("\xff\xda\x00\x08", 100), ""}.jpeg(), ""},
		"many chunks":             {pngOf(t, 320, 200, 8, 2, 0, slices.Repeat([][]byte{[]byte("zTXtnote\x00\x00x")}, 5000)...), ""},
	} {
		var err error
		var p schedule.Picture
		took := allocated(func() { p, err = shrink(t.Context(), tt.raw) })
		switch {
		case tt.says == "" && (err != nil || len(p.JPEG) == 0):
			t.Errorf("%s is refused: %v", name, err)
		case tt.says != "" && (err == nil || !strings.Contains(err.Error(), tt.says)):
			t.Errorf("%s: %v", name, err)
		case tt.says != "" && took > mostDecoded/1000:
			t.Errorf("%s: %d bytes are taken to refuse it", name, took)
		case took > mostDecoded:
			t.Errorf("%s: takes %.2f of the bound", name, float64(took)/mostDecoded)
		}
	}
}

// Whoever goes away has nothing made small for them.
func TestPicturesOfNobody(t *testing.T) {
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if p, err := shrink(gone, made{640, 480, 0xc0, []byte{0x11}, 1, "", ""}.jpeg()); err == nil || len(p.JPEG) > 0 {
		t.Error("it is made small all the same")
	}
}

// One reader who sends ten at once is waited for once; who waits too long, or goes
// away, leaves no trace.
func TestTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		turns, order := newTurns(), make(chan string, 20)
		held, err := turns.take(t.Context(), "eve")
		if err != nil {
			t.Fatal(err)
		}
		want := func(reader string) {
			go func() {
				done, err := turns.take(t.Context(), reader)
				if err != nil {
					t.Error(err)
					return
				}
				time.Sleep(time.Second)
				order <- reader
				done()
			}()
			synctest.Wait()
		}
		for range 10 {
			want("eve")
		}
		want("ada")
		want("ned")
		late, cancel := context.WithTimeout(t.Context(), time.Millisecond)
		defer cancel()
		for _, reader := range []string{"eve", "tom"} {
			if _, err := turns.take(late, reader); err == nil {
				t.Errorf("%s has a turn beside another", reader)
			}
		}
		held()
		first := []string{<-order, <-order, <-order}
		if !slices.Contains(first, "ada") || !slices.Contains(first, "ned") {
			t.Errorf("the first to have a turn are %v", first)
		}
		for range 9 {
			<-order
		}
		synctest.Wait()
		if len(turns.own)+len(turns.one) > 0 {
			t.Errorf("%d places and %d turns are left", len(turns.own), len(turns.one))
		}
	})
}

// A form that waits in vain for the pictures of others is told so, and logs
// nothing.
func TestPicturesOfOthers(t *testing.T) {
	d := woundDesk()
	srv := newServer(Options{Everyone: winder, Desk: d, Album: d, Now: func() time.Time { return d.now }})
	hold, err := srv.shrinking.take(t.Context(), "eve")
	if err != nil {
		t.Fatal(err)
	}
	defer hold()
	late, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	h := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { srv.handler().ServeHTTP(w, r.WithContext(late)) })
	res, body := sendParts(t, h, "/clock/corn-hall/do/wind", url.Values{"train": {"going"}, "at": {wallText(d.now, time.UTC)}}, photo(t, corner(20, 20), nil))
	if res.StatusCode != http.StatusServiceUnavailable || res.Header.Get("Retry-After") == "" || !strings.Contains(flat(t, body), "without its pictures it goes at once") || len(d.logged) > 0 {
		t.Errorf("%d: %s", res.StatusCode, flat(t, body))
	}
}

// FuzzWeigh holds that whatever is let through is decoded in the bytes that it is
// said to take.
func FuzzWeigh(f *testing.F) {
	for _, frame := range []byte{0xc0, 0xc2} {
		f.Add(made{40, 24, frame, []byte{0x22, 0x11, 0x11}, 3, "\xff\xe0\x00\x07JFIF\x00", ""}.jpeg())
		f.Add(made{40, 24, frame, []byte{0x11, 0x11, 0x11}, 1, adobe, "\xff\xe0\x00\x07JFXX\x00"}.jpeg())
	}
	f.Add(pngOf(f, 30, 20, 16, 6, 1))
	f.Add(photo(f, corner(8, 8), exif(binary.BigEndian, 6)))
	f.Add([]byte("\xff\xd8\xff\xda\x00\x02\xff"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		c, says, err := config(raw)
		if weigh(raw) != nil || err != nil || says > 4<<20 {
			return
		}
		took := allocated(func() { _, err = shrink(t.Context(), raw) })
		small := 12 * int64(c.Width) * int64(c.Height) // what is made of it, twice, and its rows
		if took > says+small+4<<20 {
			t.Errorf("%d by %d: said to take %d bytes, took %d", c.Width, c.Height, says, took)
		}
	})
}
