package page

// setupDescribed returns the ids of the words that belong to an input, for people who hear the page.
func setupDescribed(name, problem string) string { return setupDescribed2(name, name, problem) }

func setupDescribed2(rangeOf, name, problem string) string {
	if problem != "" {
		return rangeOf + "-range " + name + "-problem"
	}
	return rangeOf + "-range"
}

// A SetupCell is one cell of a list: words or a link, a number in the mono, or a standing.
type SetupCell struct {
	Ref      Ref
	Num      bool
	Standing Standing
	Right    bool
}

// Words is a cell of plain words.
func Words(text string) SetupCell { return SetupCell{Ref: Ref{Text: text}} }

// Code is a cell with an identifier that leads to its page.
func Code(text, href string) SetupCell { return SetupCell{Ref: Ref{Text: text, Href: href}, Num: true} }

// Figure is a cell with a number, set to the right.
func Figure(text string) SetupCell { return SetupCell{Ref: Ref{Text: text}, Num: true, Right: true} }

// Stands is a cell that says how something stands: kind is pass, fail, hold or none.
func Stands(kind, word string) SetupCell {
	return SetupCell{Standing: Standing{Word: word, Kind: kind}}
}

// A SetupTable is a list of what exists, or what to do while nothing does.
type SetupTable struct {
	Caption string
	Heads   []string
	Rows    [][]SetupCell
	Empty   string
}

func headOf(heads []string, i int) string {
	if i < len(heads) {
		return heads[i]
	}
	return ""
}

// rightAt reports whether a column holds figures, which are set to the right under their head.
func rightAt(t SetupTable, i int) bool {
	return len(t.Rows) > 0 && i < len(t.Rows[0]) && t.Rows[0][i].Right
}
