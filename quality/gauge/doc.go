// Package gauge says how far a measuring system can be trusted: how much of the spread of readings comes from the gauge and
// the people who use it, whether it reads true over its range, and whether inspectors agree by eye.
//
//   - Parts measured several times by several appraisers: [ANOVA], or [AverageAndRange] for a study worked by hand.
//   - Parts that only one appraiser can measure, because measuring destroys or moves them: [Nested].
//   - Short-term, day-to-day and run-to-run spread of check standards: [Levels].
//   - Readings on shims of known thickness: [Bias] at one, [Linearity] over the range.
//   - Pass or fail by eye: [Agreement], with [Cohen] and [Fleiss] kappa.
//
// The results of the studies of spread are one type, [Study]. Each standard deviation stands beside its percentage of the
// study variation (of the total standard deviation; percentages of standard deviations do not add up to 100) and, where a
// tolerance is given, of the tolerance: 100·6·sd/tolerance.
//
// Functions compute; they change no argument and keep no state. What is not defined is nil with a sentence in Notes, or
// an error (test with errors.Is against the errors here and in package process), never NaN or an infinity.
package gauge
