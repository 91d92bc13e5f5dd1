package calc

import (
	"coatbook/quality"
	"coatbook/quality/colour"
)

var colourCommand = command{
	name: "colour", summary: "colour difference of two colours in CIELAB",
	usage: "L1 a1 b1 L2 a2 b2 [--json]", arguments: 6, run: colourDifference,
	flags: []flagDef{jsonFlag},
	notes: []string{
		"The first three figures are the standard, the others the sample. cmc is CMC(2:1), with which samples are accepted; cmc_1_1 is",
		"CMC(1:1). Both take all weighting from the standard, so the order matters. ciede2000 has kL = kC = kH = 1.",
	},
	example: "50 2.6772 -79.7751 50 0 -82.7485",
}

func colourDifference(c *call) (*result, error) {
	if len(c.args) != 6 {
		return nil, refuse("give six figures, L1 a1 b1 L2 a2 b2; there are %d", len(c.args))
	}
	var v [6]float64
	for i, text := range c.args {
		var why string
		if v[i], why = parseNumber(text); why != "" {
			return nil, refuse("%s: %s", []string{"L1", "a1", "b1", "L2", "a2", "b2"}[i], why)
		}
	}
	standard, sample := colour.Lab{L: v[0], A: v[1], B: v[2]}, colour.Lab{L: v[3], A: v[4], B: v[5]}
	var values object
	for _, f := range []struct {
		key     string
		formula func() (float64, error)
	}{
		{"cie76", func() (float64, error) { return colour.CIE76(standard, sample) }},
		{"cmc", func() (float64, error) { return colour.CMC(standard, sample, 2, 1) }},
		{"cmc_1_1", func() (float64, error) { return colour.CMC(standard, sample, 1, 1) }},
		{"ciede2000", func() (float64, error) { return colour.CIEDE2000(standard, sample) }},
	} {
		d, err := f.formula()
		if err != nil {
			return nil, err
		}
		values = append(values, field{f.key, d})
	}
	d, err := colour.Compare(standard, sample)
	if err != nil {
		return nil, err
	}
	return &result{values: append(values, object{{"delta_l", d.DL}, {"delta_a", d.DA}, {"delta_b", d.DB}, {"delta_c", d.DC}, {"delta_h", d.DH}}...)}, nil
}

var dewPointCommand = command{
	name: "dew-point", summary: "dew point of air, and how far a surface is above it",
	usage: "--air-c T --humidity RH [--surface-c T] [--json]", run: dewPoint,
	flags: []flagDef{
		{"air-c", "T", "temperature of the air in °C, −45 to 60"}, {"humidity", "RH", "relative humidity in percent, over 0 and up to 100"},
		{"surface-c", "T", "temperature of the surface in °C"}, jsonFlag,
	},
	notes: []string{
		"Over water, constants 17.62 and 243.12 °C (WMO No. 8). Coating is usual from a margin of 3 K on.",
	},
	example: "--air-c 20 --humidity 60 --surface-c 16",
}

func dewPoint(c *call) (*result, error) {
	if err := c.need("air-c", "humidity"); err != nil {
		return nil, err
	}
	air, err := c.number("air-c")
	if err != nil {
		return nil, err
	}
	humidity, err := c.number("humidity")
	if err != nil {
		return nil, err
	}
	surface, err := c.number("surface-c")
	if err != nil {
		return nil, err
	}
	if surface == nil {
		dew, err := quality.DewPoint(*air, *humidity)
		if err != nil {
			return nil, err
		}
		return &result{values: object{{"dew_point_c", dew}, {"margin_c", nil}}, notes: []string{"Without --surface-c there is no margin."}}, nil
	}
	dew, margin, err := quality.DewPointMargin(*air, *humidity, *surface)
	if err != nil {
		return nil, err
	}
	return &result{values: object{{"dew_point_c", dew}, {"margin_c", margin}}}, nil
}
