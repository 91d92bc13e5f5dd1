package process

import "errors"

// The reasons why there is no figure. They are ordinary: a short morning, a gauge that was never moved, a limit that
// the drawing does not give. Test for them with errors.Is; the wrapping text says which value was at fault.
var (
	// ErrTooFewReadings means that the statistic is not defined, or not to be trusted, for so few readings.
	ErrTooFewReadings = errors.New("too few readings")
	// ErrTooFewSubgroups means that a chart or an estimate needs more subgroups.
	ErrTooFewSubgroups = errors.New("too few subgroups")
	// ErrNoSpread means that all readings are equal, so that nothing can be measured in units of their spread.
	ErrNoSpread = errors.New("no variation in the readings")
	// ErrNoLimits means that neither a lower nor an upper limit is set.
	ErrNoLimits = errors.New("no specification limits")
	// ErrBadLimits means that limits contradict each other or are not numbers.
	ErrBadLimits = errors.New("specification limits are not usable")
	// ErrNotFinite means NaN, an infinity, or a size (over 1e140) whose square could overflow.
	ErrNotFinite = errors.New("not a finite number")
	// ErrBadSummary means a Summary that no set of readings can have.
	ErrBadSummary = errors.New("summary contradicts itself")
	// ErrBadConfidence means a confidence level that does not lie between 0 and 1, or lies within 1e-9 of either.
	ErrBadConfidence = errors.New("confidence must lie between 0 and 1")
	// ErrBadCount means a negative count, or more hits than trials.
	ErrBadCount = errors.New("counts contradict each other")
	// ErrSubgroupSize means a subgroup size for which the constant or chart is not defined.
	ErrSubgroupSize = errors.New("subgroup size must be at least 2")
	// ErrBadSpan means a phase or base period that does not lie within the chart, or phases out of order.
	ErrBadSpan = errors.New("not a stretch of the chart")
	// ErrBadWeight means a chart's weight, width, allowance or decision interval outside its range.
	ErrBadWeight = errors.New("chart parameter outside its range")
	// ErrBadCoverage means a share of readings that does not lie between 0 and 1, or lies within 1e-9 of either.
	ErrBadCoverage = errors.New("coverage must lie between 0 and 1")
	// ErrTooManyReadings means more readings than a test was made for.
	ErrTooManyReadings = errors.New("too many readings for this test")
	// ErrNotPositive means readings at or below 0 for a distribution of positive ones.
	ErrNotPositive = errors.New("readings must be above 0")
	// ErrUnknownRule means a run rule name that is not one of n1 to n8 or we1 to we4.
	ErrUnknownRule = errors.New("unknown run rule")
	// ErrUnknownMethod means a spread estimate or chart that this package does not have.
	ErrUnknownMethod = errors.New("unknown method")
)
