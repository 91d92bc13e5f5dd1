package calc

import (
	"errors"
	"fmt"

	"coatbook/quality/process"
	"coatbook/quality/variance"
)

var describeCommand = command{
	name: "describe", summary: "number, mean, spread, shape and autocorrelation of a column",
	usage: "--value COL [--json] [FILE|-]", readsFile: true, run: describe,
	flags: []flagDef{valueFlag, jsonFlag},
	notes: []string{
		"sd has divisor n-1. Skewness and excess kurtosis are the adjusted coefficients G1 and G2. The autocorrelation is that of",
		"neighbouring rows about the overall mean. Rows are read one by one; a file of any length takes the same memory.",
	},
	input: "film\n81.5\n79.2\n84.0\n80.3\n82.6\n", example: "--value film",
}

// describe reads the column in one pass and keeps nothing of it.
func describe(c *call) (*result, error) {
	var all process.Accumulator
	var low, high float64
	var origin *variance.Origin
	t, err := c.eachValue(func(v float64) error {
		if origin == nil {
			low, high, origin = v, v, variance.NewOrigin(v)
		}
		low, high = min(low, v), max(high, v)
		// Counted from the first value as the decimals that were typed: leading digits that never change, such as those of
		// 10000000.2 and 10000000.3, then cost nothing of the spread.
		return all.Add(origin.Less(v))
	})
	if err != nil {
		return nil, err
	}
	d, err := all.Describe()
	if err != nil {
		return nil, t.in(err, c.text("value"))
	}
	if d.SD == nil {
		return nil, refuse("%s: one value alone has no spread", t.where(c.text("value")))
	}
	r := &result{values: object{
		{"n", d.N}, {"mean", origin.Plus(d.Mean)}, {"sd", d.SD}, {"min", low}, {"max", high},
		{"lag1_autocorrelation", d.Lag1}, {"skewness", d.Skewness}, {"excess_kurtosis", d.ExcessKurtosis},
	}}
	equal := low == high
	if d.Lag1 == nil {
		r.notes = append(r.notes, undefined("The lag-1 autocorrelation", equal, "too few values"))
	}
	if d.Skewness == nil {
		r.notes = append(r.notes, undefined("The skewness", equal, "it needs three values"))
	}
	if d.ExcessKurtosis == nil {
		r.notes = append(r.notes, undefined("The excess kurtosis", equal, "it needs four values"))
	}
	return r, nil
}

func undefined(figure string, equal bool, otherwise string) string {
	if equal {
		otherwise = "all values are equal"
	}
	return fmt.Sprintf("%s is not defined: %s.", figure, otherwise)
}

// eachValue calls visit with every number of the --value column.
func (c *call) eachValue(visit func(float64) error) (*table, error) {
	if err := c.need("value"); err != nil {
		return nil, err
	}
	t, err := c.open()
	if err != nil {
		return nil, err
	}
	column, err := t.column(c.text("value"))
	if err != nil {
		return nil, err
	}
	return t, t.each(func() error {
		v, err := t.number(column)
		if err != nil {
			return err
		}
		return visit(v)
	})
}

// values reads the --value column and holds it.
func (c *call) values() (t *table, values []float64, err error) {
	t, err = c.eachValue(func(v float64) error {
		values = append(values, v)
		if len(values) > mostHeld {
			return errTooLong
		}
		return nil
	})
	if errors.Is(err, errTooLong) {
		return nil, nil, refuse("the column “%s” has more than %d values, and this calculation holds them in memory; it takes no more", clip(c.text("value")), mostHeld)
	}
	return t, values, err
}

var errTooLong = errors.New("too many rows to hold")

var normalityCommand = command{
	name: "normality", summary: "whether a column looks normal: Anderson-Darling and Shapiro-Wilk",
	usage: "--value COL [--json] [FILE|-]", readsFile: true, run: normality,
	flags: []flagDef{valueFlag, jsonFlag},
	notes: []string{
		"Anderson-Darling with mean and sd estimated; adjusted is A²(1+0.75/n+2.25/n²), and p is that of D'Agostino and Stephens.",
		"Shapiro-Wilk after Royston (AS R94), 3 to 5000 values. Values rounded to few steps fail for that reason alone.",
		fmt.Sprintf("The column is held in memory, up to %d values.", mostHeld),
	},
	input: "film\n81.5\n79.2\n84.0\n80.3\n82.6\n78.8\n81.1\n83.2\n", example: "--value film",
}

func normality(c *call) (*result, error) {
	t, values, err := c.values()
	if err != nil {
		return nil, err
	}
	ad, err := process.AndersonDarling(values)
	if err != nil {
		return nil, t.in(err, c.text("value"))
	}
	r := &result{}
	if ad.Few {
		r.notes = append(r.notes, "With fewer than 8 values the p-value of Anderson-Darling is not to be trusted.")
	}
	shapiro := object(nil)
	switch sw, err := process.ShapiroWilk(values); {
	case err == nil:
		shapiro = object{{"statistic", sw.Statistic}, {"p", sw.P}}
	case errors.Is(err, process.ErrTooManyReadings):
		shapiro = object{{"statistic", nil}, {"p", nil}}
		r.notes = append(r.notes, "Shapiro-Wilk is not defined for more than 5000 values.")
	default:
		return nil, t.in(err, c.text("value"))
	}
	r.values = object{
		{"n", ad.N},
		{"anderson_darling", object{{"statistic", ad.Statistic}, {"adjusted", ad.Adjusted}, {"p", ad.P}}},
		{"shapiro_wilk", shapiro},
	}
	return r, nil
}
