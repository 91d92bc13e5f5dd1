package sampling

// The master tables of MIL-STD-105E for single sampling (public domain), one row for each code letter, one column for
// each AQL.
//
// Status: tables II-A and II-B, letters F to Q at AQL 0.65 to 10, were compared with a public extract without
// disagreement; everything else is from memory and rests on the tables' structure, in which each acceptance number runs
// down a diagonal. The cells of letter A at AQL 10 are doubtful. PlanStatus says which is which.

const (
	letters = 16
	aqls    = 26

	dn = -1 // the arrow down: use the first plan below
	up = -2 // the arrow up: use the first plan above
)

// letterNames are the code letters; I and O are not used.
var letterNames = [letters]string{"A", "B", "C", "D", "E", "F", "G", "H", "J", "K", "L", "M", "N", "P", "Q", "R"}

// aqlColumns are the AQLs: percent nonconforming, or nonconformities per hundred units, which alone go above 10.
var aqlColumns = [aqls]float64{
	0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10,
	15, 25, 40, 65, 100, 150, 250, 400, 650, 1000,
}

// sampleSizes of normal and tightened inspection, and of reduced.
var (
	sampleSizes  = [letters]int{2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000}
	reducedSizes = [letters]int{2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800}
)

// extraPlan is the one plan of letter S, below R in table II-B, at AQL 0.025 (from memory, unverified).
var extraPlan = struct {
	column, n, accept int
}{2, 3150, 1}

// normalTable is table II-A: the acceptance number, or an arrow. The rejection number is one more.
var normalTable = [letters][aqls]int{
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30},  // A
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44},  // B
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44, up},  // C
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44, up, up},  // D
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44, up, up, up},  // E
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up},  // F
	{dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up},  // G
	{dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up},  // H
	{dn, dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up},  // J
	{dn, dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up},  // K
	{dn, dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up},  // L
	{dn, dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up},  // M
	{dn, dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up, up},  // N
	{dn, 0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up, up, up},  // P
	{0, up, dn, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up},  // Q
	{up, up, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up}, // R
}

// tightenedTable is table II-B, read in the same way. Letter S, which has one plan, is extraPlan.
var tightenedTable = [letters][aqls]int{
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 1, 2, 3, 5, 8, 12, 18, 27}, // A
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, 27, 41},  // B
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, 27, 41, up},  // C
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, 27, 41, up, up},  // D
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, 27, 41, up, up, up},  // E
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up},  // F
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up},  // G
	{dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up},  // H
	{dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up, up},  // J
	{dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up, up, up},  // K
	{dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up, up, up, up},  // L
	{dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up, up, up, up, up},  // M
	{dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up, up, up, up, up, up},  // N
	{dn, dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up, up, up, up, up, up, up},  // P
	{dn, 0, dn, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up},  // Q
	{0, up, dn, 1, 2, 3, 5, 8, 12, 18, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up},  // R
}

// reducedAccept is table II-C: the acceptance number, or an arrow.
var reducedAccept = [letters][aqls]int{
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, dn, dn, 1, 2, 3, 5, 7, 10, 14, 21, 30}, // A
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 2, 3, 5, 7, 10, 14, 21, 30},  // B
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, 14, 21, up},   // C
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, 14, 21, up, up},   // D
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, 14, 21, up, up, up},   // E
	{dn, dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up},   // F
	{dn, dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up},   // G
	{dn, dn, dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up},   // H
	{dn, dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up, up},   // J
	{dn, dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up, up, up},   // K
	{dn, dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up, up, up, up},   // L
	{dn, dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up, up, up, up, up},   // M
	{dn, dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up, up, up, up, up, up},   // N
	{dn, 0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up, up, up, up, up, up, up},   // P
	{0, up, dn, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up},   // Q
	{up, up, 0, 1, 1, 2, 3, 5, 7, 10, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up, up},  // R
}

// reducedReject is table II-C: the rejection number where reducedAccept has no arrow.
var reducedReject = [letters][aqls]int{
	{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 6, 8, 11, 15, 22, 31}, // A
	{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 11, 15, 22, 31}, // B
	{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 17, 24, 0}, // C
	{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 17, 24, 0, 0}, // D
	{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 17, 24, 0, 0, 0}, // E
	{0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0},   // F
	{0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0},   // G
	{0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0},   // H
	{0, 0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0},   // J
	{0, 0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},   // K
	{0, 0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},   // L
	{0, 0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},   // M
	{0, 0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},   // N
	{0, 1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},   // P
	{1, 0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},   // Q
	{0, 0, 2, 3, 4, 5, 6, 8, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},   // R
}

// codeLetters is table I: the code letter for each lot size up to upTo, by inspection level (from memory).
var codeLetters = []struct {
	upTo    int // 0 for the last row, which has no end
	letters [7]string
}{
	{8, [7]string{"A", "A", "A", "A", "A", "A", "B"}},
	{15, [7]string{"A", "A", "A", "A", "A", "B", "C"}},
	{25, [7]string{"A", "A", "B", "B", "B", "C", "D"}},
	{50, [7]string{"A", "B", "B", "C", "C", "D", "E"}},
	{90, [7]string{"B", "B", "C", "C", "C", "E", "F"}},
	{150, [7]string{"B", "B", "C", "D", "D", "F", "G"}},
	{280, [7]string{"B", "C", "D", "E", "E", "G", "H"}},
	{500, [7]string{"B", "C", "D", "E", "F", "H", "J"}},
	{1200, [7]string{"C", "C", "E", "F", "G", "J", "K"}},
	{3200, [7]string{"C", "D", "E", "G", "H", "K", "L"}},
	{10000, [7]string{"C", "D", "F", "G", "J", "L", "M"}},
	{35000, [7]string{"C", "D", "F", "H", "K", "M", "N"}},
	{150000, [7]string{"D", "E", "G", "J", "L", "N", "P"}},
	{500000, [7]string{"D", "E", "G", "J", "M", "P", "Q"}},
	{0, [7]string{"D", "E", "H", "K", "N", "Q", "R"}},
}

// levelNames are the columns of codeLetters.
var levelNames = [7]Level{LevelS1, LevelS2, LevelS3, LevelS4, LevelI, LevelII, LevelIII}
