package photo

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"

	"golang.org/x/image/draw"

	"bayround/internal/fault"
)

const (
	// maxTaken is the largest file that is taken from a camera.
	maxTaken = 20 << 20
	// longSide is how long the long side of a kept photo is at most, in pixels:
	// enough to read a tyre's date code from a step away.
	longSide = 1600
)

// Camera is a store for photos as a camera takes them: they are made smaller first.
type Camera struct{ *Store }

// Put makes a photo smaller, keeps it and returns its name.
func (c Camera) Put(content []byte) (sha256 string, err error) {
	small, err := Shrink(content)
	if err != nil {
		return "", err
	}
	return c.Store.Put(small)
}

// Shrink makes a photo as a camera takes it fit to be kept: upright, at most 1600
// pixels long, a JPEG of at most MaxBytes, and with nothing in it but the picture:
// no place, no owner of the camera.
func Shrink(content []byte) ([]byte, error) {
	if len(content) > maxTaken {
		return nil, fault.New(fault.Invalid, "PHOTO_TOO_LARGE", "a photo of %d MiB is too large; set the camera lower than %d MiB", len(content)>>20, maxTaken>>20)
	}
	if _, err := formatOf(content); err != nil {
		return nil, err
	}
	taken, _, err := image.Decode(bytes.NewReader(content))
	if err != nil {
		return nil, fault.New(fault.Invalid, "PHOTO_NOT_READABLE", "the picture breaks off; take the photo again").Because(err)
	}
	upright := turn(scale(taken), orientation(content))
	for quality := 85; quality >= 25; quality -= 15 {
		var small bytes.Buffer
		if err := jpeg.Encode(&small, upright, &jpeg.Options{Quality: quality}); err != nil {
			return nil, fmt.Errorf("encoding the photo: %w", err)
		}
		if small.Len() <= MaxBytes {
			return small.Bytes(), nil
		}
	}
	return nil, fault.New(fault.Invalid, "PHOTO_TOO_LARGE", "the photo stays above %d KiB however it is packed; take it from farther away", MaxBytes>>10)
}

// scale brings a picture down to the long side; a smaller one is only copied.
// What is see-through becomes white.
func scale(from image.Image) *image.RGBA {
	width, height := from.Bounds().Dx(), from.Bounds().Dy()
	if long := max(width, height); long > longSide {
		width, height = max(1, width*longSide/long), max(1, height*longSide/long)
	}
	to := image.NewRGBA(image.Rect(0, 0, width, height))
	draw.Draw(to, to.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.ApproxBiLinear.Scale(to, to.Bounds(), from, from.Bounds(), draw.Over, nil)
	return to
}

// turn sets a picture upright. The orientation is that of EXIF 2.32, tag 0x0112:
// where the first row and the first column of the stored picture lie.
func turn(from *image.RGBA, orientation int) *image.RGBA {
	if orientation <= 1 || orientation > 8 {
		return from
	}
	width, height := from.Bounds().Dx(), from.Bounds().Dy()
	size := image.Rect(0, 0, width, height)
	if orientation >= 5 {
		size = image.Rect(0, 0, height, width)
	}
	to := image.NewRGBA(size)
	for y := range height {
		for x := range width {
			tx, ty := turned(x, y, width, height, orientation)
			to.SetRGBA(tx, ty, from.RGBAAt(x, y))
		}
	}
	return to
}

// turned is where a pixel of the stored picture lies in the upright one.
func turned(x, y, width, height, orientation int) (tx, ty int) {
	right, bottom := width-1-x, height-1-y
	switch orientation {
	case 2:
		return right, y
	case 3:
		return right, bottom
	case 4:
		return x, bottom
	case 5:
		return y, x
	case 6:
		return bottom, x
	case 7:
		return bottom, right
	case 8:
		return y, right
	}
	return x, y
}
