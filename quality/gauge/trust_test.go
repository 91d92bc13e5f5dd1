package gauge

import "testing"

// The criteria as tabled: under 10 % acceptable, 10 to 30 % conditional, over 30 % not acceptable; 5 distinct categories or
// more.
func TestTrustInAGaugeByItsStudy(t *testing.T) {
	five, four := 5, 4
	for _, c := range []struct {
		grr  float64
		ndc  *int
		want Trust
	}{
		{8, &five, Free}, {22, &five, Marked}, {34, &five, Withheld}, {8, &four, Marked}, {34, &four, Withheld}, {8, nil, Free},
		{9.99, nil, Free}, {10, nil, Marked}, {30, nil, Marked}, {30.01, nil, Withheld},
	} {
		if got := TrustIn(c.grr, c.ndc); got != c.want {
			t.Errorf("%g %%, %v: %s, want %s", c.grr, c.ndc, got, c.want)
		}
	}
}
