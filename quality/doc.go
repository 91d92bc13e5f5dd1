// Package quality holds the rules of a shop that welds aluminium and powder-coats it: what is measured, within which
// limits, what a check's verdict is, and what a part still needs before it may be released.
//
// It computes and never reads or writes: no database, no files, no clock. The path through it is
//
//	text typed at the bench ── ParseReading ──► Reading
//	readings, ratings, defects ── Judge ──► Judgement (a verdict and the findings that decided it)
//	judged checks as Evidence ── Gate ──► what release still asks for
//
// Three habits hold everywhere. A value equal to a limit is within it. A reading is compared in the unit it was taken in
// when the limit is written in that unit too, else after exact conversion, and never after rounding. A check that lacks
// something it must have is Incomplete, which is never a pass.
//
// Limits that come from a standard a shop must buy are data (FinishSpec, WeldLimit), never constants here.
// Statistics of many parts are in the sub-package process.
package quality
