package web

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io"

	"github.com/disintegration/imaging"

	"endshake/schedule"
)

const (
	// mostPictures is how many pictures an entry has, and mostRaw how large one is
	// as it is sent, in bytes (judgement, no source).
	mostPictures = 3
	mostRaw      = 12 << 20
	// longSide and smallSide are the longer sides of what is kept, in pixels.
	longSide, smallSide = 1600, 320
)

// shrink makes a photograph as it came from a telephone into what is kept:
// upright, small, and with nothing in it but what is seen. It stops soon where
// nobody waits for it any more. An error says what is wrong with it in words that
// follow its number.
func shrink(ctx context.Context, raw []byte) (p schedule.Picture, err error) {
	decode, turned := png.Decode, 1
	switch {
	case isJPEG(raw):
		decode, turned = jpeg.Decode, orientation(raw)
	case !isPNG(raw):
		return p, errors.New("is not a JPEG or PNG file: choose a photograph of one of these kinds")
	}
	if err := weigh(raw); err != nil {
		return p, err
	}
	img, err := decode(&awaited{ctx, bytes.NewReader(raw)})
	if err != nil {
		return p, errBroken
	}
	large := upright(imaging.Fit(img, longSide, longSide, imaging.Linear), turned)
	if p.JPEG, err = encode(large, 80); err != nil {
		return p, err
	}
	p.Small, err = encode(imaging.Fit(large, smallSide, smallSide, imaging.Linear), 75)
	p.Width, p.Height = large.Bounds().Dx(), large.Bounds().Dy()
	return p, err
}

// awaited gives what a decoder reads as long as somebody waits for it.
type awaited struct {
	ctx context.Context
	r   io.Reader
}

func (a *awaited) Read(b []byte) (int, error) {
	if err := a.ctx.Err(); err != nil {
		return 0, err
	}
	return a.r.Read(b)
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
	for marker, b := range segments(raw) {
		if marker == 0xda { // the picture begins
			break
		}
		if block, ok := bytes.CutPrefix(b, []byte("Exif\x00\x00")); ok && marker == 0xe1 {
			return tiffOrientation(block)
		}
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
