package web

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"iter"
)

const (
	// mostPixels is the largest picture that is decoded: what telephones take.
	mostPixels = 50_000_000
	// mostDecoded bounds the bytes that decoding it takes in memory.
	mostDecoded = 4 * mostPixels
	// mostSide is the longest side that a JPEG can have (ITU-T T.81, B.2.2: 16
	// bits); a PNG may have no longer one here.
	mostSide = 1<<16 - 1
	// mostScans is in how many scans a JPEG may be written: each goes over the
	// whole picture, however few bytes it has. The usual script of a progressive
	// one has ten (from memory); nobody's camera writes more than a few dozen
	// (judgement, no source).
	mostScans = 64
)

// errBroken is what is said of a picture that no decoder takes.
var errBroken = errors.New("cannot be read: it may have been cut off; take it again")

// weigh says what of a JPEG or PNG is too much to be decoded, before anything is:
// a few bytes can stand for a picture that fills the memory, or takes hours.
func weigh(raw []byte) error {
	c, takes, err := config(raw)
	if err != nil || c.Width < 1 || c.Height < 1 {
		return errBroken
	}
	pixels := int64(c.Width) * int64(c.Height)
	switch {
	case pixels > mostPixels || max(c.Width, c.Height) > mostSide:
		return fmt.Errorf("has %d by %d pixels: make it smaller, to %d million at most", c.Width, c.Height, mostPixels/1_000_000)
	case takes > mostDecoded:
		return fmt.Errorf("has %d by %d pixels, and is written in a way that takes too much memory to open: make it smaller, or save it as an ordinary JPEG", c.Width, c.Height)
	case scans(raw) > mostScans:
		return fmt.Errorf("is written in more than %d scans, which takes too long to open: save it as an ordinary JPEG", mostScans)
	}
	return nil
}

// config reads how large a picture is, and how many bytes decoding it takes.
func config(raw []byte) (c image.Config, takes int64, err error) {
	if !isJPEG(raw) {
		if c, err = png.DecodeConfig(bytes.NewReader(raw)); err == nil {
			takes = pngBytes(raw, c)
		}
		return c, takes, err
	}
	if c, err = jpeg.DecodeConfig(bytes.NewReader(raw)); err == nil {
		takes = jpegBytes(raw, c)
	}
	return c, takes, err
}

func isJPEG(raw []byte) bool { return bytes.HasPrefix(raw, []byte("\xff\xd8\xff")) }

func isPNG(raw []byte) bool { return bytes.HasPrefix(raw, []byte("\x89PNG\r\n\x1a\n")) }

// pngBytes is what decoding a PNG takes: its pixels, and where it is interlaced
// those of its seven passes, which come to as many (PNG 2nd edition, 8.2 and
// 11.2.2: the method is the 13th byte of the header). What else it holds is
// passed over as it is read, and its rows are unpacked one at a time.
func pngBytes(raw []byte, c image.Config) int64 {
	takes := int64(c.Width) * int64(c.Height) * pixelBytes(c.ColorModel)
	if len(raw) > 28 && raw[28] != 0 {
		takes *= 2
	}
	return takes
}

// pixelBytes is what a pixel takes in memory at most, once it is decoded.
func pixelBytes(m color.Model) int64 {
	switch m {
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	case color.Gray16Model: // with one colour that one sees through it has four
		return 8
	}
	return 4
}

// jpegBytes is what decoding a JPEG takes: a byte a sample, four more for the
// coefficients of a progressive one, which are kept until its last scan, and four
// a pixel where it must be turned into other colours. Samples come in whole units
// of 8 by 8, as many in each component as its sampling says (ITU-T T.81, A.1 and
// B.2.2).
func jpegBytes(raw []byte, c image.Config) (takes int64) {
	turned := c.ColorModel == color.RGBAModel || c.ColorModel == color.CMYKModel
	progressive, seen := false, false
	for marker, b := range segments(raw) {
		switch {
		case !seen && marker >= 0xc0 && marker <= 0xc2 && len(b) >= 9:
			seen, progressive = true, marker == 0xc2
			var wide, high, samples int64 = 1, 1, 64 // of the first component; one alone is as if it were 1 by 1
			if b[5] > 1 {
				wide, high, samples = int64(b[7]>>4), int64(b[7]&15), 0
				for parts := b[6:]; len(parts) >= 3; parts = parts[3:] {
					samples += 64 * int64(parts[1]>>4) * int64(parts[1]&15)
				}
			}
			if wide < 1 || high < 1 {
				return 0 // no decoder takes it
			}
			units := func(side int, of int64) int64 { return (int64(side) + 8*of - 1) / (8 * of) }
			takes = units(c.Width, wide) * units(c.Height, high) * samples
		case seen && (marker == 0xe0 || marker == 0xee):
			turned = true // what is said of colours so late was not heard yet
		}
	}
	if progressive {
		takes *= 5
	}
	if turned {
		takes += 4 * int64(c.Width) * int64(c.Height)
	}
	return takes
}

// scans counts those of a JPEG; a PNG has none.
func scans(raw []byte) (n int) {
	if !isJPEG(raw) {
		return 0
	}
	for marker := range segments(raw) {
		if marker == 0xda {
			n++
		}
	}
	return n
}

// segments are the marker segments of a JPEG, in the order in which a decoder
// comes by them (ITU-T T.81, B.1.1), up to its end or to what is cut off. What
// stands between them, the scans themselves, is passed over.
func segments(raw []byte) iter.Seq2[byte, []byte] {
	return func(yield func(marker byte, b []byte) bool) {
		for at := 2; at < len(raw); {
			i := bytes.IndexByte(raw[at:], 0xff)
			if i < 0 {
				return
			}
			for at += i; at < len(raw) && raw[at] == 0xff; at++ { // fill
			}
			if at+3 > len(raw) {
				return
			}
			marker := raw[at]
			at++
			if marker == 0 || marker >= 0xd0 && marker <= 0xd7 { // a byte of a scan, or where it begins anew
				continue
			}
			size := int(binary.BigEndian.Uint16(raw[at:]))
			if marker == 0xd9 || size < 2 || at+size > len(raw) || !yield(marker, raw[at+2:at+size]) {
				return
			}
			at += size
		}
	}
}
