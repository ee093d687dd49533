package screen

import (
	"html/template"

	pb "bayround/proto/bayround/v1"
)

// mark is the sign of a verdict as an SVG element that fills its box.
func mark(v pb.Verdict) template.HTML {
	return ""
}
