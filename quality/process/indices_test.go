package process

import (
	"errors"
	"math"
	"testing"
)

func TestIndicesAgreeWithPublishedValues(t *testing.T) {
	want := map[string]error{"sd_zero": ErrNoSpread, "no_limits": ErrNoLimits, "limits_reversed": ErrBadLimits}
	for _, row := range published(t, "capability/indices.csv") {
		if row["id"] == "n_is_1" {
			_, err := CapabilityFromFigures(1, num(t, row, "mean"), 1, Options{Spec: Spec{Lower: optional(t, row, "lsl")}})
			fails(t, row["id"], err, ErrTooFewReadings)
			continue
		}
		spec := Spec{Lower: optional(t, row, "lsl"), Upper: optional(t, row, "usl"), Target: optional(t, row, "target")}
		mean, sd := num(t, row, "mean"), num(t, row, "sd")
		x, err := ComputeIndices(mean, sd, spec)
		if !errors.Is(err, want[row["id"]]) {
			t.Errorf("%s: error %v, want %v", row["id"], err, want[row["id"]])
		}
		for column, got := range map[string]*float64{"Cp": x.P, "Cpl": x.L, "Cpu": x.U, "Cpk": x.K, "Cpm": x.PM} {
			nearOrNone(t, row["id"]+" "+column, got, optional(t, row, column), 1e-8)
		}
		below, above, _ := ExpectedOutside(mean, sd, spec)
		nearOrNone(t, row["id"]+" ppm below", below, optional(t, row, "ppm_below"), 1e-8)
		nearOrNone(t, row["id"]+" ppm above", above, optional(t, row, "ppm_above"), 1e-8)
	}
}

func TestIndicesRefuseWhatIsNoNumber(t *testing.T) {
	for name, c := range map[string]struct {
		mean, sd float64
		spec     Spec
		want     error
	}{
		"mean":        {math.NaN(), 1, Spec{Lower: new(1.0)}, ErrNotFinite},
		"sd":          {1, math.Inf(1), Spec{Lower: new(1.0)}, ErrNotFinite},
		"negative sd": {1, -1, Spec{Lower: new(1.0)}, ErrNotFinite},
		"lower":       {1, 1, Spec{Lower: new(math.NaN())}, ErrBadLimits},
		"upper":       {1, 1, Spec{Upper: new(math.Inf(1))}, ErrBadLimits},
		"target":      {1, 1, Spec{Upper: new(3.0), Target: new(math.NaN())}, ErrBadLimits},
		"equal":       {1, 1, Spec{Lower: new(3.0), Upper: new(3.0)}, ErrBadLimits},
		"far limit":   {0, 1e-20, Spec{Upper: new(1e99)}, ErrNoSpread},
		"dust":        {1e6, 1e-9, Spec{Lower: new(3.0)}, ErrNoSpread},
	} {
		_, err := ComputeIndices(c.mean, c.sd, c.spec)
		fails(t, name, err, c.want)
	}
}
