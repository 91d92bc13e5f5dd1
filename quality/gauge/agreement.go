package gauge

import (
	"errors"
	"fmt"
	"slices"

	"coatbook/quality/process"
)

// ErrShape means lists that should have one entry for each item and do not.
var ErrShape = errors.New("ratings do not match up")

// Rating is what one appraiser said of one item in one look. Looks at the same item by the same appraiser are trials.
type Rating struct {
	Item, Appraiser string
	Category        string // “accept”, “reject”, or a class
	Reference       string // the agreed true category; "" where there is none
}

// AppraiserAgreement is how far one appraiser can be relied on.
type AppraiserAgreement struct {
	Appraiser string
	// Within counts items that the appraiser rated alike in every trial; WithinKappa is agreement between trials. Both
	// are nil with one trial.
	Within      *process.Proportion
	WithinKappa *Kappa
	// Right counts items rated as the reference in every trial; RightKappa is Cohen's kappa of single ratings with the
	// reference. Both are nil without references.
	Right      *process.Proportion
	RightKappa *Kappa
}

// AgreementResult is the outcome of a study of visual inspection. Proportions carry Wilson and exact intervals.
type AgreementResult struct {
	Items, Trials int
	Appraisers    []AppraiserAgreement // in order of appearance
	// Between counts items on which all appraisers agreed in every trial; BetweenKappa is Fleiss' kappa of all ratings.
	// Both are nil with one appraiser.
	Between      *process.Proportion
	BetweenKappa *Kappa
	// AllRight counts items on which all ratings were the reference; nil without references.
	AllRight *process.Proportion
	Notes    []string
}

// Agreement returns how far appraisers agree with themselves, with each other and with the truth when they rate the same
// items by eye, at the confidence of the intervals, such as 0.95. Ratings come in any order; every appraiser rates every item
// equally often. Either every item has a reference, the same in all its ratings, or none has. A kappa that is not defined,
// because every rating was the same, is nil with a note.
//
// It returns ErrUnbalanced, ErrShape for references that contradict each other or are missing for some items,
// process.ErrTooFewReadings for fewer than two items or a study of one appraiser, one trial and no reference, and ErrBadConfidence.
//
// Source: AIAG Measurement Systems Analysis manual, attribute study (from memory, unverified); kappa as in Cohen and Fleiss.
func Agreement(ratings []Rating, confidence float64) (AgreementResult, error) {
	s, err := arrange(ratings)
	if err != nil {
		return AgreementResult{}, err
	}
	r := AgreementResult{Items: len(s.items), Trials: s.trials}
	share := func(count int) (*process.Proportion, error) {
		p, err := process.NewProportion(count, len(s.items), confidence)
		return &p, err
	}
	for a, name := range s.appraisers {
		one := AppraiserAgreement{Appraiser: name}
		if s.trials > 1 {
			if one.Within, err = share(s.count(func(i int) bool { return alike(s.given[a][i]) })); err != nil {
				return r, err
			}
			one.WithinKappa = r.kappa("Within " + name)(Fleiss(s.given[a]))
		}
		if s.reference != nil {
			if one.Right, err = share(s.count(func(i int) bool { return right(s.given[a][i], s.reference[i]) })); err != nil {
				return r, err
			}
			var said, truth []string
			for i, list := range s.given[a] {
				said = append(said, list...)
				truth = append(truth, slices.Repeat([]string{s.reference[i]}, len(list))...)
			}
			one.RightKappa = r.kappa(name + " against the reference")(Cohen(said, truth))
		}
		r.Appraisers = append(r.Appraisers, one)
	}
	if len(s.appraisers) > 1 {
		if r.Between, err = share(s.count(func(i int) bool { return alike(s.all(i)) })); err != nil {
			return r, err
		}
		everyone := make([][]string, len(s.items))
		for i := range everyone {
			everyone[i] = s.all(i)
		}
		r.BetweenKappa = r.kappa("Between appraisers")(Fleiss(everyone))
	}
	if s.reference != nil {
		if r.AllRight, err = share(s.count(func(i int) bool { return right(s.all(i), s.reference[i]) })); err != nil {
			return r, err
		}
	}
	return r, nil
}

// kappa keeps a kappa, or notes why there is none.
func (r *AgreementResult) kappa(what string) func(Kappa, error) *Kappa {
	return func(k Kappa, err error) *Kappa {
		if err != nil {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: kappa is not defined, %v.", what, err))
			return nil
		}
		return &k
	}
}

// session is the ratings by appraiser, item and trial.
type session struct {
	appraisers, items []string
	reference         []string // by item; nil without
	trials            int
	given             [][][]string
}

func arrange(ratings []Rating) (*session, error) {
	s := &session{}
	appraiser, item := map[string]int{}, map[string]int{}
	references := map[string]string{}
	for _, r := range ratings {
		number(appraiser, &s.appraisers, r.Appraiser)
		number(item, &s.items, r.Item)
		if before, ok := references[r.Item]; ok && before != r.Reference {
			return nil, fmt.Errorf("item %s has the references “%s” and “%s”: %w", r.Item, before, r.Reference, ErrShape)
		}
		references[r.Item] = r.Reference
	}
	if len(s.items) < 2 {
		return nil, fmt.Errorf("agreement on %d items: %w", len(s.items), process.ErrTooFewReadings)
	}
	s.given = make([][][]string, len(s.appraisers))
	for a := range s.given {
		s.given[a] = make([][]string, len(s.items))
	}
	for _, r := range ratings {
		list := &s.given[appraiser[r.Appraiser]][item[r.Item]]
		*list = append(*list, r.Category)
	}
	s.trials = len(s.given[0][0])
	for a, row := range s.given {
		for i, list := range row {
			if len(list) != s.trials {
				return nil, fmt.Errorf("appraiser %s rated item %s %d times, and appraiser %s item %s %d times: %w",
					s.appraisers[a], s.items[i], len(list), s.appraisers[0], s.items[0], s.trials, ErrUnbalanced)
			}
		}
	}
	return s, s.refer(references)
}

// refer fills the references, all or none.
func (s *session) refer(references map[string]string) error {
	for _, name := range s.items {
		if references[name] != "" {
			s.reference = append(s.reference, references[name])
		}
	}
	switch {
	case s.reference != nil && len(s.reference) != len(s.items):
		return fmt.Errorf("%d of %d items have a reference: %w", len(s.reference), len(s.items), ErrShape)
	case s.reference == nil && len(s.appraisers) == 1 && s.trials == 1:
		return fmt.Errorf("one appraiser, one trial and no reference: %w", process.ErrTooFewReadings)
	}
	return nil
}

// all returns every rating of item i.
func (s *session) all(i int) []string {
	var all []string
	for a := range s.appraisers {
		all = append(all, s.given[a][i]...)
	}
	return all
}

func (s *session) count(holds func(item int) bool) int {
	n := 0
	for i := range s.items {
		if holds(i) {
			n++
		}
	}
	return n
}

// alike says whether all ratings are the same; right, whether all are the reference.
func alike(list []string) bool { return right(list, list[0]) }

func right(list []string, reference string) bool {
	return !slices.ContainsFunc(list, func(c string) bool { return c != reference })
}
