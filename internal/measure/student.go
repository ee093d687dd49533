package measure

import "math"

// Student returns the coverage factor k of an expanded uncertainty k·u that
// covers so much of Student's distribution, half of the rest on either side
// (GUM G.3, G.6.4). Degrees of freedom that are no whole number, such as those
// of Combine, count as the next lower one; infinite ones give the normal
// distribution. Fewer than one, or a confidence that is not between 0 and 1,
// give infinity: nothing is covered by any k.
func Student(confidence, freedom float64) float64 {
	if !(confidence > 0 && confidence < 1) || !(freedom >= 1) {
		return math.Inf(1)
	}
	whole := math.Floor(freedom)
	if whole > mostTerms {
		return studentFar(confidence, whole)
	}
	// Bisection on the angle, which has two ends whatever the confidence.
	low, high := 0.0, math.Pi/2
	for range 64 {
		angle := (low + high) / 2
		if studentWithin(angle, int(whole)) < confidence {
			low = angle
		} else {
			high = angle
		}
	}
	return math.Sqrt(whole) * math.Tan(low)
}

// mostTerms is up to which degree of freedom the sum is taken term by term.
const mostTerms = 200

// studentWithin is the probability that Student's t lies within ±√freedom·tan
// of the angle: the finite sums of Abramowitz and Stegun 26.7.3 and 26.7.4.
func studentWithin(angle float64, freedom int) float64 {
	sin, cos := math.Sincos(angle)
	if freedom%2 == 0 {
		term, sum := 1.0, 1.0
		for k := 2; k < freedom; k += 2 {
			term *= cos * cos * float64(k-1) / float64(k)
			sum += term
		}
		return sin * sum
	}
	term, sum := cos, 0.0
	for k := 1; k < freedom; k += 2 {
		sum += term
		term *= cos * cos * float64(k+1) / float64(k+2)
	}
	return 2 / math.Pi * (angle + sin*sum)
}

// studentFar is the expansion for many degrees of freedom, Abramowitz and
// Stegun 26.7.5, to the second term; above 200 it is good to seven digits.
func studentFar(confidence, freedom float64) float64 {
	z := math.Sqrt2 * math.Erfinv(confidence)
	cube := z * z * z
	return z + (cube+z)/(4*freedom) + (5*cube*z*z+16*cube+3*z)/(96*freedom*freedom)
}
