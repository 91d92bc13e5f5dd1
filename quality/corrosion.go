package quality

import (
	"fmt"
	"strconv"
	"strings"
)

// grade returns the first grade whose upper end, which belongs to it, is not under the value.
func grade(value, most float64, ends []float64) (int, error) {
	if !(value >= 0 && value <= most) {
		return 0, fmt.Errorf("%w: %v is not from 0 to %v", ErrOutOfScale, value, most)
	}
	for i, end := range ends {
		if value <= end {
			return i, nil
		}
	}
	return len(ends), nil
}

// RustGradeD610 returns the rust grade of ASTM D610 for the percentage of the surface that is rusted: 10 up to 0.01 %, 9 up to
// 0.03, 8 up to 0.1, 7 up to 0.3, 6 up to 1, 5 up to 3, 4 up to 10, 3 up to 16, 2 up to 33, 1 up to 50, 0 over that. The upper
// end belongs to the better grade. It was written for steel; on aluminium only the scale of percentages is of use.
//
// It returns ErrOutOfScale for anything outside 0 to 100.
//
// Source: ASTM D610-08, seen in a copy.
func RustGradeD610(percent float64) (int, error) {
	i, err := grade(percent, 100, []float64{0.01, 0.03, 0.1, 0.3, 1, 3, 10, 16, 33, 50})
	if err != nil {
		return 0, err
	}
	return 10 - i, nil
}

// RustGradeISO4628 returns the degree of rusting Ri 0 to 5 of ISO 4628-3 for the percentage of the surface that is rusted: 0
// for none, 1 up to 0.05 %, 2 up to 0.5, 3 up to 1, 4 up to 8, 5 over that. The standard rates by pictures of about these
// areas; the upper ends are read as belonging to the better degree.
//
// It returns ErrOutOfScale for anything outside 0 to 100.
//
// Source: ISO 4628-3 (from memory, unverified).
func RustGradeISO4628(percent float64) (int, error) {
	return grade(percent, 100, []float64{0, 0.05, 0.5, 1, 8})
}

// CreepRatingD1654 returns the rating of ASTM D1654 for the mean creep from a scribe in mm, on one side: 10 for none, 9 up to
// 0.5 mm, 8 up to 1, 7 up to 2, 6 up to 3, 5 up to 5, 4 up to 7, 3 up to 10, 2 up to 13, 1 up to 16, 0 over that.
//
// It returns ErrOutOfScale for anything outside 0 to 1000 mm.
//
// Source: ASTM D1654 (from memory, unverified).
func CreepRatingD1654(meanMM float64) (int, error) {
	i, err := grade(meanMM, 1000, []float64{0, 0.5, 1, 2, 3, 5, 7, 10, 13, 16})
	if err != nil {
		return 0, err
	}
	return 10 - i, nil
}

// NetMeanCreep returns the net mean creep from a scribe in mm on one side:
//
//	(A − A₀)/(2L)
//
// A is the area of creep with the scribe in mm², A₀ the area of the fresh scribe in mm², L the length of the scribe in mm. It
// returns ErrOutOfScale for an area that is smaller than the scribe's, for a length that is not over 0, and for anything
// that is not a finite number.
//
// Source: ASTM D7087, seen in a test house's summary.
func NetMeanCreep(areaMM2, scribeMM2, lengthMM float64) (float64, error) {
	if !(scribeMM2 >= 0 && areaMM2 >= scribeMM2 && areaMM2 <= 1e9 && lengthMM >= 1e-3 && lengthMM <= 1e6) {
		return 0, fmt.Errorf("%w: %v mm² of creep, %v mm² of scribe, %v mm long", ErrOutOfScale, areaMM2, scribeMM2, lengthMM)
	}
	return (areaMM2 - scribeMM2) / (2 * lengthMM), nil
}

// RatingISO4628 reads a rating of ISO 4628: 0 (no defect) to 5, in half steps where the spec agrees on them. It returns
// ErrOutOfScale for anything else.
//
// Source: ISO 4628-1, seen in a preview.
func RatingISO4628(text string, halves bool) (float64, error) {
	v, ok := parseDecimal(strings.TrimSpace(text))
	twice := 2 * v
	if !ok || v < 0 || v > 5 || twice != float64(int(twice)) || !halves && v != float64(int(v)) {
		return 0, fmt.Errorf("%w: “%s” is not a rating from 0 to 5", ErrOutOfScale, clip(text))
	}
	return v, nil
}

// Blisters is a rating of blistering by ISO 4628-2: quantity 0 to 5, and size 0 to 5 where there are any.
type Blisters struct{ Quantity, Size int }

// String prints the rating as ISO 4628-2 writes it, such as 2(S2), or 0 for none.
func (b Blisters) String() string {
	if b.Quantity == 0 {
		return "0"
	}
	return fmt.Sprintf("%d(S%d)", b.Quantity, b.Size)
}

// Within reports whether blistering is no worse than a limit in quantity and in size. More blisters are not made good by
// smaller ones, nor larger ones by fewer.
func (b Blisters) Within(limit Blisters) bool {
	return b.Quantity == 0 || b.Quantity <= limit.Quantity && b.Size <= limit.Size
}

// ParseBlisters reads a rating such as 2(S2), or 0 for none. It returns ErrOutOfScale for anything else.
//
// Source: ISO 4628-2, seen in a preview.
func ParseBlisters(text string) (Blisters, error) {
	s := strings.ToUpper(strings.Join(strings.Fields(text), ""))
	if s == "0" || s == "0(S0)" {
		return Blisters{}, nil
	}
	if len(s) == 5 && s[1:3] == "(S" && s[4] == ')' {
		b := Blisters{int(s[0]) - '0', int(s[3]) - '0'}
		if b.Quantity >= 1 && b.Quantity <= 5 && b.Size >= 1 && b.Size <= 5 {
			return b, nil
		}
	}
	return Blisters{}, fmt.Errorf("%w: “%s” is not a rating such as 2(S2)", ErrOutOfScale, clip(text))
}

// blisterFrequencies are the frequencies of ASTM D714, fewest first.
var blisterFrequencies = []string{"", "F", "M", "MD", "D"}

// BlistersD714 is a rating of blistering by ASTM D714: size 10 (none), 8 (smallest seen by eye), 6, 4, 2 (largest), and
// frequency F few, M medium, MD medium dense, D dense. It is a pair; neither half means anything alone.
type BlistersD714 struct {
	Size      int
	Frequency string
}

// Within reports whether blistering is no worse than a limit in size and in frequency.
func (b BlistersD714) Within(limit BlistersD714) bool {
	if b.Size == 10 {
		return true
	}
	return b.Size >= limit.Size && frequency(b.Frequency) <= frequency(limit.Frequency)
}

func frequency(code string) int {
	for i, f := range blisterFrequencies {
		if f == code {
			return i
		}
	}
	return len(blisterFrequencies)
}

// ParseBlistersD714 reads a rating such as "8 F", or 10 for none. It returns ErrOutOfScale for anything else.
//
// Source: ASTM D714 (from memory, unverified).
func ParseBlistersD714(text string) (BlistersD714, error) {
	parts := strings.Fields(strings.ToUpper(text))
	if len(parts) == 1 && parts[0] == "10" {
		return BlistersD714{Size: 10}, nil
	}
	if len(parts) == 2 {
		size, err := strconv.Atoi(parts[0])
		if f := frequency(parts[1]); err == nil && size >= 2 && size <= 8 && size%2 == 0 && f > 0 && f < len(blisterFrequencies) {
			return BlistersD714{size, parts[1]}, nil
		}
	}
	return BlistersD714{}, fmt.Errorf("%w: “%s” is not a rating such as 8 F", ErrOutOfScale, clip(text))
}
