package quality

import (
	"fmt"
	"strconv"
)

// A RubRating is one step of the four-step scale of the solvent rub.
type RubRating struct {
	Code string
	Text string
}

// RubRatings is the four-step scale, worst first. Which steps pass is the spec's (PassFrom); 3 and 4 usually do.
//
// Source: Qualicoat 2.14, steps seen in a restatement (finishing.com, 458/77), in our own words.
var RubRatings = []RubRating{
	{"1", "very dull and soft"},
	{"2", "very dull, a nail scratches it"},
	{"3", "slight loss of gloss, less than 5 units"},
	{"4", "no visible change, a nail leaves no mark"},
}

// SwabColours are the words for the colour on the cloth after the rub. It is recorded beside the rating and decides
// nothing: some fully cured polyesters mark the cloth.
var SwabColours = []string{"none", "slight", "strong"}

// JudgeCureTest judges a solvent rub by the rating of the rubbed place: it passes from the spec's PassFrom on. The test is
// incomplete when it has no rating, when fewer double rubs were made than the spec asks without the coat having given way,
// when the wait before judging was too short, or when the spec names a fully cured reference and no control panel is recorded.
//
// Readings: rubs, rub_wait. Ratings: RatingRub, RatingSwab, RatingControl.
func JudgeCureTest(spec CureTestSpec, check *Check) Judgement {
	j := Judgement{Rule: fmt.Sprintf("%d double rubs with %s, rating %d or better", spec.Rubs, spec.Solvent, spec.PassFrom)}
	failed := judgeRub(&j, spec, check)
	// A coat that gave way early has failed; rubbing on would show no more.
	if !failed {
		j.condition(check, condition{code: "rubs", rule: "count of double rubs", what: "count of", limits: AtLeast(float64(spec.Rubs), DoubleRubs), again: "Make the test again."})
	}
	if spec.WaitS > 0 {
		j.condition(check, condition{code: "rub_wait", rule: "wait before judging", what: "wait before judging", limits: AtLeast(float64(spec.WaitS), Second), again: "Make the test again."})
	}
	if code, ok := check.anyRating(RatingSwab); ok && code != "none" && code != "slight" && code != "strong" {
		j.missing("colour on the cloth", "", "", "Colour on the cloth: “%s” is not none, slight or strong.", clip(code))
	}
	if spec.Reference != "" {
		if panel, ok := check.anyRating(RatingControl); ok {
			j.met("control panel", "", spec.Reference, "Compared with control panel %s.", clip(panel))
		} else {
			j.missing("control panel", "", spec.Reference, "The control panel is missing; the rub is judged against %s.", spec.Reference)
		}
	}
	return j
}

func judgeRub(j *Judgement, spec CureTestSpec, check *Check) (failed bool) {
	limit := fmt.Sprintf("rating %d or better", spec.PassFrom)
	code, ok := check.anyRating(RatingRub)
	if !ok {
		j.missing("solvent rub", "", limit, "The rating of the solvent rub is missing.")
		return false
	}
	rating, err := strconv.Atoi(code)
	if err != nil || rating < 1 || rating > len(RubRatings) || strconv.Itoa(rating) != code {
		j.missing("solvent rub", "", limit, "“%s” is not a rating of the solvent rub; they are 1 to 4.", clip(code))
		return false
	}
	text := RubRatings[rating-1].Text
	if rating < spec.PassFrom {
		j.failed("solvent rub", "", limit, underCure, "Solvent rub: rating %d, %s; %d or better passes.", rating, text, spec.PassFrom)
		return true
	}
	j.met("solvent rub", "", limit, "Solvent rub: rating %d, %s; %d or better passes.", rating, text, spec.PassFrom)
	return false
}
