package web

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"

	"github.com/disintegration/imaging"

	"endshake/schedule"
)

const (
	// mostPictures is how many pictures an entry has, and mostRaw how large one is
	// as it is sent, in bytes (judgement, no source).
	mostPictures = 3
	mostRaw      = 12 << 20
	// mostPixels is the largest picture that is decoded: what telephones take.
	mostPixels = 50_000_000
	// mostDecoded bounds the bytes that it takes in memory.
	mostDecoded = 4 * mostPixels
	// longSide and smallSide are the longer sides of what is kept, in pixels.
	longSide, smallSide = 1600, 320
)

// shrink makes a photograph as it came from a telephone into what is kept:
// upright, small, and with nothing in it but what is seen. An error says what is
// wrong with it in words that follow its number.
func shrink(raw []byte) (p schedule.Picture, err error) {
	decode, turned := png.Decode, 1
	var c image.Config
	switch {
	case bytes.HasPrefix(raw, []byte("\xff\xd8\xff")):
		decode, turned = jpeg.Decode, orientation(raw)
		c, err = jpeg.DecodeConfig(bytes.NewReader(raw))
	case bytes.HasPrefix(raw, []byte("\x89PNG\r\n\x1a\n")):
		c, err = png.DecodeConfig(bytes.NewReader(raw))
	default:
		return p, errors.New("is not a JPEG or PNG file: choose a photograph of one of these kinds")
	}
	broken := errors.New("cannot be read: it may have been cut off; take it again")
	if err != nil || c.Width < 1 || c.Height < 1 {
		return p, broken
	}
	if pixels := int64(c.Width) * int64(c.Height); pixels > mostPixels || pixels*bytesOf(c.ColorModel) > mostDecoded {
		return p, fmt.Errorf("has %d by %d pixels: make it smaller, to %d million at most", c.Width, c.Height, mostPixels/1_000_000)
	}
	img, err := decode(bytes.NewReader(raw))
	if err != nil {
		return p, broken
	}
	large := upright(imaging.Fit(img, longSide, longSide, imaging.Linear), turned)
	if p.JPEG, err = encode(large, 80); err != nil {
		return p, err
	}
	p.Small, err = encode(imaging.Fit(large, smallSide, smallSide, imaging.Linear), 75)
	p.Width, p.Height = large.Bounds().Dx(), large.Bounds().Dy()
	return p, err
}

// bytesOf is what a pixel takes in memory at most, once it is decoded.
func bytesOf(m color.Model) int64 {
	switch m {
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	return 4
}

// encode writes an image as a bare JPEG, on white where one sees through it.
func encode(img image.Image, quality int) ([]byte, error) {
	flat := image.NewRGBA(image.Rect(0, 0, img.Bounds().Dx(), img.Bounds().Dy()))
	draw.Draw(flat, flat.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(flat, flat.Bounds(), img, img.Bounds().Min, draw.Over)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, flat, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("write a picture: %w", err)
	}
	return out.Bytes(), nil
}

// upright turns an image by the orientation that its camera noted (Exif 2.3,
// tag 0x0112: where the first row and the first column are as one sees it).
func upright(img image.Image, orientation int) image.Image {
	switch orientation {
	case 2:
		return imaging.FlipH(img)
	case 3:
		return imaging.Rotate180(img)
	case 4:
		return imaging.FlipV(img)
	case 5:
		return imaging.Transpose(img)
	case 6:
		return imaging.Rotate270(img) // against the clock
	case 7:
		return imaging.Transverse(img)
	case 8:
		return imaging.Rotate90(img)
	}
	return img
}

// orientation reads how a camera was held from the Exif block of a JPEG; 1,
// upright, where nothing tells.
func orientation(raw []byte) int {
	for at := 2; at+4 <= len(raw) && raw[at] == 0xff; {
		marker, size := raw[at+1], int(binary.BigEndian.Uint16(raw[at+2:]))
		if marker == 0xff { // fill
			at++
			continue
		}
		if marker == 0xda || size < 2 || at+2+size > len(raw) { // the picture begins, or it is cut off
			break
		}
		if block, ok := bytes.CutPrefix(raw[at+4:at+2+size], []byte("Exif\x00\x00")); ok && marker == 0xe1 {
			return tiffOrientation(block)
		}
		at += 2 + size
	}
	return 1
}

// tiffOrientation looks for the tag in the first directory of a TIFF block.
func tiffOrientation(b []byte) int {
	var order binary.ByteOrder = binary.BigEndian
	if len(b) < 8 {
		return 1
	}
	if b[0] == 'I' {
		order = binary.LittleEndian
	}
	at := int64(order.Uint32(b[4:]))
	if at+2 > int64(len(b)) {
		return 1
	}
	entries := b[at+2:]
	for n := int(order.Uint16(b[at:])); n > 0 && len(entries) >= 12; n-- {
		if order.Uint16(entries) == 0x0112 {
			if v := int(order.Uint16(entries[8:])); v >= 1 && v <= 8 {
				return v
			}
			return 1
		}
		entries = entries[12:]
	}
	return 1
}
