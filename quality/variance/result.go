package variance

import "errors"

// The reasons, beside those of package process, why components cannot be estimated.
var (
	// ErrShape means that a factor does not have exactly one label for each reading, or that there is no factor.
	ErrShape = errors.New("each factor needs one label for each reading")
	// ErrOneLevel means that the outermost factor has a single level: nothing can be said about variation between them.
	ErrOneLevel = errors.New("the outermost factor has one level only")
	// ErrConfounded means that a factor has one level inside each level of the factor around it, so that the two
	// cannot be told apart; leave one of them out.
	ErrConfounded = errors.New("two factors cannot be told apart")
	// ErrNotConverged means that the search for the restricted maximum likelihood did not end.
	ErrNotConverged = errors.New("the estimate did not converge")
)

// ErrorFactor is the name under which the innermost source, the readings inside one cell, appears in results.
const ErrorFactor = "error"

// Method names an estimator of components.
type Method string

// The estimators.
const (
	ByMoments Method = "moments" // mean squares equated to their expectations
	ByREML    Method = "reml"    // restricted maximum likelihood of normal readings
)

// Factor is one level of nesting: its name, and the label of each reading in the order of the readings.
type Factor struct {
	Name   string
	Labels []string
}

// Row is one line of the analysis of variance, outermost factor first and [ErrorFactor] last. SS and MS are in the
// square of the readings' unit.
type Row struct {
	Factor string
	Levels int // distinct levels, counted inside their parents; for the error row the number of readings
	DF     int
	SS, MS float64
	// EMS are the coefficients of the components in the expectation of MS, in the order of the rows.
	EMS []float64
	// F is MS over the mean square of the next row inside, and P its upper tail. Both are nil on the error row, and
	// where the two expectations differ by more than this factor's own component: then F has no F distribution
	// (unbalanced data; only approximations such as Satterthwaite's exist).
	F, P *float64
}

// Component is the share of one source in the variance of a reading.
type Component struct {
	Factor string
	// Variance is the estimate, never below 0; Raw is the estimate before a negative one was set to 0. Square of
	// the readings' unit. For REML, whose estimate is confined to 0 and above, Raw is Variance.
	Variance, Raw float64
	// SD is √Variance, in the readings' unit.
	SD float64
	// Percent is 100·Variance over the sum of all components; nil when that sum is 0.
	Percent *float64
	// AtZero says that the estimate was negative, or for REML that its maximum lies at the bound 0.
	AtZero bool
}

// Result is the split of variance with everything that is printed beside it.
type Result struct {
	Method Method
	N      int
	// Mean is the mean of all readings for moments, and the generalized least squares mean for REML.
	Mean float64
	// Total is the sum of the components: the variance of a single reading.
	Total      float64
	Components []Component
	Anova      []Row
	// Balanced says that each level of a factor holds equally many levels of the next, and each cell equally many
	// readings.
	Balanced bool
	// Criterion is -2 times the restricted log likelihood at the estimate (REML only, else nil):
	//
	//	log|V| + log|1'V⁻¹1| + (y-m)'V⁻¹(y-m) + (N-1)·log 2π
	Criterion *float64
	// Iterations counts the steps of the search (REML only).
	Iterations int
	// Notes are sentences for the reader: estimates set to 0, factors left out.
	Notes []string
}
