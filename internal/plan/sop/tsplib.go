package sop

import (
	"fmt"
	"strconv"
	"strings"
)

// maxSide is the largest matrix that is read.
const maxSide = MaxNodes

// Parse reads a problem in the form of TSPLIB 95 (G. Reinelt, "TSPLIB 95", section
// 1.2 and 2): lines of a keyword, a colon and a value, then EDGE_WEIGHT_SECTION
// with the size once more and the full matrix, row by row. An entry of -1 in row i and column j says
// that j comes before i. What is above MaxCost, as the way from the first node
// to the last is, counts as Never.
func Parse(text []byte) (*Problem, error) {
	head, matrix, found := strings.Cut(string(text), "EDGE_WEIGHT_SECTION")
	if !found {
		return nil, fmt.Errorf("there is no EDGE_WEIGHT_SECTION")
	}
	n, err := parseHead(head)
	if err != nil {
		return nil, err
	}
	fields := strings.Fields(matrix)
	if len(fields) > 0 && fields[len(fields)-1] == "EOF" {
		fields = fields[:len(fields)-1]
	}
	if len(fields) != n*n+1 {
		return nil, fmt.Errorf("the matrix of %d nodes has %d numbers behind its size, not %d", n, max(0, len(fields)-1), n*n)
	}
	if fields[0] != strconv.Itoa(n) {
		return nil, fmt.Errorf("DIMENSION says %d, the matrix begins with %q", n, fields[0])
	}
	return parseMatrix(n, fields[1:])
}

// parseHead reads the keywords and returns the number of nodes.
func parseHead(head string) (n int, err error) {
	for number, line := range strings.Split(head, "\n") {
		key, value, _ := strings.Cut(line, ":")
		value = strings.TrimSpace(value)
		switch strings.TrimSpace(key) {
		case "TYPE":
			if value != "SOP" {
				return 0, fmt.Errorf("line %d: TYPE is %q, not SOP", number+1, value)
			}
		case "EDGE_WEIGHT_TYPE":
			if value != "EXPLICIT" {
				return 0, fmt.Errorf("line %d: EDGE_WEIGHT_TYPE is %q, not EXPLICIT", number+1, value)
			}
		case "EDGE_WEIGHT_FORMAT":
			if value != "FULL_MATRIX" {
				return 0, fmt.Errorf("line %d: EDGE_WEIGHT_FORMAT is %q, not FULL_MATRIX", number+1, value)
			}
		case "DIMENSION":
			if n, err = strconv.Atoi(value); err != nil || n < 2 || n > maxSide {
				return 0, fmt.Errorf("line %d: DIMENSION is %q, not a number from 2 to %d", number+1, value, maxSide)
			}
		}
	}
	if n == 0 {
		return 0, fmt.Errorf("there is no DIMENSION")
	}
	return n, nil
}

func parseMatrix(n int, fields []string) (*Problem, error) {
	cost := make([][]int64, n)
	var precedences [][2]int
	for i := range n {
		cost[i] = make([]int64, n)
		for j := range n {
			c, err := strconv.ParseInt(fields[i*n+j], 10, 64)
			switch {
			case err != nil || c < -1:
				return nil, fmt.Errorf("row %d, column %d: %q is no cost", i+1, j+1, fields[i*n+j])
			case i == j:
			case c == -1:
				cost[i][j] = Never
				precedences = append(precedences, [2]int{j, i})
			default:
				cost[i][j] = c
				if c > MaxCost {
					cost[i][j] = Never
				}
			}
		}
	}
	return New(cost, precedences)
}
