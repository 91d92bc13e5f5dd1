package quality

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A comparison is one value set against limits: what the sentence calls it, and what a miss on either side is called.
type comparison struct {
	rule      string // the finding's Rule, such as "spot mean"
	place     string // the finding's Place, such as "Spot 3"
	what      string // how the sentence names the value, such as "mean"
	value     float64
	text      string // the digits as recorded; empty for a computed value
	unit      Unit
	limits    Limits
	note      string  // said behind the limit, such as ", 80 % of the minimum"
	guard     float64 // in the unit of the limits
	low, high string  // faults
}

// compare adds the finding for one comparison and returns its flag. A value that cannot be compared makes the check
// incomplete.
func (j *Judgement) compare(c comparison) Flag {
	flag, err := c.limits.guarded(c.value, c.unit, c.guard)
	f := Finding{Rule: c.rule, Place: c.place, Limit: c.limits.String() + c.note, Value: &c.value, Unit: c.unit, Verdict: Pass}
	subject := c.subject()
	switch {
	case err != nil:
		f.Value, f.Verdict = nil, Incomplete
		f.Text = fmt.Sprintf("%s in %s cannot be compared with the limit, %s.", subject, c.unit.Symbol(), c.limits)
	case flag == Low:
		value, limit := c.against(c.limits.Low)
		f.Verdict, f.Fault = Fail, c.low
		f.Text = fmt.Sprintf("%s %s is under %s%s.", subject, value, limit, c.note)
	case flag == High:
		value, limit := c.against(c.limits.High)
		f.Verdict, f.Fault = Fail, c.high
		f.Text = fmt.Sprintf("%s %s is over %s%s.", subject, value, limit, c.note)
	case flag == Guard:
		f.Verdict = GuardBand
		f.Text = fmt.Sprintf("%s %s is within the limit (%s%s) but inside the guard band of %s %s.",
			subject, c.shown(), c.limits, c.note, Number(c.guard, 3), c.guardUnit().Symbol())
	default:
		f.Text = fmt.Sprintf("%s %s meets %s%s.", subject, c.shown(), c.limits, c.note)
	}
	j.add(f)
	return flag
}

// A condition is how an examination has to be made: the light, the distance, the number of rubs.
type condition struct {
	code   string // the characteristic
	rule   string
	what   string
	limits Limits
	again  string // what to do when the condition was not kept
}

// condition compares every reading of a characteristic and asks for one. A condition that was not kept fails no part: the
// examination cannot tell, so it is incomplete and is made again.
func (j *Judgement) condition(check *Check, c condition) {
	found := false
	for i := range check.Readings {
		r := &check.Readings[i]
		if r.Characteristic != c.code || !r.measured() {
			continue
		}
		found = true
		var one Judgement
		r.Flag = one.compare(comparison{rule: c.rule, what: c.what, value: r.Value, text: r.digitsOf(), unit: r.Unit, limits: c.limits})
		f := one.Findings[0]
		if f.Verdict == Fail {
			f.Verdict = Incomplete
			f.Text += " " + c.again
		}
		j.add(f)
	}
	if !found {
		j.missing(c.rule, "", c.limits.String(), "%s is missing; the spec says %s.", upperFirst(c.rule), c.limits)
	}
}

// missing adds the finding for something that must be there and is not.
func (j *Judgement) missing(rule, place, limit, format string, args ...any) {
	j.add(Finding{Rule: rule, Place: place, Limit: limit, Verdict: Incomplete, Text: fmt.Sprintf(format, args...)})
}

// met adds a finding that is not about a number and is as it should be.
func (j *Judgement) met(rule, place, limit, format string, args ...any) {
	j.add(Finding{Rule: rule, Place: place, Limit: limit, Verdict: Pass, Text: fmt.Sprintf(format, args...)})
}

// failed adds a finding that is not about a number and fails the check.
func (j *Judgement) failed(rule, place, limit, fault, format string, args ...any) {
	j.add(Finding{Rule: rule, Place: place, Limit: limit, Verdict: Fail, Fault: fault, Text: fmt.Sprintf(format, args...)})
}

// subject names the value at the start of a sentence: "Spot 3: mean" or "Mean of 5 spots".
func (c comparison) subject() string {
	if c.place == "" {
		return upperFirst(c.what)
	}
	return upperFirst(c.place) + ": " + c.what
}

func (c comparison) guardUnit() Unit {
	if c.limits.Low != nil {
		return c.limits.Low.Unit
	}
	return c.limits.High.Unit
}

// shown prints the value with its unit, never rounded onto or across one of its limits.
func (c comparison) shown() string {
	for _, bound := range []*Limit{c.limits.Low, c.limits.High} {
		if bound == nil {
			continue
		}
		if limit, err := bound.In(c.unit); err == nil && math.Abs(c.value-limit) < 0.1 {
			value, _ := c.against(bound)
			return value
		}
	}
	return withUnit(c.digits(decimalsFor(c.unit)), c.unit)
}

// against prints the value and the bound, both in the value's unit, with as many decimals as it takes for the printed
// pair to stand in the order in which the exact pair stands: 59.96 beside 60 must not read 60.
func (c comparison) against(bound *Limit) (value, limit string) {
	exact, err := bound.In(c.unit)
	if err != nil {
		return withUnit(c.digits(decimalsFor(c.unit)), c.unit), bound.String()
	}
	for d := decimalsFor(c.unit); ; d++ {
		value, limit = c.digits(d), Number(exact, max(d, 3))
		if d >= 15 || sameOrder(value, limit, c.value, exact) {
			return withUnit(value, c.unit), withUnit(limit, c.unit)
		}
	}
}

// digits returns the value as recorded, or a computed value with at most d decimals.
func (c comparison) digits(d int) string {
	if c.text != "" {
		return c.text
	}
	return Number(c.value, d)
}

func sameOrder(a, b string, x, y float64) bool {
	p, errA := strconv.ParseFloat(a, 64)
	q, errB := strconv.ParseFloat(b, 64)
	return errA == nil && errB == nil && below(p, q) == below(x, y) && below(q, p) == below(y, x)
}

// guarded compares like Judge and returns Guard for a value that is within the limits but by less than guard, which is in
// the unit of the limits. A value exactly guard away from the limit is clear of it.
//
// Source: ISO 14253-1 and ISO/IEC 17025:2017 7.8.6 (the decision rule is stated; from memory, unverified).
func (l Limits) guarded(value float64, unit Unit, guard float64) (Flag, error) {
	flag, err := l.Judge(value, unit)
	if err != nil || flag != In || guard <= 0 {
		return flag, err
	}
	tight := Limits{}
	if l.Low != nil {
		if tight.Low, err = l.Low.moved(guard, unit); err != nil {
			return Unflagged, err
		}
	}
	if l.High != nil {
		if tight.High, err = l.High.moved(-guard, unit); err != nil {
			return Unflagged, err
		}
	}
	if flag, err = tight.Judge(value, unit); err == nil && flag != In {
		flag = Guard
	}
	return flag, err
}

// moved returns the bound for readings in unit, moved by a distance given in the bound's own unit.
func (l Limit) moved(by float64, unit Unit) (*Limit, error) {
	at, err := l.In(unit)
	if err != nil {
		return nil, err
	}
	step, err := convertDifference(by, l.Unit, unit)
	if err != nil {
		return nil, err
	}
	return &Limit{Value: at + step, Unit: unit}, nil
}

// convertDifference converts a difference of two values, which for temperatures leaves the offset of the scale out.
func convertDifference(by float64, from, to Unit) (float64, error) {
	zero, err := Convert(0, from, to)
	if err != nil {
		return 0, err
	}
	there, err := Convert(by, from, to)
	return there - zero, err
}

// scaled returns the bound times a factor, in its own unit and in its paired unit, rounded to what the paired figures of
// specs carry so that 0.8 times 60 prints as 48.
func (l Limit) scaled(factor float64) *Limit {
	out := Limit{Value: tidy(l.Value * factor), Unit: l.Unit}
	if l.Paired != nil {
		out.Paired = &PairedLimit{Value: tidy(l.Paired.Value * factor), Unit: l.Paired.Unit}
	}
	return &out
}

// tidy removes the noise of binary arithmetic behind the twelfth significant digit.
func tidy(v float64) float64 {
	out, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return v
	}
	return out
}

// digitsOf returns the digits a reading was recorded with, or its value when the text is something else.
func (r Reading) digitsOf() string {
	if v, ok := parseDecimal(r.Text); ok && v == r.Value {
		return strings.ReplaceAll(r.Text, ",", ".")
	}
	return strconv.FormatFloat(r.Value, 'f', -1, 64)
}

// measured reports whether the reading holds a number.
func (r Reading) measured() bool {
	return r.Absence == Present && !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
}

// why returns the reason why there is no number, for a sentence.
func (r Reading) why() string {
	switch r.Absence {
	case NotMeasured:
		return "was not measured"
	case NotApplicable:
		return "does not apply"
	case BelowRange:
		return "is below the gauge's range"
	case AboveRange:
		return "is above the gauge's range"
	case Pending:
		return "is still to come"
	}
	return "is not a number"
}

// decimalsFor is how many decimals a computed value of a unit is shown with.
func decimalsFor(u Unit) int {
	if u == Mil {
		return 2
	}
	return 1
}

// withUnit joins digits and unit as people print them.
func withUnit(digits string, u Unit) string { return strings.TrimSpace(digits + " " + u.Symbol()) }

func upperFirst(s string) string {
	if s == "" || strings.HasPrefix(s, "pH") {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// counted prints a number with its noun in the right form, such as "1 reading" or "3 readings".
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// conclude closes a judgement: a check that compared nothing proves nothing.
func (j Judgement) conclude() Judgement {
	if len(j.Findings) == 0 {
		j.missing("limits", "", "", "Nothing was compared with a limit, so this record proves nothing.")
	}
	return j
}
