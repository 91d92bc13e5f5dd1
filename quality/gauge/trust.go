package gauge

// Trust says what a study allows to be said with figures from a gauge.
type Trust string

// The grades of trust.
const (
	Free     Trust = "free"     // figures stand as they are
	Marked   Trust = "marked"   // figures stand with a remark
	Withheld Trust = "withheld" // figures would say more about the gauge than about the parts
)

// TrustIn grades a gauge by the spread of gauge and people in percent of the tolerance (or of the study variation where
// there is no tolerance), and by how many groups of parts it can tell apart, nil where that is not known: under 10 % free,
// 10 to 30 % marked, over 30 % withheld; fewer than 5 groups is marked at least.
//
// Source: criteria of the AIAG Measurement Systems Analysis manual as tabled in a published training page (seen); the
// manual itself was not seen.
func TrustIn(grrPercent float64, distinctCategories *int) Trust {
	switch {
	case grrPercent > 30:
		return Withheld
	case grrPercent >= 10 || distinctCategories != nil && *distinctCategories < 5:
		return Marked
	}
	return Free
}
