package gauge

import (
	"errors"
	"math"
	"slices"
	"testing"

	"coatbook/quality/process"
)

// pairs expands a square table of counts into two lists of ratings.
func pairs(table [][]int) (a, b []string) {
	for i, row := range table {
		for j, n := range row {
			a = append(a, slices.Repeat([]string{string(rune('a' + i))}, n)...)
			b = append(b, slices.Repeat([]string{string(rune('a' + j))}, n)...)
		}
	}
	return a, b
}

func TestCohenOfKnownTables(t *testing.T) {
	for _, c := range []struct {
		name  string
		table [][]int
		want  float64
	}{
		{"by hand: p_o 35/50, p_e 0.5", [][]int{{20, 5}, {10, 15}}, 0.4},
		{"by hand: full agreement", [][]int{{7, 0}, {0, 3}}, 1},
		{"by hand: p_o 0, p_e 1/2", [][]int{{0, 5}, {5, 0}}, -1},
		{"by hand: independent ratings", [][]int{{4, 4}, {2, 2}}, 0},
	} {
		k, err := Cohen(pairs(c.table))
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name, k.Value, c.want, 1e-12)
	}
}

// The variance of a function of multinomial shares is Σp·g² - (Σp·g)², g its gradient, over n.
func TestCohenStandardErrorIsTheDeltaMethods(t *testing.T) {
	table := [][]int{{31, 4, 2}, {6, 22, 5}, {1, 3, 26}}
	k, err := Cohen(pairs(table))
	if err != nil {
		t.Fatal(err)
	}
	shares := func() [][]float64 {
		p := make([][]float64, 3)
		for i, row := range table {
			for _, n := range row {
				p[i] = append(p[i], float64(n)/100)
			}
		}
		return p
	}
	value := func(p [][]float64) float64 {
		total, observed, expected := 0.0, 0.0, 0.0
		rows, columns := margins(p)
		for i := range p {
			total += rows[i]
			observed += p[i][i]
			expected += rows[i] * columns[i]
		}
		return (observed/total - expected/total/total) / (1 - expected/total/total)
	}
	first, second := 0.0, 0.0
	for i := range table {
		for j := range table {
			up, down := shares(), shares()
			up[i][j] += 1e-6
			down[i][j] -= 1e-6
			g := (value(up) - value(down)) / 2e-6
			p := float64(table[i][j]) / 100
			first += p * g
			second += p * g * g
		}
	}
	near(t, "standard error", *k.SE, math.Sqrt((second-first*first)/100), 1e-7)
}

func TestFleissExampleOf1971Layout(t *testing.T) {
	// Ten items, fourteen raters, five categories: the worked example printed with Fleiss' kappa in reference works,
	// 0.210 (from memory; P̄ 0.378 and P̄e 0.213 as printed).
	var ratings [][]string
	for _, counts := range [][]int{
		{0, 0, 0, 0, 14}, {0, 2, 6, 4, 2}, {0, 0, 3, 5, 6}, {0, 3, 9, 2, 0}, {2, 2, 8, 1, 1},
		{7, 7, 0, 0, 0}, {3, 2, 6, 3, 0}, {2, 5, 3, 2, 2}, {6, 5, 2, 1, 0}, {0, 2, 2, 3, 7},
	} {
		var item []string
		for c, n := range counts {
			item = append(item, slices.Repeat([]string{string(rune('1' + c))}, n)...)
		}
		ratings = append(ratings, item)
	}
	k, err := Fleiss(ratings)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "kappa", k.Value, 0.210, 1e-3*5)
	near(t, "observed", k.Observed, 0.378, 2e-3)
	near(t, "expected", k.Expected, 0.213, 3e-3)
	near(t, "kappa from its parts", k.Value, (k.Observed-k.Expected)/(1-k.Expected), 1e-12)
	weighted, weights := 0.0, 0.0
	for _, c := range k.Categories {
		w := c.Share * (1 - c.Share)
		weighted += w * *c.Value
		weights += w
	}
	near(t, "weighted mean of the categories' kappas", weighted/weights, k.Value, 1e-12)
}

func TestFleissWithTwoCategoriesHasOneStandardError(t *testing.T) {
	k, err := Fleiss([][]string{{"a", "a", "b"}, {"b", "b", "b"}, {"a", "a", "a"}, {"a", "b", "b"}, {"b", "b", "b"}})
	if err != nil {
		t.Fatal(err)
	}
	// With two categories p₁q₁ = p₂q₂ and the error under chance is √(2/(N·m(m-1))), by hand.
	near(t, "standard error", *k.NullSE, math.Sqrt(2.0/(5*3*2)), 1e-12)
}

func TestAgreementStudy(t *testing.T) {
	var ratings []Rating
	add := func(item, appraiser, reference string, trials ...string) {
		for _, c := range trials {
			ratings = append(ratings, Rating{Item: item, Appraiser: appraiser, Reference: reference, Category: c})
		}
	}
	add("1", "Ada", "good", "good", "good")
	add("2", "Ada", "bad", "bad", "bad")
	add("3", "Ada", "bad", "bad", "good")
	add("4", "Ada", "good", "good", "good")
	add("1", "Bo", "good", "good", "good")
	add("2", "Bo", "bad", "good", "good")
	add("3", "Bo", "bad", "bad", "bad")
	add("4", "Bo", "good", "good", "good")
	r, err := Agreement(ratings, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	ada, bo := r.Appraisers[0], r.Appraisers[1]
	if ada.Within.Count != 3 || bo.Within.Count != 4 || ada.Right.Count != 3 || bo.Right.Count != 3 ||
		r.Between.Count != 2 || r.AllRight.Count != 2 || r.Items != 4 || r.Trials != 2 {
		t.Errorf("got %+v", r)
	}
	near(t, "Ada against the reference", ada.RightKappa.Value, 0.75, 1e-12) // by hand: p_o 7/8, p_e 1/2
	near(t, "Bo with himself", bo.WithinKappa.Value, 1, 1e-12)
	same := make([]Rating, 0, 6)
	for _, item := range []string{"1", "2", "3"} {
		same = append(same, Rating{Item: item, Appraiser: "A", Category: "good"}, Rating{Item: item, Appraiser: "B", Category: "good"})
	}
	if r, err = Agreement(same, 0.95); err != nil || r.BetweenKappa != nil || len(r.Notes) != 1 || r.Between.Count != 3 {
		t.Errorf("all alike: %+v, %v", r, err)
	}
}

func TestBadRatingsAreErrors(t *testing.T) {
	if _, err := Cohen([]string{"a"}, []string{"a", "b"}); !errors.Is(err, ErrShape) {
		t.Errorf("lists of different length: %v", err)
	}
	if _, err := Cohen([]string{"a"}, []string{"a"}); !errors.Is(err, process.ErrTooFewReadings) {
		t.Errorf("one item: %v", err)
	}
	if _, err := Cohen([]string{"a", "a"}, []string{"a", "a"}); !errors.Is(err, ErrOneCategory) {
		t.Errorf("one category: %v", err)
	}
	if _, err := Fleiss([][]string{{"a", "b"}, {"a"}}); !errors.Is(err, ErrShape) {
		t.Errorf("ratings missing: %v", err)
	}
	if _, err := Fleiss([][]string{{"a", "b"}}); !errors.Is(err, process.ErrTooFewReadings) {
		t.Errorf("one item: %v", err)
	}
	if _, err := Fleiss([][]string{{"a", "a"}, {"a", "a"}}); !errors.Is(err, ErrOneCategory) {
		t.Errorf("one category: %v", err)
	}
	k, err := Cohen([]string{"a", "a", "b"}, []string{"a", "a", "a"})
	if err != nil || k.NullSE != nil || k.Value != 0 {
		t.Errorf("a rater with one category: %+v, %v", k, err)
	}
	for _, c := range []struct {
		name    string
		ratings []Rating
		want    error
	}{
		{"one item", []Rating{{Item: "1", Appraiser: "A", Category: "x"}}, process.ErrTooFewReadings},
		{"two references", []Rating{{"1", "A", "x", "x"}, {"1", "B", "x", "y"}}, ErrShape},
		{"reference missing", []Rating{{"1", "A", "x", "x"}, {"2", "A", "x", ""}}, ErrShape},
		{"rating missing", []Rating{{"1", "A", "x", ""}, {"2", "A", "x", ""}, {"1", "B", "x", ""}}, ErrUnbalanced},
		{"nothing to agree with", []Rating{{"1", "A", "x", ""}, {"2", "A", "y", ""}}, process.ErrTooFewReadings},
	} {
		if _, err := Agreement(c.ratings, 0.95); !errors.Is(err, c.want) {
			t.Errorf("%s: got error %v, want %v", c.name, err, c.want)
		}
	}
	if _, err := Agreement([]Rating{{"1", "A", "x", "x"}, {"2", "A", "y", "y"}}, 2); !errors.Is(err, process.ErrBadConfidence) {
		t.Error("confidence 2")
	}
}
