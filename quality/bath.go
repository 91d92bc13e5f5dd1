package quality

import "fmt"

// Equivalent weights in g/mol, as the trade rounds them.
const (
	causticWeight     = 40 // NaOH
	sodaWeight        = 53 // Na2CO3, half a mole
	bicarbonateWeight = 84 // NaHCO3
)

// amount reports whether a figure of the bench is a finite number of 0 or more.
func amount(v float64) bool { return v >= 0 && v <= 1e9 }

// TitrationPercent returns the concentration of a bath in percent from the titrant used:
//
//	% = mL · factor
//
// The factor comes from the chemical's maker and holds for one sample size and one normality. It returns ErrOutOfScale for
// figures under 0 or not finite, and for a concentration over 100 %.
func TitrationPercent(titrantML, factor float64) (float64, error) {
	percent := titrantML * factor
	if !amount(titrantML) || !amount(factor) || percent > 100 {
		return 0, fmt.Errorf("%w: %v mL with factor %v", ErrOutOfScale, titrantML, factor)
	}
	return percent, nil
}

// TitrationGramsPerLitre returns the concentration of what was titrated in g/L:
//
//	g/L = mL · N · equivalent weight / mL of the sample
//
// N is the normality of the titrant; the equivalent weight is 40 for NaOH and 53 for Na₂CO₃. It returns ErrOutOfScale for
// figures under 0 or not finite and for a sample that is not over 0.
func TitrationGramsPerLitre(titrantML, normality, equivalentWeight, sampleML float64) (float64, error) {
	if !amount(titrantML) || !amount(normality) || !amount(equivalentWeight) || !(sampleML >= 1e-3 && sampleML <= 1e6) {
		return 0, fmt.Errorf("%w: %v mL of %v N on %v mL", ErrOutOfScale, titrantML, normality, sampleML)
	}
	return titrantML * normality * equivalentWeight / sampleML, nil
}

// Caustic is what a titration of a caustic bath to two end points shows, in g/L. Divided by 10 it is percent by weight of a
// bath as dense as water.
type Caustic struct {
	SodiumHydroxide float64
	SodiumCarbonate float64
	// Bicarbonate is over 0 only where no free caustic is left.
	Bicarbonate float64
	// Spent says that no free caustic is left (2P < M): dose now.
	Spent bool
}

// TitrateCaustic returns the contents of a caustic bath from a titration with acid to two end points: phenolML is the volume
// to the end of phenolphthalein (P), totalML the whole volume to methyl orange (M), normality that of the acid, sampleML
// the bath taken.
//
//	NaOH g/L   = (2P − M) · N · 40 / sample
//	Na₂CO₃ g/L = 2(M − P) · N · 53 / sample
//
// With 50 mL and 0.5 N these are the shop's NaOH % = (2P − M)·0.04 and Na₂CO₃ % = (M − P)·0.106. Where 2P < M the alkali is
// carbonate, 2P, and bicarbonate, M − 2P.
//
// It returns ErrOutOfScale for volumes under 0 or not finite, for M under P, and for a sample that is not over 0.
//
// Source: a seen page on the analysis of caustic and soda, arithmetic checked; the case 2P < M from memory, unverified.
func TitrateCaustic(phenolML, totalML, normality, sampleML float64) (Caustic, error) {
	if !amount(phenolML) || !amount(totalML) || totalML < phenolML || !amount(normality) || !(sampleML >= 1e-3 && sampleML <= 1e6) {
		return Caustic{}, fmt.Errorf("%w: %v mL and %v mL of %v N on %v mL", ErrOutOfScale, phenolML, totalML, normality, sampleML)
	}
	per := normality / sampleML
	if free := 2*phenolML - totalML; free >= 0 {
		return Caustic{SodiumHydroxide: free * per * causticWeight, SodiumCarbonate: 2 * (totalML - phenolML) * per * sodaWeight}, nil
	}
	return Caustic{SodiumCarbonate: 2 * phenolML * per * sodaWeight, Bicarbonate: (totalML - 2*phenolML) * per * bicarbonateWeight, Spent: true}, nil
}

// TopUp returns the litres of concentrate that bring a tank back to its target:
//
//	litres = tank · (target % − found %) / 100
//
// The volume that the concentrate itself takes up is neglected, and percent is by volume of the concentrate as delivered. A
// bath at or over its target needs 0. It returns ErrOutOfScale for a tank that is not over 0 and percentages outside 0 to 100.
func TopUp(tankLitres, targetPercent, foundPercent float64) (float64, error) {
	if !(tankLitres > 0 && tankLitres <= 1e9) || !(targetPercent >= 0 && targetPercent <= 100) || !(foundPercent >= 0 && foundPercent <= 100) {
		return 0, fmt.Errorf("%w: %v L, target %v %%, found %v %%", ErrOutOfScale, tankLitres, targetPercent, foundPercent)
	}
	return max(0, tankLitres*(targetPercent-foundPercent)/100), nil
}

// EtchLoss returns what a bath took off a test panel in g/m²:
//
//	(m₁ − m₂) / area
//
// m₁ and m₂ are the masses before and after in g, the area that of both faces in m². The weight of a conversion coat by weighing,
// stripping and weighing again is the same figure. It returns ErrOutOfScale for a panel that gained mass, an area that is not
// over 0, and anything not finite.
func EtchLoss(beforeG, afterG, areaM2 float64) (float64, error) {
	if !amount(beforeG) || !amount(afterG) || afterG > beforeG || !(areaM2 >= 1e-6 && areaM2 <= 1e3) {
		return 0, fmt.Errorf("%w: %v g before, %v g after, %v m²", ErrOutOfScale, beforeG, afterG, areaM2)
	}
	return (beforeG - afterG) / areaM2, nil
}
