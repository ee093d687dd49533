package screen

import (
	"math"
	"strconv"
	"time"
)

// drawValues draws the lines of the value axis with their numbers, and the unit.
func (c *chart) drawValues() {
	c.label("end", c.left-1.5, c.upper-4.6, c.unit)
	digits := max(0, int(-math.Floor(math.Log10(c.step)+1e-9)))
	for n := math.Ceil(c.low / c.step); n*c.step <= c.high; n++ {
		y := c.y(n * c.step)
		c.put(`<path class="ch-grid" d="M%v %vH%v"/>`, c.left, y, c.right)
		text := strconv.FormatFloat(n*c.step+0, 'f', digits, 64)
		for figures := 3; widthOf(text) > c.left-1.5 && figures > 0; figures-- {
			text = strconv.FormatFloat(n*c.step, 'g', figures, 64)
		}
		c.label("end", c.left-1.5, y+0.35*chartType, text)
	}
}

// drawTimes draws the marks of the time axis: months, or days while the chart is
// short, and below them the years.
func (c *chart) drawTimes() {
	marks, layout := c.months(), "Jan"
	if c.to-c.from < 75*daySeconds {
		marks, layout = c.weeks(), "2 Jan"
	}
	year, free := 0, c.left
	for _, at := range marks {
		x := c.x(at)
		c.put(`<path class="ch-tick" d="M%v %vV%v"/>`, x, c.lower, c.lower+1.2)
		if x-widthOf(at.Format(layout))/2 < 0 || x+widthOf(at.Format(layout))/2 > c.width {
			continue
		}
		c.label("middle", x, c.lower+5.1, at.Format(layout))
		if now := at.Year(); now != year {
			year = now
			if half := widthOf("2026") / 2; x-half > free {
				c.label("middle", x, c.lower+9.2, at.Format("2006"))
				free = x + half + 1
			}
		}
	}
}

// months are firsts of months, as many as there is room for.
func (c *chart) months() []time.Time {
	first, last := c.instant(c.from), c.instant(c.to)
	every := 1
	for _, n := range []int{1, 2, 3, 6, 12, 24, 60, 120, 600, 1200, 6000, 12000} {
		every = n
		if float64(n)*30.4*daySeconds*(c.right-c.left)/(c.to-c.from) > 10.5 {
			break
		}
	}
	month := time.Date(first.Year(), first.Month(), 1, 0, 0, 0, 0, first.Location())
	for (int(month.Month())-1+12*month.Year())%every != 0 || month.Before(first) {
		month = month.AddDate(0, 1, 0)
	}
	var marks []time.Time
	for ; !month.After(last); month = month.AddDate(0, every, 0) {
		marks = append(marks, month)
	}
	return marks
}

// weeks are days a week or more apart, as many as there is room for.
func (c *chart) weeks() []time.Time {
	every := 7
	for float64(every)*daySeconds*(c.right-c.left)/(c.to-c.from) < 16 {
		every += 7
	}
	first, last := c.instant(c.from), c.instant(c.to)
	day := time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, first.Location())
	for day.Weekday() != time.Monday || day.Before(first) {
		day = day.AddDate(0, 0, 1)
	}
	var marks []time.Time
	for ; !day.After(last); day = day.AddDate(0, 0, every) {
		marks = append(marks, day)
	}
	return marks
}

// instant is a place of the time axis, in the station's time.
func (c *chart) instant(second float64) time.Time {
	zone := c.zone
	if zone == nil {
		zone = time.UTC
	}
	return time.Unix(int64(second), 0).In(zone)
}
