package trend_test

import (
	"encoding/binary"
	"math"
	"time"

	"bayround/internal/trend"
)

// Points for fuzzing are laid down as four little-endian numbers of eight bytes: seconds
// since begins, value, as read, added. The last also says whether it is a reset; odometer and
// hours come from the same bits.
const pointBytes = 32

func bytesOf(s trend.Series) (raw []byte) {
	for _, p := range s {
		raw = binary.LittleEndian.AppendUint64(raw, uint64(p.At.Sub(begins)/time.Second))
		raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(p.Value))
		raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(p.AsRead))
		raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(p.Added))
	}
	return raw
}

func seriesOf(raw []byte) (s trend.Series) {
	const most = 300
	for len(raw) >= pointBytes && len(s) < most {
		word := func(i int) uint64 { return binary.LittleEndian.Uint64(raw[8*i:]) }
		s = append(s, trend.Point{
			At:     time.Unix(begins.Unix()+int64(word(0)), 0),
			Value:  math.Float64frombits(word(1)),
			AsRead: math.Float64frombits(word(2)),
			Added:  math.Float64frombits(word(3)),
			Reset:  word(3)&7 == 7,
			Km:     math.Float64frombits(word(2)),
			Hours:  math.Float64frombits(word(3)),
		})
		raw = raw[pointBytes:]
	}
	return s
}
