package photo

import (
	"bytes"
	"encoding/binary"
)

// upright is the orientation of a picture that says nothing of it.
const upright = 1

// orientation reads how a JPEG lies from its EXIF data (EXIF 2.32, tag 0x0112 of
// the first directory). Whatever cannot be read is upright.
func orientation(content []byte) int {
	tiff := exif(content)
	if len(tiff) < 8 {
		return upright
	}
	var order binary.ByteOrder
	switch string(tiff[:4]) {
	case "II*\x00":
		order = binary.LittleEndian
	case "MM\x00*":
		order = binary.BigEndian
	default:
		return upright
	}
	return directory(tiff, order)
}

// exif finds the EXIF data among the segments before the picture: marker FF E1,
// its length, "Exif\0\0", a TIFF file.
func exif(content []byte) []byte {
	if !bytes.HasPrefix(content, []byte{0xFF, 0xD8}) {
		return nil
	}
	for rest := content[2:]; len(rest) >= 4 && rest[0] == 0xFF && rest[1] != 0xDA; {
		length := int(binary.BigEndian.Uint16(rest[2:4]))
		if length < 2 || length+2 > len(rest) {
			return nil
		}
		body := rest[4 : length+2]
		if tiff, found := bytes.CutPrefix(body, []byte("Exif\x00\x00")); found && rest[1] == 0xE1 {
			return tiff
		}
		rest = rest[length+2:]
	}
	return nil
}

// directory looks for the orientation in the first directory of a TIFF file:
// a count, then entries of 12 bytes: tag, type, count, value.
func directory(tiff []byte, order binary.ByteOrder) int {
	const entry, short, tag = 12, 3, 0x0112
	start := uint64(order.Uint32(tiff[4:8]))
	if start+2 > uint64(len(tiff)) {
		return upright
	}
	entries := tiff[start+2:]
	for range order.Uint16(tiff[start : start+2]) {
		if len(entries) < entry {
			return upright
		}
		if order.Uint16(entries) == tag && order.Uint16(entries[2:]) == short {
			if o := int(order.Uint16(entries[8:])); o >= 1 && o <= 8 {
				return o
			}
			return upright
		}
		entries = entries[entry:]
	}
	return upright
}
