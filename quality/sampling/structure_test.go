package sampling

import (
	"fmt"
	"slices"
	"testing"
)

// column returns the acceptance numbers of a severity by letter, arrows as they stand.
func masterTables() map[Severity]*[letters][aqls]int {
	return map[Severity]*[letters][aqls]int{Normal: &normalTable, Tightened: &tightenedTable, Reduced: &reducedAccept}
}

func TestEveryArrowLeadsToTheNearestPlanThatWay(t *testing.T) {
	for severity, table := range masterTables() {
		for row, letter := range letterNames {
			for column, aql := range aqlColumns {
				p, err := SingleByLetter(letter, aql, severity)
				if err != nil {
					t.Fatalf("%s %s %g: %v", severity, letter, aql, err)
				}
				if p.PlanLetter == "S" {
					if severity != Tightened || aql != 0.025 || p.N != 3150 {
						t.Errorf("%s %s %g: letter S", severity, letter, aql)
					}
					continue
				}
				to := slices.Index(letterNames[:], p.PlanLetter)
				step := 0
				switch table[row][column] {
				case dn:
					step = 1
				case up:
					step = -1
				}
				if step == 0 && to != row || step != 0 && (to-row)*step <= 0 {
					t.Errorf("%s %s %g: leads to %s", severity, letter, aql, p.PlanLetter)
				}
				for between := row + step; step != 0 && between != to; between += step {
					if table[between][column] >= 0 {
						t.Errorf("%s %s %g: passes over the plan of %s", severity, letter, aql, letterNames[between])
					}
				}
			}
		}
	}
}

// The tables' own structure: one letter further down and one AQL to the left is the same acceptance number.
func TestAcceptanceNumbersRunDownDiagonals(t *testing.T) {
	for severity, table := range masterTables() {
		for row := range letters - 1 {
			for column := 1; column < aqls; column++ {
				here, next := table[row][column], table[row+1][column-1]
				special := here > 24 || next > 24 || // the two last plans of the smallest letters
					row == 0 && column == 15 || // the doubtful cell
					severity == Reduced && (row < 2 || row == 4) || // A and B have the sample of C; E has the last large plans
					row == 14 // below R the arrows turn back
				if !special && here != next {
					t.Errorf("%s: %s at %g has %d, %s at %g has %d", severity, letterNames[row], aqlColumns[column], here,
						letterNames[row+1], aqlColumns[column-1], next)
				}
			}
		}
	}
}

func TestPlansAreMonotone(t *testing.T) {
	for severity, table := range masterTables() {
		for row, letter := range letterNames {
			last := -1
			for column := range aqlColumns {
				if accept := table[row][column]; accept >= 0 {
					if accept < last {
						t.Errorf("%s %s: acceptance number falls at AQL %g", severity, letter, aqlColumns[column])
					}
					last = accept
				}
			}
		}
	}
	for row := range letters {
		for column := range aqls {
			n, tight := normalTable[row][column], tightenedTable[row][column]
			if n >= 0 && tight > n {
				t.Errorf("%s at %g: tightened accepts %d, normal %d", letterNames[row], aqlColumns[column], tight, n)
			}
			if a, r := reducedAccept[row][column], reducedReject[row][column]; a >= 0 && (r <= a || n >= 0 && a > n) || a < 0 && r != 0 {
				t.Errorf("reduced %s at %g: %d and %d, normal %d", letterNames[row], aqlColumns[column], a, r, n)
			}
		}
	}
}

// A plan must pass most lots at its AQL, and tightened inspection fewer than normal, whichever plan the arrows lead to.
func TestPlansProtectAtTheirAQL(t *testing.T) {
	for _, letter := range letterNames {
		for _, aql := range aqlColumns[:16] {
			chance := map[Severity]float64{}
			for _, severity := range []Severity{Normal, Tightened, Reduced} {
				p, err := SingleByLetter(letter, aql, severity)
				if err != nil {
					t.Fatal(err)
				}
				if chance[severity], err = AcceptBinomial(p.N, p.Accept, aql/100); err != nil {
					t.Fatal(err)
				}
			}
			if chance[Normal] < 0.87 || chance[Normal] > 0.999 || chance[Tightened] > chance[Normal]+1e-12 || chance[Tightened] < 0.70 {
				t.Errorf("%s at %g: accepts %v at the AQL", letter, aql, chance)
			}
		}
	}
}

func TestSampleSizesGrowWithTheLot(t *testing.T) {
	for _, level := range levelNames {
		last := "A"
		for _, row := range codeLetters {
			letter, err := CodeLetter(max(row.upTo, 2), level)
			if row.upTo == 0 {
				letter, err = CodeLetter(1_000_000, level)
			}
			if err != nil || letter < last {
				t.Errorf("level %s, lot up to %d: %s after %s, %v", level, row.upTo, letter, last, err)
			}
			last = letter
		}
	}
}

// Along each letter the chance of acceptance at the AQL is constant; a mistyped k would break that.
func TestVariablesPlansAcceptAlikeAtEveryAQL(t *testing.T) {
	want := map[string]float64{"B": 0.89, "C": 0.90, "D": 0.90, "E": 0.90, "F": 0.90, "G": 0.91, "H": 0.92, "I": 0.93, "J": 0.94,
		"K": 0.94, "L": 0.95, "M": 0.95, "N": 0.96, "O": 0.97, "P": 0.98, "Q": 0.99}
	for _, row := range variablesTable {
		for column, k := range row.k {
			if k == 0 {
				if column+1 < len(row.k) && slices.Contains(row.k[:column], 0) && column > 0 && row.k[column-1] != 0 {
					t.Errorf("%s: arrow at %g after a plan", row.letter, variablesAQLs[column])
				}
				continue
			}
			p := VariablesPlan{N: row.n, K: k}
			chance, err := p.AcceptProbability(variablesAQLs[column] / 100)
			if err != nil || chance < want[row.letter]-0.008 || chance > want[row.letter]+0.008 {
				t.Errorf("%s at %g: k %g accepts %.4f, %v", row.letter, variablesAQLs[column], k, chance, err)
			}
		}
	}
}

// Each M is the estimated percentage outside at its k, which is printed to three digits.
func TestVariablesTablesAgreeWithEachOther(t *testing.T) {
	for _, row := range variablesTable {
		for column, k := range row.k {
			if k == 0 {
				if row.m[column] != 0 {
					t.Errorf("%s at %g: m without k", row.letter, variablesAQLs[column])
				}
				continue
			}
			half := 0.0055
			if k < 1 {
				half = 0.00055
			}
			low, high := 100*estimatedOutside(k+half, row.n), 100*estimatedOutside(k-half, row.n)
			if m := row.m[column]; m < low-0.006 || m > high+0.006 {
				t.Errorf("%s at %g: m %g, k %g gives %.4g to %.4g", row.letter, variablesAQLs[column], m, k, low, high)
			}
		}
	}
}

func TestStatusNamesTheDoubtfulCells(t *testing.T) {
	count := map[Status]int{}
	for _, severity := range []Severity{Normal, Tightened, Reduced} {
		for _, letter := range letterNames {
			for _, aql := range AQLs() {
				p, err := SingleByLetter(letter, aql, severity)
				if err != nil {
					t.Fatal(err)
				}
				count[p.Status]++
			}
		}
	}
	// Letters F to Q, AQL 0.65 to 10, normal and tightened: 10 letters, 7 columns, 2 tables.
	if got := fmt.Sprint(count[Doubtful], count[Seen], count[FromMemory]); got != "3 140 1105" {
		t.Errorf("doubtful, seen, from memory: %s", got)
	}
}
