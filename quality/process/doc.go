// Package process is the statistics of a process: summaries of readings, control charts, capability, yield and
// proportions.
//
// It answers four questions about a shop's readings, in the order in which they should be asked.
//
// # What was measured
//
// [Summarize] reduces readings to a [Summary]: how many, mean, sum of squared deviations, smallest and largest. Store the
// summary with each check; summaries merge in any order into the summary of all their readings, so that a year is
// described without reading a year of readings. [Describe] adds shape and autocorrelation where the readings are at hand,
// [Accumulator] does so for readings that come one at a time, and [Quantiles] sorts them.
//
// # Is the process stable
//
// A control chart compares the spread from one subgroup to the next with the spread inside subgroups, or from one reading
// to the next. Choose it by what a subgroup is:
//
//   - a few parts in a row, one reading each: [XbarS], or [XbarR] for a chart kept by hand;
//   - one reading at a time: [Individuals];
//   - spots on one part, parts as subgroups: [BetweenWithin]. Spots on a part share its level, so that the limits of
//     an X̄-s chart, computed from the spread between spots, are far too narrow for part means: nearly every part would
//     signal;
//   - counts of defective parts: [PChart], [NPChart]; counts of defects: [CChart], [UChart];
//   - a small lasting shift that the others find late: [EWMA], [CUSUM].
//
// Lines come from the data, from a base period ([ChartOptions].Base), from [Limits] that were frozen and stored, or from a
// given target and sigma; frozen lines do not move with new data. Phases have lines of their own, and no rule runs across.
// The run rules ([Rule]) each switch on and off; [DefaultRules] is a point beyond 3 sigma and nine on one side.
//
// # Does it meet the limits
//
// [Capability] returns the indices with everything that has to be printed beside them: both standard deviations and how
// they were estimated, the chart, the check of the distribution, lower bounds, and whether the figure may be quoted at
// all. It withholds what would mislead and says why in [Result].Reasons: below 25 subgroups there is no index; without
// shown stability there is performance (Pp, Ppk) but no capability (Cp, Cpk); a one-sided limit has the index of its side
// only. A lower bound belongs beside every index, in the same size: an observed Cpk of 1.33 from 25 readings supports a
// claim of 0.996 and no more.
//
// Skewed readings need another law than the normal one: [FitDistribution] fits a lognormal, Weibull or Box-Cox law, says how
// well it fits, and gives indices by percentiles. [AndersonDarling] and [ShapiroWilk] test the normal law.
// [ToleranceInterval] says where a share of the process lies, [DistributionFreeSize] and [SizeForMean] how many readings a
// statement needs.
//
// # What came through
//
// [LineYield] gives first-pass, final and rolled yield with exact intervals, [DefectRate] defects per unit and per million
// opportunities, [Pareto] their order, [NewProportion] any other share.
//
// # Conventions
//
// Functions compute; they read and write nothing, keep no state but cached constants, and may be called from many
// goroutines. Input slices are never changed. Values may be in any unit as long as limits are in the same; every
// index is the same number in micrometres and in mils. No result is NaN or infinite: what is not defined is an error
// ([ErrTooFewReadings], [ErrNoSpread] and the like, found with errors.Is) or a nil field with a sentence beside it. A
// value equal to a limit is within it; a point on a control limit is not beyond it. Points are counted from 0 in
// fields and from 1 in sentences.
//
// Formulas and published check values are named at each function; the files of check values stand under
// testdata/published with source and status in their first lines.
package process
