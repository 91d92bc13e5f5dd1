// Package sampling decides about a lot from a sample: how many pieces to take, how many may fail, what such a plan lets
// through, and when inspection gets stricter or easier.
//
//   - Counting bad pieces: [Single] and [SingleByLetter] look up MIL-STD-105E; [Switcher] moves between normal, tightened
//     and reduced inspection; [ISO2859Differences] says where the ISO standard is not the same.
//   - Film thickness of a coated lot by number of parts: [CoatingLot].
//   - No bad piece in the sample at all: [ZeroAcceptance].
//   - Which pieces: [Draw], at random and repeatable from its seed.
//   - One measured characteristic: [Variables], by the standard deviation method of MIL-STD-414, which takes far fewer
//     pieces and is right only for stable, unsorted, normal readings; [VariablesConditions] says whether it may be used.
//   - What a plan does: [AcceptBinomial], [AcceptHypergeometric], [OC], [AOQ], [AOQL], [QualityAt].
//
// Name the standard beside every plan: MIL-STD-105E, ANSI Z1.4 and ISO 2859-1 agree in most cells and differ in reduced
// inspection and in the switching rules; MIL-STD-414, ANSI Z1.9 and ISO 3951 have different code letters and sample sizes.
//
// Fractions are between 0 and 1, AQLs in percent as they are written on a drawing. Functions compute and keep no state but
// that of a Switcher; what does not exist is an error, never NaN or a panic.
package sampling
