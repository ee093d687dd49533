package trend_test

import (
	"fmt"
	"math"
	"slices"

	"bayround/internal/trend"

	"gonum.org/v1/gonum/stat/distuv"
)

func grubbsUranium(p *published) map[string]float64 {
	values := p.data["counts_per_second"]
	got := trend.Grubbs(values, 0.05)
	out := map[string]float64{
		"G": got.G, "G_exact": got.G, "sd": got.SD, "outlier_index": float64(got.Index + 1),
		"critical_one_sided_alpha_0.05": trend.GrubbsCritical(len(values), 0.05),
		"critical_two_sided_alpha_0.05": got.Critical,
	}
	for n := 3; n <= 10; n++ {
		out[fmt.Sprintf("critical_two_sided_alpha_0.05_n%d", n)] = trend.GrubbsCritical(n, 0.025)
	}
	return out
}

func gumThermometer(p *published) map[string]float64 {
	x := slices.Clone(p.data["t_celsius"])
	for i := range x {
		x[i] -= p.given("t0_celsius")
	}
	l, ok := trend.FitLine(x, p.data["correction_celsius"])
	if !ok {
		p.t.Fatal("no line")
	}
	return map[string]float64{
		"intercept_y1": l.Intercept, "intercept_exact": l.Intercept, "u_intercept": l.InterceptError,
		"slope_y2": l.Slope, "slope_exact": l.Slope, "u_slope": l.SlopeError,
		"correlation":           l.Covariance / (l.SlopeError * l.InterceptError),
		"sum_squared_residuals": l.SumResiduals, "residual_sd_exact": l.ResidualSD, "df": float64(l.Freedoms),
		"correction_at_30C": l.At(10), "correction_at_30C_exact": l.At(10),
		"u_correction_at_30C": l.ErrorAt(10), "u_correction_at_30C_exact": l.ErrorAt(10),
	}
}

func hampelDerived(p *published) map[string]float64 {
	values := p.data["pressure_bar"]
	// Values whose median deviation is one have the scale for their spread.
	scale := trend.Spread([]float64{-1, -1, 1, 1})
	out := map[string]float64{"mad_scale_exact": scale}
	for i, w := range trend.Hampel(values, int(p.given("half_window")), p.given("n_sigma"), 0) {
		out[fmt.Sprintf("local_median_%d", i+1)] = w.Median
		// The table's sigmas were made with the scale of four decimals that it gives.
		out[fmt.Sprintf("local_sigma_%d", i+1)] = w.Sigma / scale * p.given("mad_scale")
		out[fmt.Sprintf("outlier_%d", i+1)] = truth(w.Outlier)
	}
	return out
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func mannKendallByHand(p *published) map[string]float64 {
	k := trend.MannKendall(p.data["t"], p.data["y"])
	s, ok := trend.TheilSen(p.data["t"], p.data["y"], 0.95)
	if !ok {
		p.t.Fatal("no slope")
	}
	pairs := float64(s.Pairs)
	return map[string]float64{
		"pairs": pairs, "pairs_up": float64(k.Up), "pairs_down": float64(k.Down), "pairs_tied": float64(k.Tied),
		"S": float64(k.S), "variance_S": k.Variance, "Z": k.Z, "Z_exact": k.Z, "kendall_tau_a": float64(k.S) / pairs,
		"p_one_sided": k.P / 2, "p_one_sided_exact": k.P / 2, "p_two_sided_exact": k.P,
		"theil_sen_slope": s.PerDay, "theil_sen_intercept_median_residual": s.Intercept,
	}
}

func montgomeryCUSUM(p *published) map[string]float64 {
	c := trend.CUSUM{Target: p.given("target"), K: p.given("K_reference_value"), H: p.given("H_decision_interval")}
	run := c.Run(p.data["x"])
	out := map[string]float64{"signals": truth(run.First != nil)}
	for i := range run.Upper {
		out[fmt.Sprintf("upper_cusum_%d", i+1)] = run.Upper[i]
		out[fmt.Sprintf("lower_cusum_%d", i+1)] = run.Lower[i]
		out[fmt.Sprintf("n_upper_%d", i+1)] = float64(run.UpperRun[i])
		out[fmt.Sprintf("n_lower_%d", i+1)] = float64(run.LowerRun[i])
	}
	return out
}

func nile(p *published) map[string]float64 {
	years, flow := p.data["year"], p.data["volume_1e8_m3"]
	split := trend.Break(flow, len(flow)*15/100)
	test := trend.Pettitt(flow)
	k := trend.MannKendall(years, flow)
	s, ok := trend.TheilSen(years, flow, 0.95)
	if !ok {
		p.t.Fatal("no slope")
	}
	return map[string]float64{
		"optimal_single_break_after_observation": float64(split.After), "break_year": years[split.After-1],
		"mean_before": split.MeanBefore, "mean_after": split.MeanAfter, "sse_two_segments": split.SumSquares,
		"pettitt_break_after_observation": float64(test.After), "pettitt_K": float64(test.K), "pettitt_p_approx": test.P,
		"centred_cusum_extreme_after_observation": float64(extremeOfCentredSum(flow)),
		"mann_kendall_S": float64(k.S), "mann_kendall_var": k.Variance, "sen_slope_per_year": s.PerDay,
	}
}

// extremeOfCentredSum reads a CUSUM without slack about the mean: the farthest that the
// sum of deviations strays is where the level changed.
func extremeOfCentredSum(values []float64) int {
	sum, mean := 0.0, 0.0
	for _, v := range values {
		mean += v / float64(len(values))
	}
	farthest, after := 0.0, 0
	for i, v := range values {
		if sum += v - mean; math.Abs(sum) > farthest {
			farthest, after = math.Abs(sum), i+1
		}
	}
	return after
}

func handbookEWMA(p *published) map[string]float64 {
	e := trend.EWMA{Target: p.given("ewma_0_target"), Sigma: p.given("sigma"), Lambda: p.given("lambda"), L: p.given("L")}
	run := e.Run(p.data["y"])
	upper, lower := e.Target+e.SteadyReach(), e.Target-e.SteadyReach()
	out := map[string]float64{
		"ucl_steady_state": upper, "ucl_steady_state_exact": upper,
		"lcl_steady_state": lower, "lcl_steady_state_exact": lower,
		"points_out_of_control": truth(run.First != nil),
	}
	for i, v := range run.Values {
		out[fmt.Sprintf("ewma_%d", i+1)] = v
		out[fmt.Sprintf("ewma_%d_exact", i+1)] = v
	}
	for _, n := range []int{1, 2, 3, 5, 10, 20} {
		out[fmt.Sprintf("ucl_exact_t%d", n)] = e.Target + e.Reach(n)
	}
	return out
}

func handbookIndividuals(p *published) map[string]float64 {
	c := trend.FitIndividuals(p.data["y"])
	return map[string]float64{
		"mean": c.Centre, "mean_moving_range": c.MeanRange, "mean_moving_range_exact": c.MeanRange,
		"ucl": c.Upper, "ucl_exact": c.Upper, "lcl": c.Lower, "points_out_of_control": float64(len(c.Out)),
		"d2_n2": math.Round(3*c.MeanRange/(c.Upper-c.Centre)*1e9) / 1e9,
	}
}

func longley(p *published) map[string]float64 {
	y := p.data["y_employment"]
	ones := slices.Repeat([]float64{1}, len(y))
	factors := [][]float64{ones}
	for _, column := range []string{"x1_gnp_deflator", "x2_gnp", "x3_unemployed", "x4_armed_forces", "x5_population", "x6_year"} {
		factors = append(factors, p.data[column])
	}
	r, ok := trend.Regress(factors, y)
	if !ok {
		p.t.Fatal("no fit")
	}
	mean, total := 0.0, 0.0
	for _, v := range y {
		mean += v / float64(len(y))
	}
	for _, v := range y {
		total += (v - mean) * (v - mean)
	}
	explained := total - r.SumResiduals
	out := map[string]float64{
		"residual_sd": r.ResidualSD, "ss_residual": r.SumResiduals, "ss_regression": explained,
		"r_squared": explained / total, "f_statistic": explained / 6 / (r.SumResiduals / float64(r.Freedoms)),
	}
	for j := range factors {
		out[fmt.Sprintf("b%d", j)] = r.Coefficients[j]
		out[fmt.Sprintf("sd_b%d", j)] = r.Errors[j]
	}
	return out
}

func norris(p *published) map[string]float64 {
	l, ok := trend.FitLine(p.data["x"], p.data["y"])
	if !ok {
		p.t.Fatal("no line")
	}
	return map[string]float64{
		"b0_intercept": l.Intercept, "b1_slope": l.Slope, "sd_b0": l.InterceptError, "sd_b1": l.SlopeError,
		"residual_sd": l.ResidualSD, "r_squared": l.RSquared(), "ss_regression": l.SumRegression,
		"ss_residual": l.SumResiduals, "ms_residual": l.ResidualSD * l.ResidualSD, "f_statistic": l.F(),
		"df_residual": float64(l.Freedoms),
	}
}

func oxygenPurity(p *published) map[string]float64 {
	l, ok := trend.FitLine(p.data["x_hydrocarbon_percent"], p.data["y_purity_percent"])
	if !ok {
		p.t.Fatal("no line")
	}
	out := map[string]float64{
		"slope": l.Slope, "intercept": l.Intercept, "residual_variance": l.ResidualSD * l.ResidualSD,
		"t_0.975_18": distuv.StudentsT{Sigma: 1, Nu: float64(l.Freedoms)}.Quantile(0.975),
	}
	for _, x := range []float64{0.9, 1, 1.2, 1.5, 1.8} {
		low, high := l.Interval(x, 0.95)
		next, last := l.PredictionInterval(x, 0.95)
		for quantity, value := range map[string]float64{
			"fit": l.At(x), "ci95_lower": low, "ci95_upper": high, "pi95_lower": next, "pi95_upper": last,
		} {
			out[fmt.Sprintf("%s_exact_at_%.2f", quantity, x)] = value
			if x == 1 { // the textbook's own example, rounded
				out[fmt.Sprintf("%s_at_%.2f", quantity, x)] = value
			}
		}
	}
	return out
}

func sen1968(p *published) map[string]float64 {
	t, y := p.data["t"], p.data["y"]
	s, ok := trend.TheilSen(t, y, p.given("confidence"))
	if !ok {
		p.t.Fatal("no slope")
	}
	all, ok := trend.TheilSen(t, y, 1-1e-12) // so sure that every slope lies within
	if !ok {
		p.t.Fatal("no slope")
	}
	return map[string]float64{
		"slope": s.PerDay, "slope_lower_93": s.Low, "slope_upper_93": s.High, "pairs": float64(s.Pairs),
		"intercept_median_of_residuals":           s.Intercept,
		"intercept_median_y_minus_slope_median_t": trend.Median(y) - s.PerDay*trend.Median(t),
		"slope_smallest":                          all.Low, "slope_largest": all.High,
	}
}
