package quality

import "slices"

// What is done to a bath between two readings, in the order of the screens.
const (
	AddedChemical = "chemical" // a chemical added, its lot named
	AddedWater    = "water"    // water added or the overflow opened
	ChangedSet    = "setting"  // heater, flow or dosing set anew
	MadeUp        = "make_up"  // dumped and made up anew
)

// BathActs lists what is done to a bath.
var BathActs = []string{AddedChemical, AddedWater, ChangedSet, MadeUp}

// Characteristics and ratings of what is done to a bath.
const (
	AddedVolume  = "added_volume"
	AddedMass    = "added_mass"
	RatingAct    = "bath_act"
	RatingReason = "reason"
	// RatingProposed is the amount that the book proposed, in words.
	RatingProposed = "proposed"
)

// JudgeBathAddition asks that what was done to a bath is on record in full: what, why, and for everything but a change of a
// setting the amount.
func JudgeBathAddition(check *Check) Judgement {
	j := Judgement{Rule: "what was done, how much and why"}
	act, ok := check.anyRating(RatingAct)
	if !ok || !slices.Contains(BathActs, act) {
		j.missing("what was done", "", "", "What was done to the bath is not recorded.")
	}
	if _, given := check.anyRating(RatingReason); !given {
		j.missing("reason", "", "", "Why it was done is not recorded.")
	}
	_, litres := check.reading(AddedVolume, "")
	_, kilograms := check.reading(AddedMass, "")
	if act != ChangedSet && !litres && !kilograms {
		j.missing("amount", "", "", "The amount is not recorded.")
	}
	if len(j.Findings) == 0 {
		j.met("addition", "", "", "What was done, how much and why are on record.")
	}
	return j.conclude()
}

// TopUpOf proposes what brings a bath of volumeL litres from the value found back to the control's nominal, or to the middle
// of its limits: litres of concentrate for a percentage by volume, kg for caustic (as dense as water) and for g/L. ok is
// false where nothing is to be added or the control does not say how much.
func (c BathControl) TopUpOf(volumeL, found float64) (amount float64, unit Unit, ok bool) {
	target := c.Nominal
	if target == nil && c.Limits.Low != nil && c.Limits.High != nil {
		middle := (c.Limits.Low.Value + c.Limits.High.Value) / 2
		target = &middle
	}
	if target == nil {
		return 0, "", false
	}
	switch {
	case c.Characteristic == bathConcentration:
		added, err := TopUp(volumeL, *target, found)
		unit = Litre
		if c.Method == TitrateTwice {
			unit = Kilogram
		}
		return tidy(added), unit, err == nil && added > 0
	case c.Characteristic == bathConcentrationGL && volumeL > 0 && found >= 0:
		added := volumeL * (*target - found) / 1000
		return tidy(added), Kilogram, added > 0
	}
	return 0, "", false
}
