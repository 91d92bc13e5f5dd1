package process

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a two-sided confidence interval, ends included.
type Interval struct{ Low, High float64 }

// largestIndex is the size from which an index says no more than that there is no spread beside the limits.
const largestIndex = 1e100

// fewForBissell is the number of readings below which the normal approximation of the Cpk interval is far off.
const fewForBissell = 10

// CpInterval returns the two-sided interval of Cp (or Pp) at the confidence, such as 0.95, from df degrees of freedom
// of the standard deviation (n-1 for n single readings):
//
//	Cp·√(χ²_{α/2,df}/df) … Cp·√(χ²_{1-α/2,df}/df)
//
// It is exact for normal readings. It returns ErrTooFewReadings for df below 1 and ErrBadConfidence.
//
// Source: NIST/SEMATECH e-Handbook 6.1.6 (from memory, unverified; values recomputed in two languages).
func CpInterval(cp, df, confidence float64) (Interval, error) {
	if err := checkBound(cp, df+1, df, confidence); err != nil {
		return Interval{}, err
	}
	return Interval{
		Low:  cp * math.Sqrt(chiSquared((1-confidence)/2, df)/df),
		High: cp * math.Sqrt(chiSquared((1+confidence)/2, df)/df),
	}, nil
}

// CpLower returns the exact one-sided lower bound of Cp (or Pp), Cp·√(χ²_{1-confidence,df}/df). Arguments and errors as for
// CpInterval.
func CpLower(cp, df, confidence float64) (float64, error) {
	if err := checkBound(cp, df+1, df, confidence); err != nil {
		return 0, err
	}
	return cp * math.Sqrt(chiSquared(1-confidence, df)/df), nil
}

// CpkInterval returns the two-sided interval of Cpk (or Ppk) after Bissell:
//
//	Cpk ± z·√(1/(9n) + Cpk²/(2·df))
//
// n is how many independent readings the mean rests on, df the degrees of freedom of the standard deviation; for n
// single readings df is n-1. Some texts write 2n in place of 2(n-1); do not mix. The normal approximation is far off
// below n = 10. It returns ErrTooFewReadings for n below 2 or df below 1, and ErrBadConfidence.
//
// Source: Bissell 1990, Applied Statistics 39 (from memory, unverified; values recomputed in two languages).
func CpkInterval(cpk, n, df, confidence float64) (Interval, error) {
	if err := checkBound(cpk, n, df, confidence); err != nil {
		return Interval{}, err
	}
	half := bissell(cpk, n, df) * distuv.UnitNormal.Quantile((1+confidence)/2)
	return Interval{Low: cpk - half, High: cpk + half}, nil
}

// CpkLower returns the one-sided lower bound of Cpk (or Ppk): with the stated confidence, the process is at least that
// good. Formula, arguments and errors as for CpkInterval, with the one-sided z.
func CpkLower(cpk, n, df, confidence float64) (float64, error) {
	if err := checkBound(cpk, n, df, confidence); err != nil {
		return 0, err
	}
	return cpk - bissell(cpk, n, df)*distuv.UnitNormal.Quantile(confidence), nil
}

// bissell is the standard error of an estimated Cpk.
func bissell(cpk, n, df float64) float64 { return math.Sqrt(1/(9*n) + cpk*cpk/(2*df)) }

// OneSidedLower returns the exact lower bound of a one-sided index Cpl or Cpu (or Ppl, Ppu) of a normal process. The
// bound L solves P(T <= 3√n·C) = confidence, T noncentral t with df degrees of freedom and noncentrality 3√n·L.
// Arguments and errors as for CpkInterval; it is right for any n from 2 up.
//
// Source: textbook result (from memory, unverified; values recomputed in two languages).
func OneSidedLower(index, n, df, confidence float64) (float64, error) {
	if err := checkBound(index, n, df, confidence); err != nil {
		return 0, err
	}
	scale := 3 * math.Sqrt(n)
	return noncentrality(scale*index, df, confidence) / scale, nil
}

// OneSidedInterval returns the exact two-sided interval of a one-sided index; see OneSidedLower.
func OneSidedInterval(index, n, df, confidence float64) (Interval, error) {
	if err := checkBound(index, n, df, confidence); err != nil {
		return Interval{}, err
	}
	low, err := OneSidedLower(index, n, df, (1+confidence)/2)
	if err != nil {
		return Interval{}, err
	}
	high, err := OneSidedLower(index, n, df, (1-confidence)/2)
	return Interval{Low: low, High: high}, err
}

// chiSquared returns the quantile of the χ² law. Where the library finds none above 0, the first term of the distribution
// function, (x/2)^{df/2}/Γ(df/2+1), is all that counts.
func chiSquared(p, df float64) float64 {
	if x := (distuv.ChiSquared{K: df}).Quantile(p); x > 0 {
		return x
	}
	log, _ := math.Lgamma(df/2 + 1)
	return 2 * math.Exp((math.Log(p)+log)*2/df)
}

// inside tells a probability that a quantile can be taken of. One within 1e-9 of 0 or 1 loses its digits on the way,
// and no data support it.
func inside(p float64) bool { return p > 1e-9 && p < 1-1e-9 }

func checkBound(index, n, df, confidence float64) error {
	switch {
	case !inside(confidence):
		return ErrBadConfidence
	case math.IsNaN(index) || math.Abs(index) > largestIndex:
		return fmt.Errorf("index %g: %w", index, ErrNotFinite)
	case !(n >= 2 && df >= 1) || math.IsInf(n, 0) || math.IsInf(df, 0):
		return fmt.Errorf("confidence bound from %g: %w", n, ErrTooFewReadings)
	}
	return nil
}

// noncentrality returns δ such that a noncentral t variable with df and δ is at most t with probability p. The
// probability falls as δ grows: Newton steps of bounded length close in from the normal approximation, and a step that
// leaves what is already known halves it instead.
func noncentrality(t, df, p float64) float64 {
	reach := math.Sqrt(1 + t*t/(2*df))
	low, high := math.Inf(-1), math.Inf(1)
	delta := t - reach*distuv.UnitNormal.Quantile(p)
	for range 200 {
		probability, density := noncentralT(t, df, delta)
		if probability > p {
			low = delta
		} else {
			high = delta
		}
		step := 4 * reach * math.Copysign(1, probability-p)
		if density > 0 {
			step = min(max((probability-p)/density, -4*reach), 4*reach)
		}
		next := delta + step
		if !(next > low && next < high) && high-low < math.MaxFloat64 {
			next = (low + high) / 2
		}
		if math.Abs(next-delta) < 1e-12*reach {
			return next
		}
		delta = next
	}
	return delta
}

// noncentralT returns P(T <= t) for T noncentral t, and how fast it falls as delta grows:
//
//	P = ∫ f(s)·Φ(ts-δ) ds,  s = √(χ²/df)
//
// The series behind distuv.NoncentralT gives way to an approximation for δ over 38, which 25 readings and an index of
// 2.6 already reach; this integral has no such end. The density f is normalised numerically, since its constant
// would cancel digits for large df.
func noncentralT(t, df, delta float64) (probability, fall float64) {
	width := 12 / math.Sqrt(2*df)
	knots := [4]float64{max(0, 1-width), 0, 0, 1 + width}
	// Φ rises from 0 to 1 within 8/t of s = δ/t: that stretch has panels of its own.
	knots[1], knots[2] = knots[0], knots[0]
	if t != 0 {
		knots[1] = min(max(delta/t-8/math.Abs(t), knots[0]), knots[3])
		knots[2] = min(max(delta/t+8/math.Abs(t), knots[0]), knots[3])
	}
	var total, below, density float64
	for i := 1; i < len(knots); i++ {
		const count = 6
		step := (knots[i] - knots[i-1]) / count
		for j := range count {
			if step <= 0 {
				break
			}
			middle := knots[i-1] + (float64(j)+0.5)*step
			for k, node := range nodes {
				s := middle + node*step/2
				weight := weights[k] * step / 2 * math.Exp((df-1)*math.Log(s)+df*(1-s)*(1+s)/2)
				z := t*s - delta
				total += weight
				below += weight * upperTail(-z)
				density += weight * math.Exp(-z*z/2)
			}
		}
	}
	return below / total, density / total / math.Sqrt(2*math.Pi)
}
