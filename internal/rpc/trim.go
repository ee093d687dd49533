package rpc

import (
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"bayround/internal/fault"
)

// retryDelay is what RetryInfo asks of a caller that met an unavailable station.
const retryDelay = time.Second

// cut shortens text to at most limit bytes without splitting a character. Bytes
// that are no UTF-8 (a piece of somebody's file) are replaced: a status with them
// could not be sent at all.
func cut(text string, limit int) string {
	const mark = " …"
	text = strings.ToValidUTF8(text, "\uFFFD")
	if len(text) <= limit {
		return text
	}
	end := limit - len(mark)
	for end > 0 && !utf8.RuneStart(text[end]) {
		end--
	}
	return text[:end] + mark
}

// fitting returns as many of the first fields as a trailer can carry, and how
// many were left out, in digits; empty when none was.
func fitting(fields []fault.Field) (fits []fault.Field, leftOut string) {
	const perField = 8 // tags and lengths
	room := maxDetailBytes
	for i, field := range fields {
		field.Path = cut(field.Path, maxDetailBytes/8)
		field.Message = cut(field.Message, maxDetailBytes/2)
		room -= len(field.Path) + len(field.Message) + perField
		if room < 0 {
			return fits, strconv.Itoa(len(fields) - i)
		}
		fits = append(fits, field)
	}
	return fits, ""
}
