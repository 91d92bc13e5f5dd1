package sampling

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// The reasons, beside those of package process, why there is no plan.
var (
	// ErrLotSize means a lot size that the table does not cover.
	ErrLotSize = errors.New("lot size is outside the table")
	// ErrLevel means an inspection level that does not exist.
	ErrLevel = errors.New("unknown inspection level")
	// ErrCodeLetter means a code letter that does not exist.
	ErrCodeLetter = errors.New("unknown code letter")
	// ErrAQL means an AQL that is not a column of the table.
	ErrAQL = errors.New("AQL is not in the table")
	// ErrSeverity means a severity that does not exist or has no plan.
	ErrSeverity = errors.New("no plan of this severity")
	// ErrPlan means sample size, lot and acceptance number that contradict each other.
	ErrPlan = errors.New("sample size, lot and acceptance number contradict each other")
	// ErrFraction means a fraction that does not lie between 0 and 1.
	ErrFraction = errors.New("a fraction must lie between 0 and 1")
)

// Level is an inspection level of MIL-STD-105E: II unless the contract says otherwise, the special levels S-1 to S-4 for
// small samples, as in destructive tests.
type Level string

// The levels.
const (
	LevelS1  Level = "S-1"
	LevelS2  Level = "S-2"
	LevelS3  Level = "S-3"
	LevelS4  Level = "S-4"
	LevelI   Level = "I"
	LevelII  Level = "II"
	LevelIII Level = "III"
)

// ParseLevel reads a level such as "II", "s-3" or "S3". It returns ErrLevel.
func ParseLevel(text string) (Level, error) {
	plain := strings.ToUpper(strings.TrimSpace(text))
	for _, l := range levelNames {
		if plain == string(l) || plain == strings.ReplaceAll(string(l), "-", "") {
			return l, nil
		}
	}
	return "", fmt.Errorf("“%s”: %w; there are S-1, S-2, S-3, S-4, I, II and III", text, ErrLevel)
}

// Severity is how strictly lots are inspected.
type Severity string

// The severities. Discontinued is a state of a Switcher and has no plan.
const (
	Normal       Severity = "normal"
	Tightened    Severity = "tightened"
	Reduced      Severity = "reduced"
	Discontinued Severity = "discontinued"
)

// ParseSeverity reads "normal", "tightened" or "reduced", or its first letter. It returns ErrSeverity.
func ParseSeverity(text string) (Severity, error) {
	plain := strings.ToLower(strings.TrimSpace(text))
	for _, s := range []Severity{Normal, Tightened, Reduced} {
		if plain == string(s) || plain == string(s[:1]) {
			return s, nil
		}
	}
	return "", fmt.Errorf("“%s”: %w; there are normal, tightened and reduced", text, ErrSeverity)
}

// Letter returns N, T, R or D.
func (s Severity) Letter() string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(string(s[:1]))
}

// Standard names the source of a plan.
type Standard string

// The standards and rules that plans come from.
const (
	MILSTD105E  Standard = "MIL-STD-105E"
	MILSTD414   Standard = "MIL-STD-414, standard deviation method"
	CoatingRule Standard = "coating quality label, number of parts for thickness"
	ZeroRule    Standard = "zero acceptance, computed"
)

// Status says how sure the numbers of a plan are.
type Status string

// The statuses.
const (
	Seen       Status = "compared with a public extract of the standard"
	FromMemory Status = "from memory, unverified; checked against the structure of the table"
	Doubtful   Status = "from memory, doubtful: check it against the standard before use"
	Computed   Status = "computed"
)

// Plan is a single sampling plan: take N pieces, accept the lot with Accept bad pieces or fewer, reject it with Reject or
// more.
type Plan struct {
	Standard Standard
	// Lot, Level and CodeLetter are how the plan was found; PlanLetter is the row that it was taken from, which an arrow
	// may have moved. They are 0 or empty where they do not apply.
	Lot        int
	Level      Level
	CodeLetter string
	PlanLetter string
	AQL        float64 // percent; nonconformities per hundred units above 10
	Severity   Severity

	N      int
	Accept int
	// Reject is Accept+1 but for reduced inspection of MIL-STD-105E, where a count in between accepts the lot and ends
	// reduced inspection.
	Reject int
	// TableN is the sample size before it was cut to the lot. All says that it reached the lot: inspect every piece.
	TableN int
	All    bool
	Status Status
	Notes  []string
}

// Judge returns what a number of bad pieces, or of nonconformities for an AQL above 10, means for the lot.
func (p Plan) Judge(bad int) Outcome {
	switch {
	case bad <= p.Accept:
		return Accepted
	case bad < p.Reject:
		return Between
	}
	return Rejected
}

// cut fits the sample to the lot.
func (p *Plan) cut() {
	if p.TableN = p.N; p.Lot > 0 && p.N >= p.Lot {
		p.N, p.All = p.Lot, true
		p.Notes = append(p.Notes, fmt.Sprintf("The sample of %d reaches the lot: inspect all %d pieces.", p.TableN, p.Lot))
	}
}

// CodeLetter returns the sample size code letter of a lot at a level. It returns ErrLotSize for a lot below 2 and ErrLevel.
//
// Source: MIL-STD-105E table I (public domain; from memory).
func CodeLetter(lot int, level Level) (string, error) {
	column := -1
	for i, l := range levelNames {
		if l == level {
			column = i
		}
	}
	if column < 0 {
		return "", fmt.Errorf("“%s”: %w", level, ErrLevel)
	}
	if lot < 2 {
		return "", fmt.Errorf("a lot of %d: %w, which begins at 2; look at every piece", lot, ErrLotSize)
	}
	for _, row := range codeLetters {
		if lot <= row.upTo || row.upTo == 0 {
			return row.letters[column], nil
		}
	}
	return "", fmt.Errorf("a lot of %d: %w", lot, ErrLotSize)
}

// Single returns the single sampling plan of MIL-STD-105E for a lot, level, AQL in percent and severity. Where the table
// has an arrow, the whole plan of the row that it points to is used, sample size and numbers. When the sample reaches the
// lot, every piece is inspected and the numbers stay.
//
// Errors: ErrLotSize below 2, ErrLevel, ErrAQL, ErrSeverity.
//
// Source: MIL-STD-105E tables I, II-A, II-B, II-C (public domain; Plan.Status says how each cell was checked).
func Single(lot int, level Level, aql float64, severity Severity) (Plan, error) {
	letter, err := CodeLetter(lot, level)
	if err != nil {
		return Plan{}, err
	}
	p, err := SingleByLetter(letter, aql, severity)
	if err != nil {
		return Plan{}, err
	}
	p.Lot, p.Level = lot, level
	p.cut()
	return p, nil
}

// SingleByLetter returns the plan of a code letter, A to R without I and O, as Single does, without a lot.
//
// Errors: ErrCodeLetter, ErrAQL, ErrSeverity.
func SingleByLetter(letter string, aql float64, severity Severity) (Plan, error) {
	row, err := letterRow(letter)
	if err != nil {
		return Plan{}, err
	}
	column, err := aqlColumn(aql)
	if err != nil {
		return Plan{}, err
	}
	p := Plan{Standard: MILSTD105E, CodeLetter: letterNames[row], AQL: aqlColumns[column], Severity: severity}
	p.Status = planStatus(row, column, severity)
	switch severity {
	case Normal:
		p.find(row, column, &normalTable, &sampleSizes)
	case Tightened:
		p.find(row, column, &tightenedTable, &sampleSizes)
	case Reduced:
		at := p.find(row, column, &reducedAccept, &reducedSizes)
		p.Reject = reducedReject[at][column]
	default:
		return Plan{}, fmt.Errorf("“%s”: %w", severity, ErrSeverity)
	}
	p.TableN = p.N
	if p.PlanLetter != p.CodeLetter {
		p.Notes = append(p.Notes, fmt.Sprintf("The table has an arrow at %s: the plan of letter %s is used.", p.CodeLetter, p.PlanLetter))
	}
	if p.AQL > 10 {
		p.Notes = append(p.Notes, "An AQL above 10 counts nonconformities per hundred units, not bad pieces.")
	}
	return p, nil
}

// find follows arrows from a cell and fills the plan. It returns the row reached.
func (p *Plan) find(row, column int, table *[letters][aqls]int, sizes *[letters]int) int {
	for row < letters {
		switch accept := table[row][column]; accept {
		case dn:
			row++
		case up:
			row--
		default:
			p.PlanLetter, p.N, p.Accept, p.Reject = letterNames[row], sizes[row], accept, accept+1
			return row
		}
	}
	// Only table II-B has an arrow below letter R.
	p.PlanLetter, p.N, p.Accept, p.Reject = "S", extraPlan.n, extraPlan.accept, extraPlan.accept+1
	return letters - 1
}

// planStatus says how a cell of the master tables was checked.
func planStatus(row, column int, severity Severity) Status {
	aql, letter := aqlColumns[column], letterNames[row]
	switch {
	case letter == "A" && aql == 10:
		return Doubtful
	case severity != Reduced && letter >= "F" && letter <= "Q" && aql >= 0.65 && aql <= 10:
		return Seen
	}
	return FromMemory
}

func letterRow(letter string) (int, error) {
	for i, name := range letterNames {
		if strings.EqualFold(name, strings.TrimSpace(letter)) {
			return i, nil
		}
	}
	return 0, fmt.Errorf("“%s”: %w; there are A to R without I and O", letter, ErrCodeLetter)
}

// aqlColumn finds an AQL up to rounding of its last printed digit.
func aqlColumn(aql float64) (int, error) {
	for i, a := range aqlColumns {
		if math.Abs(aql-a) <= 1e-9*a {
			return i, nil
		}
	}
	return 0, fmt.Errorf("%v: %w; choose one of %s", aql, ErrAQL, listAQLs(aqlColumns[:]))
}

// AQLs returns the AQLs of MIL-STD-105E in order: percent nonconforming up to 10, above that nonconformities per hundred
// units.
func AQLs() []float64 { return append([]float64(nil), aqlColumns[:]...) }

func listAQLs(aqls []float64) string {
	words := make([]string, len(aqls))
	for i, a := range aqls {
		words[i] = fmt.Sprint(a)
	}
	return strings.Join(words, ", ")
}

// ISO2859Differences returns, one sentence each, where ISO 2859-1:1999 is not MIL-STD-105E (from memory, unverified). Plans here
// are those of MIL-STD-105E; a contract that calls for ISO 2859-1 needs the standard itself for these points.
func ISO2859Differences() []string {
	return []string{
		"Reduced inspection: ISO 2859-1 has no gap between acceptance and rejection number; MIL-STD-105E and ANSI Z1.4 have one.",
		"Normal to reduced: ISO 2859-1 keeps a switching score and asks for 30; MIL-STD-105E asks for ten accepted lots in a row and a limit number.",
		"Stopping: ISO 2859-1 stops when five lots have been rejected on tightened inspection; MIL-STD-105E after ten lots in a row on tightened inspection.",
		"ISO 2859-1 offers plans with fractional acceptance numbers in place of some arrows; MIL-STD-105E has none.",
		"ISO 2859-1 calls rejection of a lot non-acceptance and numbers its tables differently.",
	}
}
