package sop_test

import (
	"strings"
	"testing"

	"bayround/internal/plan/sop"
)

const tiny = "NAME: tiny\nTYPE: SOP\nDIMENSION: 4\nEDGE_WEIGHT_TYPE: EXPLICIT\nEDGE_WEIGHT_FORMAT: FULL_MATRIX\nEDGE_WEIGHT_SECTION\n4\n" +
	"0 3 1 1000000\n-1 0 5 2\n-1 4 0 7\n-1 -1 -1 0\nEOF\n"

func TestParse_Tiny(t *testing.T) {
	p, err := sop.Parse([]byte(tiny))
	if err != nil {
		t.Fatal(err)
	}
	s := p.Solve(sop.Budget{Search: 100, Proof: 10_000, States: 100}, nil)
	if !s.Proven || s.Cost != 1+4+2 { // 0, 2, 1, 3 by hand; 0, 1, 2, 3 costs 15
		t.Errorf("%+v", s)
	}
}

func TestParse_SaysWhatIsWrong(t *testing.T) {
	for _, tc := range []struct{ from, to, want string }{
		{"EDGE_WEIGHT_SECTION", "NODE_COORD_SECTION", "no EDGE_WEIGHT_SECTION"},
		{"TYPE: SOP", "TYPE: TSP", `TYPE is "TSP"`},
		{"DIMENSION: 4", "DIMENSION: four", `DIMENSION is "four"`},
		{"DIMENSION: 4", "DIMENSION: 100000", `DIMENSION is "100000"`},
		{"DIMENSION: 4\n", "", "no DIMENSION"},
		{"FULL_MATRIX", "UPPER_ROW", "UPPER_ROW"},
		{"EXPLICIT", "EUC_2D", "EUC_2D"},
		{"\n4\n", "\n5\n", `begins with "5"`},
		{"-1 4 0 7", "-1 4 0", "15 numbers"},
		{"-1 4 0 7", "-1 4 0 x", `row 3, column 4: "x"`},
		{"-1 4 0 7", "-1 4 0 -2", `row 3, column 4: "-2"`},
		{"-1 4 0 7", "-1 -1 0 7", ""},
		{"-1 0 5 2\n-1 4 0 7", "-1 0 -1 2\n-1 -1 0 7", "go round"},
	} {
		_, err := sop.Parse([]byte(strings.Replace(tiny, tc.from, tc.to, 1)))
		if tc.want == "" {
			if err != nil {
				t.Errorf("%q for %q: %v", tc.to, tc.from, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%q for %q: %v, expected %q", tc.to, tc.from, err, tc.want)
		}
	}
}

func TestNew_SaysWhatIsWrong(t *testing.T) {
	square := func(n int, c int64) [][]int64 {
		m := make([][]int64, n)
		for i := range m {
			for range n {
				m[i] = append(m[i], c)
			}
		}
		return m
	}
	for _, tc := range []struct {
		cost        [][]int64
		precedences [][2]int
		want        string
	}{
		{square(1, 0), nil, "2 to 256"},
		{square(257, 0), nil, "has 257"},
		{[][]int64{{0, 1}, {1}}, nil, "row 1"},
		{square(3, -1), nil, "is -1"},
		{square(3, sop.MaxCost+1), nil, "cost from 0 to 1"},
		{square(3, 1), [][2]int{{1, 1}}, "no two nodes"},
		{square(3, 1), [][2]int{{1, 3}}, "no two nodes"},
		{square(4, 1), [][2]int{{1, 2}, {2, 1}}, "go round"},
		{square(4, 1), [][2]int{{3, 1}}, "go round"},
	} {
		if _, err := sop.New(tc.cost, tc.precedences); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v: expected %q", err, tc.want)
		}
	}
}

// Whatever is read: no panic, and a solution that is an order.
func FuzzParse(f *testing.F) {
	f.Add([]byte(tiny))
	f.Add([]byte(strings.Replace(tiny, "0 3 1 1000000", "0 9223372036854775807 1 1", 1)))
	f.Add([]byte("DIMENSION: 2\nEDGE_WEIGHT_SECTION 2 0 1 -1 0"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := sop.Parse(text)
		if err != nil {
			return
		}
		s := p.Solve(sop.Budget{Search: 500, Proof: 500, States: 10}, nil)
		if s.Order == nil {
			return
		}
		if cost, err := p.Cost(s.Order); err != nil || cost != s.Cost || s.Bound > s.Cost {
			t.Errorf("%+v: %d, %v", s, cost, err)
		}
	})
}
