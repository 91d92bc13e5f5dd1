// Package ui holds the pieces that two or more pages share: the two layouts, fields, verdicts, flags, the keys, the part
// sketches and the cautions. Pieces print what they are given; they compute nothing about quality.
package ui

import "fmt"

// A BenchFrame is what every bench page shows around its content.
type BenchFrame struct {
	Title   string
	Site    string
	Station string
	Person  string
	// PersonID keys what a tablet keeps for this person alone: half-typed values and entries that wait for the network.
	PersonID string
	Active   string
	CanSetup bool
	Theme    string // "", "dark" or "glare"
	Flash    string // message after a redirect
	// TakeBack is the entry saved last, while it may be taken back with one tap.
	TakeBack TakeBack
	// PxPerInch is the tablet's scale: gloved targets are 20 mm on its glass. 0 takes the usual 132.
	PxPerInch int
	// Enrolled says that the browser is a tablet of the shop.
	Enrolled bool
	// IdleSeconds is how long the page may lie untouched before it locks; 0 leaves that to the server alone.
	IdleSeconds int
	// ServerTime is the server's clock at rendering, RFC 3339 with milliseconds; the page measures its own against it.
	ServerTime string
}

// A DeskFrame is what every desk page shows around its content.
type DeskFrame struct {
	Title       string
	Site        string
	Station     string
	Person      string
	PersonID    string
	Active      string // Day, Parts, Charts, Holds, Exports, Setup
	CanSetup    bool
	Theme       string
	Flash       string
	TakeBack    TakeBack
	IdleSeconds int
	ServerTime  string
}

// scales are the tablet scales bench.css knows, in CSS pixels per inch.
var scales = []int{96, 112, 120, 132, 148, 160, 176, 192, 220}

// Scale returns the body class that makes a gloved target at least 20 mm on a tablet with pxPerInch CSS pixels per inch: the
// next larger step that the style sheet has.
func Scale(pxPerInch int) string {
	if pxPerInch <= 0 {
		pxPerInch = 132
	}
	for _, step := range scales {
		if pxPerInch <= step {
			return fmt.Sprintf("ppi-%d", step)
		}
	}
	return fmt.Sprintf("ppi-%d", scales[len(scales)-1])
}

func themeClass(theme string) string {
	switch theme {
	case "dark", "glare":
		return "theme-" + theme
	}
	return ""
}

// Choice is one of several answers: what is stored, its word, and a line that explains it.
type Choice struct {
	Value, Label, Hint string
	Chosen             bool
	// Code is what a scanned label says after its type mark, for choices that can be scanned.
	Code string
}

// A Field is one value to enter: its box with unit, plausible range and limit beside it, and what is wrong with what was typed.
type Field struct {
	Name    string // field name in the form
	Label   string
	Unit    string // printed unit, such as µm
	Range   string // plausible range in words, such as "0 to 1000 µm"
	Limit   string // the spec's limit in words; empty when it has none
	Value   string // the text as typed
	Source  string // typed, wedge
	Raw     string
	Absent  string // chosen absence code
	Problem string // one sentence, empty when nothing is wrong
	// Low, High and Floor are the limits as plain numbers in Unit, for the flag that shows while typing.
	Low, High, Floor string
	// PlausibleLow and PlausibleHigh are the ends of Range as plain numbers.
	PlausibleLow, PlausibleHigh string
	Optional                    bool // may be left empty
	MayBeAbsent                 bool // offers the absence codes
	First                       bool // takes the focus when the page opens
}

// absences are the reasons why there is no number, as offered beside a field.
var absences = []Choice{
	{Value: "not_measured", Label: "not measured"},
	{Value: "not_applicable", Label: "not applicable"},
	{Value: "below_range", Label: "below range"},
	{Value: "above_range", Label: "above range"},
	{Value: "pending", Label: "still to come"},
}

// A TextField is one line of words or a list to choose from.
type TextField struct {
	Name, Label, Hint, Value, Problem string
	Optional                          bool
}

// A Select is a list to choose one thing from. Scan is the type mark of labels that fill it, such as LOT.
type Select struct {
	Name, Label, Hint, Problem, Scan string
	Empty                            string // the words of the empty choice; without it the first choice is taken
	Choices                          []Choice
}

// describedBy returns the ids of the words that belong to an input, for people who hear the page.
func describedBy(name, problem string) string {
	if problem != "" {
		return name + "-range " + name + "-problem"
	}
	return name + "-range"
}

func invalid(problem string) string {
	if problem != "" {
		return "true"
	}
	return "false"
}
