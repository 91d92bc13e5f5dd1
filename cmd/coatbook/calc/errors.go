package calc

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"coatbook/quality"
	"coatbook/quality/colour"
	"coatbook/quality/gauge"
	"coatbook/quality/process"
	"coatbook/quality/sampling"
	"coatbook/quality/variance"
)

// A refusal is a sentence for the person at the keyboard.
type refusal struct{ sentence string }

func (r refusal) Error() string { return r.sentence }

func refuse(format string, args ...any) error { return refusal{fmt.Sprintf(format, args...)} }

// sentences say in words what the errors of package quality mean to someone who has only the file.
var sentences = []struct {
	err   error
	words string
}{
	{process.ErrTooFewReadings, "there are too few values for this calculation"},
	{process.ErrTooFewSubgroups, "there are too few subgroups for this calculation"},
	{process.ErrNoSpread, "the values do not vary, so nothing can be measured by their spread"},
	{process.ErrNoLimits, "give --lower, --upper or both"},
	{process.ErrBadLimits, "the limits contradict each other, or leave nothing to compare with"},
	{process.ErrNotFinite, "a value is too large to be squared; use another unit"},
	{process.ErrBadConfidence, "--confidence must lie between 0 and 1, such as 0.95"},
	{process.ErrBadCoverage, "--coverage must lie between 0 and 1, such as 0.9"},
	{process.ErrBadCount, "the counts contradict each other"},
	{process.ErrSubgroupSize, "a subgroup needs at least 2 values, and at most 1000000"},
	{process.ErrBadWeight, "a parameter of the chart is outside its range: lambda over 0 and up to 1; width and h over 0; k 0 or more"},
	{process.ErrTooManyReadings, "there are more values than this calculation was made for"},
	{process.ErrNotPositive, "this distribution needs values above 0"},
	{process.ErrUnknownRule, "give --rules nelson, zone, or names such as n1,n2,we3"},
	{process.ErrUnknownMethod, "this method does not exist"},
	{variance.ErrOneLevel, "the outermost column of --by holds one level only, so nothing can be said about variation between its levels"},
	{variance.ErrConfounded, "two columns of --by cannot be told apart, because each level of one holds one level of the next; leave one out"},
	{variance.ErrNotConverged, "the likelihood has no clear maximum for these values; use --method moments"},
	{gauge.ErrUnbalanced, "every appraiser must measure every part equally often"},
	{gauge.ErrTooFewParts, "a study needs at least two parts"},
	{gauge.ErrOneTrial, "each part must be measured at least twice by the same appraiser"},
	{gauge.ErrBadTolerance, "--tolerance must be above 0"},
	{gauge.ErrBadOption, "--pool-above must lie between 0 and 1"},
	{sampling.ErrLotSize, "the table begins with a lot of 2"},
	{sampling.ErrLevel, "give --level S-1, S-2, S-3, S-4, I, II or III"},
	{sampling.ErrCodeLetter, "a code letter is A to R without I and O"},
	{sampling.ErrAQL, "the AQL is not a column of the table, which are 0.010, 0.015, 0.025, 0.040, 0.065, 0.10 and so on to 1000"},
	{sampling.ErrSeverity, "give --severity normal, tightened or reduced"},
	{sampling.ErrPlan, "sample size, lot and acceptance number contradict each other"},
	{sampling.ErrFraction, "--at must lie between 0 and 1, such as 0.02"},
	{sampling.ErrOutcome, "--switching takes the letters a (accepted), r (rejected) and g (between) only"},
	{colour.ErrNotColour, "a colour is L* a* b*, each from −1000 to 1000"},
	{colour.ErrWeight, "the weights of CMC must be over 0"},
	{quality.ErrNotNumber, "the air must have −45 to 60 °C, its humidity be over 0 and up to 100 %, and the surface have −45 to 300 °C"},
	{quality.ErrTimeOrder, "each time must be after the one before"},
	{quality.ErrTooFewRows, "a profile needs at least two rows"},
}

// plain says an error in one sentence. Where the words of package quality name the value at fault, they follow in brackets.
func plain(err error) string {
	var r refusal
	if errors.As(err, &r) {
		return r.sentence
	}
	for _, s := range sentences {
		if errors.Is(err, s.err) {
			detail := strings.TrimSuffix(strings.TrimSuffix(err.Error(), s.err.Error()), ": ")
			if detail == "" || detail == err.Error() {
				return s.words
			}
			return s.words + " (" + strings.TrimPrefix(detail, "quality: ") + ")"
		}
	}
	return strings.TrimPrefix(err.Error(), "quality: ")
}

// in puts where the values came from in front of an error of package quality.
func (t *table) in(err error, columns ...string) error {
	return refuse("%s: %s", t.where(columns...), plain(err))
}

// bare is the cause of a file error without the path, which the sentence names already.
func bare(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// clip keeps what was typed short enough for a sentence.
func clip(text string) string {
	runes := []rune(strings.ToValidUTF8(text, "�"))
	for i, r := range runes {
		if r < ' ' || r == 0x7f {
			runes[i] = '·'
		}
	}
	if len(runes) > 40 {
		return string(runes[:40]) + "…"
	}
	return string(runes)
}
