// Package variance splits the variance of nested readings into its sources: from day to day, from rack to rack in a
// day, from part to part on a rack, from spot to spot on a part.
//
// [Moments] estimates the components from the analysis of variance, [REML] by restricted maximum likelihood. In balanced
// data with no negative estimate the two are the same numbers; in unbalanced data, or where a component falls to 0, they
// differ, so that the method has to be printed beside the figures. Both take nesting of any depth and any imbalance.
//
// Labels are read inside their parent: operator “A” on machine 1 and operator “A” on machine 2 are two levels. Readings
// may come in any order and are not changed. What cannot be estimated is an error (test with errors.Is against
// [ErrConfounded], [ErrOneLevel] and the errors of package process), never NaN or an infinity.
//
// Readings are taken as the decimals that were typed: 1000000000000.4 is that number and not the nearest binary
// fraction, and a common constant is subtracted before anything is squared. Thirteen equal leading digits therefore
// cost nothing.
package variance
