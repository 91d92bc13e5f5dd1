// Package colour computes colour differences between a standard and a sample in CIELAB.
//
// A spectrophotometer gives both as L*, a*, b* ([Lab]), for one light and one observer; the two must be the same for
// standard and sample, which no function here can check. [CIEDE2000] is the figure to agree on for new work. [CIE76]
// is the plain distance that older contracts name ("dE below 1"), and [CMC] is the textile trade's formula, which some
// coil and automotive contracts still call up. [Compare] says in which direction a sample is off: lighter, greyer, redder.
//
// The three formulas give different numbers for one pair, by a factor of three in saturated colours. Store the
// formula's name beside the figure and beside the limit; a limit agreed for one is no limit for another.
//
// No function allocates or changes its arguments, and all may be called from many goroutines. A coordinate that is not
// finite, or larger than 1000, is [ErrNotColour]: nothing returns NaN or an infinity.
package colour
