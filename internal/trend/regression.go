package trend

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Regression is a least-squares fit on several factors.
type Regression struct {
	// Coefficients in the order of the factors.
	Coefficients []float64
	// Errors are their standard errors.
	Errors []float64
	// ResidualSD is the standard deviation about the fit.
	ResidualSD float64
	// SumResiduals is the sum of squares about the fit.
	SumResiduals float64
	// Freedoms are the degrees of freedom of ResidualSD.
	Freedoms int
}

// mostCondition is the condition number, of factors scaled to length one, beyond which
// factors that always move together cannot be told apart.
const mostCondition = 1e10

// Regress fits y to factors by Householder's QR decomposition, which keeps the digits that
// the normal equations would square away. A factor of ones is the intercept. It says false
// when there are no more rows than factors, or factors cannot be told apart.
func Regress(factors [][]float64, y []float64) (Regression, bool) {
	rows, columns := len(y), len(factors)
	if columns == 0 || rows <= columns {
		return Regression{}, false
	}
	lengths := make([]float64, columns)
	design := mat.NewDense(rows, columns, nil)
	for j, factor := range factors {
		lengths[j] = mat.Norm(mat.NewVecDense(rows, factor), 2)
		if lengths[j] == 0 {
			return Regression{}, false
		}
		for i, v := range factor {
			design.Set(i, j, v/lengths[j])
		}
	}
	var qr mat.QR
	qr.Factorize(design)
	if !(qr.Cond() < mostCondition) {
		return Regression{}, false
	}
	return solve(&qr, design, lengths, y)
}

// solve finishes a regression whose factors were scaled to length one.
func solve(qr *mat.QR, design *mat.Dense, lengths, y []float64) (Regression, bool) {
	rows, columns := design.Dims()
	observed := mat.NewVecDense(rows, y)
	var scaled, residuals mat.VecDense
	if err := qr.SolveVecTo(&scaled, false, observed); err != nil {
		return Regression{}, false
	}
	residuals.MulVec(design, &scaled)
	residuals.SubVec(observed, &residuals)
	out := Regression{
		Coefficients: make([]float64, columns),
		Errors:       make([]float64, columns),
		SumResiduals: mat.Dot(&residuals, &residuals),
		Freedoms:     rows - columns,
	}
	out.ResidualSD = math.Sqrt(out.SumResiduals / float64(out.Freedoms))
	var r, inverse mat.Dense
	qr.RTo(&r)
	if err := inverse.Inverse(r.Slice(0, columns, 0, columns)); err != nil {
		return Regression{}, false
	}
	for j := range columns {
		out.Coefficients[j] = scaled.AtVec(j) / lengths[j]
		out.Errors[j] = out.ResidualSD * mat.Norm(inverse.RowView(j), 2) / lengths[j]
	}
	return out, true
}
