package quality

import (
	"errors"
	"fmt"
	"math"
)

// GasConstant is R in J/(mol K), exact since the SI of 2019.
const GasConstant = 8.314462618

// zeroCelsius is 0 °C in kelvin.
const zeroCelsius = 273.15

// maxActivation bounds activation energies in kJ/mol. Powders lie between 30 and 110; the room above keeps every rate finite.
const maxActivation = 1000

// ErrCureFigure is returned for a temperature, time or activation energy from which no cure figure can be computed.
var ErrCureFigure = errors.New("quality: no cure figure from these values")

// EquivalentMinutes returns how many minutes at referenceC cure as much as the given minutes at atC:
//
//	t_ref = t · exp( −(Ea/R)·(1/T − 1/T_ref) )
//
// T in kelvin, Ea the activation energy in kJ/mol, R = 8.314462618 J/(mol K). It assumes one activation energy over the
// whole range, which no published schedule keeps to exactly; see CureWindow for the powder's own points.
//
// It returns ErrCureFigure for minutes under 0, temperatures outside −50 to 500 °C, an energy that is not over 0 and up to
// 1000 kJ/mol, and for anything that is not a number.
//
// Source: Arrhenius, textbook form.
func EquivalentMinutes(minutes, atC, referenceC, activationKJMol float64) (float64, error) {
	if !(minutes >= 0 && minutes <= 1e9) || isOpen(atC) || isOpen(referenceC) || !(activationKJMol > 0 && activationKJMol <= maxActivation) {
		return 0, fmt.Errorf("%w: %v min at %v °C, reference %v °C, %v kJ/mol", ErrCureFigure, minutes, atC, referenceC, activationKJMol)
	}
	return minutes * math.Exp(-activationKJMol*1000/GasConstant*(1/(atC+zeroCelsius)-1/(referenceC+zeroCelsius))), nil
}

// ActivationEnergy returns the activation energy in kJ/mol that makes the least times of two points of a data sheet equal
// cures:
//
//	Ea = R · ln(t₁/t₂) / (1/T₁ − 1/T₂)
//
// It returns ErrCureFigure when a time is not over 0, a temperature lies outside −50 to 500 °C, or both are the same.
//
// Source: Arrhenius, solved for Ea.
func ActivationEnergy(one, two CurePoint) (float64, error) {
	x := 1/(one.MetalC+zeroCelsius) - 1/(two.MetalC+zeroCelsius)
	energy := GasConstant * math.Log(one.MinMinutes/two.MinMinutes) / x / 1000
	if isOpen(one.MetalC) || isOpen(two.MetalC) || !(one.MinMinutes > 0) || !(two.MinMinutes > 0) || x == 0 || math.IsNaN(energy) || math.IsInf(energy, 0) {
		return 0, fmt.Errorf("%w: %v min at %v °C and %v min at %v °C", ErrCureFigure, one.MinMinutes, one.MetalC, two.MinMinutes, two.MetalC)
	}
	return energy, nil
}

// cureRates computes how fast a profile cures at a temperature: by one activation energy against a reference, and by the
// powder's own points.
type cureRates struct {
	energy    float64 // Ea/R in K, 0 for none
	reference float64 // 1/T_ref
	window    windowLine
}

// A cureRate is what a channel's temperature is worth.
type cureRate struct {
	arrhenius float64 // minutes at the reference per minute
	window    float64 // share of the window's cure per minute, its ends prolonged
	certain   float64 // the same, nothing under the coldest point and over the hottest no more than there
}

func newCureRates(s ProfileSettings) cureRates {
	r := cureRates{window: s.Window.line()}
	if s.ActivationKJMol > 0 {
		r.energy, r.reference = s.ActivationKJMol*1000/GasConstant, 1/(s.ReferenceC+zeroCelsius)
	}
	return r
}

func (r *cureRates) arrhenius(celsius float64) float64 {
	return math.Exp(-r.energy * (1/(celsius+zeroCelsius) - r.reference))
}

func (r *cureRates) at(celsius float64) cureRate {
	var rate cureRate
	if r.energy > 0 {
		rate.arrhenius = r.arrhenius(celsius)
	}
	if len(r.window.c) > 0 {
		rate.window = math.Exp(-r.window.logMinutes(celsius))
		rate.certain = r.window.certain(celsius, rate.window)
	}
	return rate
}

// add integrates the rates over a straight line from the channel's last reading to b.
func (r *cureRates) add(ch *profileChannel, dt, b float64, rate cureRate) {
	if r.energy > 0 {
		ch.equivalent.add(dt * (ch.rate.arrhenius + rate.arrhenius) / 2)
		ch.linear.add(dt * r.meanRate(ch.celsius, b, ch.rate.arrhenius, rate.arrhenius))
	}
	if len(r.window.c) == 0 {
		return
	}
	if len(r.window.c) > 1 {
		ch.doseOut.add(dt * (ch.rate.window + rate.window) / 2)
	}
	ch.dose.add(dt * r.window.within(ch.celsius, b, ch.rate.certain, rate.certain))
	ch.overWindow += dt * shareOver(ch.celsius, b, r.window.c[len(r.window.c)-1])
}

// Nodes and weights of Lobatto's rules with 4 and 6 points on −1 to 1, ends left out. With 3 points it is Simpson's rule.
//
// Source: Abramowitz and Stegun, table 25.6; closed forms.
var (
	lobatto4 = 1 / math.Sqrt(5)
	inner6   = math.Sqrt(1.0/3 - 2*math.Sqrt(7)/21)
	outer6   = math.Sqrt(1.0/3 + 2*math.Sqrt(7)/21)
	innerW6  = (14 + math.Sqrt(7)) / 30
	outerW6  = (14 - math.Sqrt(7)) / 30
)

// meanRate returns the mean of the rate over a temperature that runs straight from a to b, whose rates are known. The
// exponent's change over one panel is kept under 1, where Lobatto's six points are exact to about twelve digits; under 0.05
// four points are, and under 0.005 three.
func (r *cureRates) meanRate(a, b, rateA, rateB float64) float64 {
	coldest := min(a, b) + zeroCelsius
	change := r.energy * math.Abs(b-a) / (coldest * coldest)
	mid, half := (a+b)/2, (b-a)/2
	switch {
	case change == 0:
		return rateA
	case change < 0.005:
		return (rateA + rateB + 4*r.arrhenius(mid)) / 6
	case change < 0.05:
		return (rateA + rateB + 5*(r.arrhenius(mid-half*lobatto4)+r.arrhenius(mid+half*lobatto4))) / 12
	case change < 1:
		return (rateA+rateB)/30 + (innerW6*(r.arrhenius(mid-half*inner6)+r.arrhenius(mid+half*inner6))+
			outerW6*(r.arrhenius(mid-half*outer6)+r.arrhenius(mid+half*outer6)))/2
	}
	rateMid := r.arrhenius(mid)
	return (r.meanRate(a, mid, rateA, rateMid) + r.meanRate(mid, b, rateMid, rateB)) / 2
}

// shareOver returns the share of a straight line from a to b that lies over a level.
func shareOver(a, b, level float64) float64 {
	switch {
	case a <= level && b <= level:
		return 0
	case a > level && b > level:
		return 1
	case a > level:
		return (a - level) / (a - b)
	}
	return (b - level) / (b - a)
}
