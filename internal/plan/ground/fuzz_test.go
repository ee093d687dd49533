package ground_test

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"

	"bayround/internal/plan/ground"
)

// bytesOf lays numbers out as the fuzz target reads them: 8 bytes each, little-endian.
func bytesOf(corners ...ground.Point) (data []byte) {
	for _, c := range corners {
		data = binary.LittleEndian.AppendUint64(data, math.Float64bits(c.X))
		data = binary.LittleEndian.AppendUint64(data, math.Float64bits(c.Y))
	}
	return data
}

func cornersOf(data []byte) (corners []ground.Point) {
	for ; len(data) >= 16 && len(corners) < 40; data = data[16:] {
		corners = append(corners, ground.Point{
			X: math.Float64frombits(binary.LittleEndian.Uint64(data)),
			Y: math.Float64frombits(binary.LittleEndian.Uint64(data[8:])),
		})
	}
	return corners
}

// FuzzOutline: whatever the numbers, corners are refused or have a line that keeps its promises.
func FuzzOutline(f *testing.F) {
	nan, inf := math.NaN(), math.Inf(1)
	f.Add(bytesOf(box...), 0.6, 0.0, 1.25, -6.6, -1.25)
	f.Add(bytesOf(box...), 0.6, nan, inf, -inf, math.MaxFloat64)
	f.Add(bytesOf(ground.Point{}), 0.0, 1.0, 0.0, -1.0, 0.0)
	f.Add(bytesOf(ground.Point{X: 1}, ground.Point{X: -7}), 1e-6, 3.0, 0.0, -9.0, 0.0)
	f.Add(bytesOf(ground.Point{X: 100, Y: 100}, ground.Point{X: -100, Y: 100}, ground.Point{Y: -100}), 100.0, 1e9, -1e9, -1e9, 1e9)
	f.Add(bytesOf(ground.Point{X: nan}), 1.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(bytesOf(ground.Point{X: 0.0005}, ground.Point{X: 0.0004}), 0.3, 0.0, 0.0, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, data []byte, clearance, px, py, qx, qy float64) {
		corners := cornersOf(data)
		o, err := ground.NewOutline(corners, clearance)
		if good := len(corners) > 0 && clearance >= 0 && clearance <= 100 && !slices.ContainsFunc(corners, farOut); good != (err == nil) {
			t.Fatalf("corners %v, clearance %v: %v", corners, clearance, err)
		}
		if err != nil {
			return
		}
		p, q := ground.Point{X: px, Y: py}, ground.Point{X: qx, Y: qy}
		a, b := o.Stand(p), o.Stand(q)
		if !(a >= 0 && a <= o.Length()) || a == o.Length() && a > 0 {
			t.Fatalf("stand %v on a line of %v m", a, o.Length())
		}
		if d := o.Distance(a, b); math.Abs(lengthOf(o.Way(a, b))-d) > 1.001*millimetre {
			t.Fatalf("the way %v is not %v m long", o.Way(a, b), d)
		}
		if o.Distance(px, qx) != o.Distance(qx, px) || 2*o.Distance(px, qy) > o.Length()+micrometre {
			t.Fatalf("distances %v, %v of %v m", o.Distance(px, qx), o.Distance(qx, px), o.Length())
		}
		there, back := o.Between(p, q), o.Between(q, p)
		if !(there >= 0) || there != back {
			t.Fatalf("between %v and %v: %v m, back %v", p, q, there, back)
		}
		for _, c := range corners {
			if p := o.At(o.Stand(c)); far(p, c) < clearance-millimetre {
				t.Fatalf("%v is nearer to corner %v than %v", p, c, clearance)
			}
		}
		slices.Reverse(corners)
		if again, err := ground.NewOutline(corners, clearance); err != nil || !slices.Equal(again.Corners(), o.Corners()) {
			t.Fatalf("other order, other line: %v", err)
		}
	})
}

func farOut(c ground.Point) bool { return !(math.Abs(c.X) <= 100 && math.Abs(c.Y) <= 100) }
