package web

import (
	"math"
	"time"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"coatbook/quality"
)

// A dayValue is the mean of something on one shop day.
type dayValue struct {
	day   time.Time
	value float64
}

// A trend is a straight line through the means of days, where it is steeper than chance explains.
type trend struct {
	perDay float64
	days   int // from the first day to the last
	last   float64
}

// minTrendDays is the fewest days from which a slope is told: with fewer, four points on a line are an ordinary week.
const minTrendDays = 5

// trendOf fits a line by least squares through day means and keeps it when its slope differs from 0 at the 1 % level (two-sided
// t test with n-2 degrees of freedom). Days without a value are no obstacle. Points must be in order.
//
// Source: simple linear regression, textbook (NIST/SEMATECH e-Handbook 4.4, from memory).
func trendOf(points []dayValue) (trend, bool) {
	n := len(points)
	if n < minTrendDays {
		return trend{}, false
	}
	x, y := make([]float64, n), make([]float64, n)
	for i, p := range points {
		x[i], y[i] = p.day.Sub(points[0].day).Hours()/24, p.value
	}
	intercept, slope := stat.LinearRegression(x, y, nil, false)
	var rest float64
	for i := range x {
		d := y[i] - intercept - slope*x[i]
		rest += d * d
	}
	spread := stat.Variance(x, nil) * float64(n-1)
	if spread == 0 || slope == 0 {
		return trend{}, false
	}
	t := trend{perDay: slope, days: int(x[n-1]) + 1, last: intercept + slope*x[n-1]}
	if rest == 0 {
		return t, true
	}
	df := float64(n - 2)
	statistic := math.Abs(slope) / math.Sqrt(rest/df/spread)
	return t, statistic > distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.995)
}

// daysTo is in how many days the line meets a limit; false when it leads away from it.
func (t trend) daysTo(limit float64) (float64, bool) {
	days := (limit - t.last) / t.perDay
	return days, days > 0 && !math.IsInf(days, 0)
}

// soonest is the limit that the line meets first, in its own unit and in days; false when it leads to none.
func (t trend) soonest(limits quality.Limits, unit quality.Unit) (limit, days float64, ok bool) {
	bound := limits.High
	if t.perDay < 0 {
		bound = limits.Low
	}
	if bound == nil {
		return 0, 0, false
	}
	limit, err := bound.In(unit)
	if err != nil {
		return 0, 0, false
	}
	days, ok = t.daysTo(limit)
	return limit, days, ok
}

// direction says where the line goes.
func (t trend) direction() string {
	if t.perDay < 0 {
		return "falling"
	}
	return "rising"
}
