package quality

import (
	"errors"
	"fmt"
	"slices"
)

// ErrOutOfScale is returned for a value that a scale, table or formula of the trade does not cover.
var ErrOutOfScale = errors.New("quality: the value is outside the scale")

// PencilMethods are the methods of pencil hardness.
var PencilMethods = []string{"ISO15184", "D3363"}

// PencilMethodName returns a method of pencil hardness in words.
func PencilMethodName(method string) string {
	switch method {
	case "ISO15184":
		return "ISO 15184"
	case "D3363":
		return "ASTM D3363"
	}
	return clip(method)
}

// pencils are the grades of ISO 15184, soft to hard.
//
// Source: ISO 15184, seen in a test house's page; ASTM D3363 uses 6B to 6H (from memory, unverified).
var pencils = []string{"9B", "8B", "7B", "6B", "5B", "4B", "3B", "2B", "B", "HB", "F", "H", "2H", "3H", "4H", "5H", "6H", "7H", "8H", "9H"}

// PencilGrades returns the pencils of a method, soft to hard, or nil for an unknown method: 9B to 9H by ISO 15184, 6B to 6H
// by ASTM D3363. F lies between HB and H.
func PencilGrades(method string) []string {
	switch method {
	case "ISO15184":
		return slices.Clone(pencils)
	case "D3363":
		return slices.Clone(pencils[3:17])
	}
	return nil
}

// PencilMeets reports whether a pencil hardness is at least as hard as what is asked. It returns ErrOutOfScale when either is
// no grade of the method. Gouge and scratch hardness of ASTM D3363 are separate results: compare like with like.
func PencilMeets(method, got, want string) (bool, error) {
	grades := PencilGrades(method)
	a, b := slices.Index(grades, got), slices.Index(grades, want)
	if a < 0 || b < 0 {
		return false, fmt.Errorf("%w: “%s” and “%s” by %s", ErrOutOfScale, clip(got), clip(want), clip(method))
	}
	return a >= b, nil
}

// A PencilTrial is one stroke: the pencil, and whether it left the damage that is looked for.
type PencilTrial struct {
	Grade   string
	Damaged bool
}

// PencilHardness returns the hardest pencil that left no damage. A pencil that is harder than one that did damage does not
// count, whatever it left: the film has already given way.
//
// found says that the next harder grade did damage (or that there is none), so that the result is the hardness and not only a
// bound from below. It returns ErrOutOfScale for no trials, for a grade that is none of the method, for a grade that was
// tried with both results, and when even the softest pencil tried did damage.
//
// Source: as PencilGrades; the rule of the result ISO 15184 (seen).
func PencilHardness(method string, trials []PencilTrial) (grade string, found bool, err error) {
	grades := PencilGrades(method)
	damaged := map[string]bool{}
	softest, hardest := len(grades), -1
	for _, trial := range trials {
		i := slices.Index(grades, trial.Grade)
		if was, again := damaged[trial.Grade]; i < 0 || again && was != trial.Damaged {
			return "", false, fmt.Errorf("%w: pencil “%s” by %s", ErrOutOfScale, clip(trial.Grade), clip(method))
		}
		damaged[trial.Grade] = trial.Damaged
		if trial.Damaged {
			softest = min(softest, i)
		}
	}
	for grade, broke := range damaged {
		if i := slices.Index(grades, grade); !broke && i < softest {
			hardest = max(hardest, i)
		}
	}
	if hardest < 0 {
		return "", false, fmt.Errorf("%w: no pencil left the film whole", ErrOutOfScale)
	}
	return grades[hardest], hardest+1 == softest || hardest+1 == len(grades), nil
}
