package calc

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// listing names every calculation.
func listing() string {
	var b strings.Builder
	b.WriteString("coatbook calc NAME [flags] [FILE|-]\n\nThe statistics of the book on a CSV file, without a database.\n\n")
	for _, c := range commands {
		fmt.Fprintf(&b, "  %-12s %s\n", c.name, c.summary)
	}
	b.WriteString(`
Columns are chosen by header. A file has a header and commas (or semicolons or tabs, when the header has no comma), UTF-8, and
numbers with a decimal point; lines at the top that begin with “# ” are remarks. Without FILE, standard input is read. Every
name takes --json, and --help with an example that runs. A wrong input is one sentence on standard error and exit status 2.
`)
	return b.String()
}

// help describes one calculation.
func (c *command) help() string {
	var b strings.Builder
	fmt.Fprintf(&b, "coatbook calc %s %s\n\n%s.\n\n", c.name, c.usage, strings.ToUpper(c.summary[:1])+c.summary[1:])
	width := 0
	for _, f := range c.flags {
		width = max(width, utf8.RuneCountInString(f.name+" "+f.value))
	}
	for _, f := range c.flags {
		text := strings.TrimSpace(f.name + " " + f.value)
		fmt.Fprintf(&b, "  --%s%s  %s\n", text, strings.Repeat(" ", width-utf8.RuneCountInString(text)), f.help)
	}
	if len(c.notes) > 0 {
		b.WriteString("\n" + strings.Join(c.notes, "\n") + "\n")
	}
	b.WriteString("\nExample:\n\n    " + c.exampleLine() + "\n")
	return b.String()
}

// exampleLine is the example as a shell takes it.
func (c *command) exampleLine() string {
	line := strings.TrimSpace("coatbook calc " + c.name + " " + c.example)
	if c.input != "" {
		line = "printf '" + strings.ReplaceAll(c.input, "\n", `\n`) + "' | " + line
	}
	return line
}
