package screen

import "html/template"

// legendSign is a sign of a chart with what it stands for.
type legendSign struct {
	Sign  template.HTML
	Words string
}

// Legend are the signs that the chart shows.
func (p pastStep) Legend() []legendSign {
	in := p.chart()
	signs := []legendSign{{legendDrawing(`<circle class="ch-read" cx="5" cy="3" r="1"/>`), "as read"}}
	add := func(shown bool, body, words string) {
		if shown {
			signs = append(signs, legendSign{legendDrawing(body), words})
		}
	}
	added, reset := false, false
	for _, point := range in.points {
		added, reset = added || point.toppedUp, reset || point.reset
	}
	add(p.HasNormal(), `<circle class="ch-normal" cx="5" cy="3" r="1"/>`, "at the reference temperature")
	add(in.trend != nil, `<path class="ch-line" d="M0 3H10"/>`, "trend (median of slopes)")
	add(in.trend != nil, `<path class="ch-ahead" d="M0 3H10"/>`, "where it leads")
	add(in.outlook != nil, `<rect class="ch-band" width="10" height="6"/><path class="ch-hatch" d="`+hatch(chartBox{0, 0, 10, 6})+`"/>`, "reaches the limit in these days")
	add(added, `<path class="ch-added" d="M5 5v-3.4m-1 1.2l1 -1.2l1 1.2"/>`, "put in")
	add(reset, `<path class="ch-reset" d="M5 0V6"/>`, "repaired or changed: begins anew")
	add(true, `<path class="ch-today" d="M5 0V6"/>`, "today")
	return signs
}

func legendDrawing(body string) template.HTML {
	return template.HTML(`<svg viewBox="0 0 10 6" aria-hidden="true" focusable="false">` + body + `</svg>`)
}
