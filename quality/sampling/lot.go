package sampling

import (
	"fmt"
	"math"

	"coatbook/quality/process"
)

// coatingLots is the number of parts to measure from a lot, and how many may fail (trade reference, read in the specification
// of a coating quality label).
var coatingLots = []struct{ upTo, n, accept int }{
	{200, 10, 1}, {300, 15, 1}, {500, 20, 2}, {800, 30, 3}, {1300, 40, 3},
	{3200, 55, 4}, {8000, 75, 6}, {22000, 115, 8}, {110000, 150, 11},
}

// CoatingLot returns how many parts of a coated lot are measured for thickness, and how many of them may fail their own
// thickness rule: all of up to ten with none failing, 10 of up to 200 with one, and so on to 150 of up to 110 000 with
// eleven. A lot is a customer's complete order in one colour, or the part of it that is in the plant; parts are chosen at
// random.
//
// It returns ErrLotSize below 1 and above 110 000.
//
// Source: Qualideco specification, sampling for thickness (seen).
func CoatingLot(lot int) (Plan, error) {
	p := Plan{Standard: CoatingRule, Lot: lot, Status: Seen}
	switch {
	case lot < 1:
		return Plan{}, fmt.Errorf("a lot of %d: %w, which begins at 1", lot, ErrLotSize)
	case lot <= 10:
		p.N, p.Reject = lot, 1
		p.cut()
		return p, nil
	}
	for _, row := range coatingLots {
		if lot <= row.upTo {
			p.N, p.Accept, p.Reject = row.n, row.accept, row.accept+1
			p.cut()
			return p, nil
		}
	}
	return Plan{}, fmt.Errorf("a lot of %d: %w, which ends at 110 000; divide it", lot, ErrLotSize)
}

// ZeroAcceptance returns the smallest sample that, with no bad piece in it, shows at the confidence that the lot's fraction bad
// is below fraction: a lot at that fraction or worse is accepted with probability 1-confidence at most.
//
//	lot 0 (a long series):  (1-fraction)ⁿ <= 1-confidence
//	lot N:                  C(N-D, n)/C(N, n) <= 1-confidence,  D = ⌈fraction·N⌉
//
// Accept is 0 and Reject 1. Such a plan protects who receives the lot, and rejects many good lots: at a tenth of the
// fraction it still rejects about one lot in five (confidence 0.9).
//
// It returns ErrFraction, process.ErrBadConfidence and ErrLotSize for a negative lot.
//
// Source: definition, exact (hypergeometric and binomial).
func ZeroAcceptance(lot int, fraction, confidence float64) (Plan, error) {
	switch {
	case lot < 0:
		return Plan{}, fmt.Errorf("a lot of %d: %w", lot, ErrLotSize)
	case !(fraction > 0 && fraction < 1):
		return Plan{}, fmt.Errorf("%v: %w", fraction, ErrFraction)
	case !(confidence > 0 && confidence < 1):
		return Plan{}, process.ErrBadConfidence
	}
	p := Plan{Standard: ZeroRule, Lot: lot, Reject: 1, Status: Computed}
	// A part in 1e12 of slack: a risk that is met exactly is met.
	risk := (1 - confidence) * (1 + 1e-12)
	if lot == 0 {
		need := math.Ceil(math.Log(risk) / math.Log1p(-fraction))
		if need > math.MaxInt32 {
			return Plan{}, fmt.Errorf("%v would need over two thousand million pieces: %w", fraction, ErrFraction)
		}
		p.N = max(1, int(need))
		p.cut()
		return p, nil
	}
	bad := int(math.Ceil(fraction*float64(lot) - 1e-9))
	bad = max(1, bad)
	chance := 1.0
	for p.N < lot && chance > risk {
		chance *= float64(max(0, lot-bad-p.N)) / float64(lot-p.N)
		p.N++
	}
	p.cut()
	return p, nil
}
