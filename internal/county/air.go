package county

import (
	"math"
	"strconv"
)

// The air in the bays, in degrees Celsius: a year's wave that cools 10 K in the
// twenty weeks before the last, and weather on top of it.
const (
	airMean      = 12.5
	airSwing     = 5.35 // 2 × 5.35 × sin(140 days of 365) is 10 K
	airMiddle    = 77   // days before today on which it cools fastest
	airWeather   = 1.5  // standard deviation of a day
	yearDays     = 365.25
	referenceAir = 15.0 // at which the county counts the air in its tyres
)

// airIn is the temperature of the air in the bays of a station, so many days ago.
func airIn(station string, ago int) float64 {
	season := airMean + airSwing*math.Sin(2*math.Pi*float64(ago-airMiddle)/yearDays)
	return season + spread(chance("air", station, strconv.Itoa(ago)), airWeather)
}
