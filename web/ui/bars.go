package ui

// A Bar is one row of a count by kind, ready to print. Width is a share of the widest bar, 0 to 100.
type Bar struct {
	Name, Href, Count, Share string
	Width                    string
}

// A Count is one kind with how often it was found and the list behind it.
type Count struct {
	Name, Href string
	N          int
}

// NewBars makes the rows of a Pareto chart from counts that are already in order, with the cumulative share of each.
func NewBars(counts []Count) []Bar {
	most, total := 0, 0
	for _, c := range counts {
		most, total = max(most, c.N), total+c.N
	}
	bars := make([]Bar, len(counts))
	sum := 0
	for i, c := range counts {
		sum += c.N
		bars[i] = Bar{Name: c.Name, Href: c.Href, Count: fixed(float64(c.N), 0), Width: at(100 * float64(c.N) / float64(max(most, 1))),
			Share: fixed(100*float64(sum)/float64(max(total, 1)), 0) + " %"}
	}
	return bars
}
