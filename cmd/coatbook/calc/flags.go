package calc

import (
	"io"
	"math"
	"slices"
	"strings"
)

// A flagDef is one flag of a command. A flag without a value is a switch.
type flagDef struct{ name, value, help string }

// The flags that commands share.
var (
	jsonFlag  = flagDef{"json", "", "print one JSON object, numbers in full precision"}
	svgFlag   = flagDef{"svg", "FILE", "write a picture"}
	valueFlag = flagDef{"value", "COL", "column of the values"}
	levelFlag = flagDef{"confidence", "P", "confidence of intervals and bounds, default 0.95"}
)

// A call is one command line.
type call struct {
	command *command
	flags   map[string]string
	args    []string
	help    bool
	stdin   io.Reader
	file    io.Closer
}

func isHelp(arg string) bool { return arg == "--help" || arg == "-help" || arg == "-h" }

// parse reads flags and arguments, which may stand in any order. A word that begins like a negative number is an argument.
func (c *command) parse(args []string) (*call, error) {
	call := &call{command: c, flags: map[string]string{}}
	for i := 0; i < len(args); i++ {
		arg := args[i]
		switch {
		case isHelp(arg):
			call.help = true
			return call, nil
		case arg == "--":
			call.args = append(call.args, args[i+1:]...)
			i = len(args)
		case !strings.HasPrefix(arg, "-") || arg == "-" || len(arg) > 1 && strings.ContainsRune("0123456789.", rune(arg[1])):
			call.args = append(call.args, arg)
		default:
			used, err := call.flag(arg, args[i+1:])
			if err != nil {
				return nil, err
			}
			i += used
		}
	}
	most := c.arguments
	if c.readsFile {
		most = 1
	}
	if len(call.args) > most {
		return nil, refuse("“%s” is one argument too many; “coatbook calc %s --help” shows the form", clip(call.args[most]), c.name)
	}
	return call, nil
}

// flag takes one flag, and reports how many of the words behind it belong to it.
func (c *call) flag(arg string, rest []string) (used int, err error) {
	name, value, joined := strings.Cut(strings.TrimPrefix(arg, "--"), "=")
	at := slices.IndexFunc(c.command.flags, func(f flagDef) bool { return f.name == name })
	if at < 0 || !strings.HasPrefix(arg, "--") {
		return 0, refuse("“%s” is not a flag of this calculation; “coatbook calc %s --help” lists them", clip(arg), c.command.name)
	}
	if c.has(name) {
		return 0, refuse("--%s stands there twice", name)
	}
	def := c.command.flags[at]
	switch {
	case def.value == "" && joined:
		return 0, refuse("--%s takes no value", name)
	case def.value != "" && !joined:
		if len(rest) == 0 || strings.HasPrefix(rest[0], "--") {
			return 0, refuse("--%s needs a value: --%s %s", name, name, def.value)
		}
		value, used = rest[0], 1
	}
	if def.value != "" && value == "" {
		return 0, refuse("--%s needs a value: --%s %s", name, name, def.value)
	}
	c.flags[name] = value
	return used, nil
}

func (c *call) has(name string) bool {
	_, given := c.flags[name]
	return given
}

func (c *call) text(name string) string { return c.flags[name] }

// or returns the flag's text, or a default.
func (c *call) or(name, otherwise string) string {
	if c.has(name) {
		return c.flags[name]
	}
	return otherwise
}

// need refuses when one of the flags is missing.
func (c *call) need(names ...string) error {
	for _, name := range names {
		if !c.has(name) {
			at := slices.IndexFunc(c.command.flags, func(f flagDef) bool { return f.name == name })
			return refuse("--%s %s is missing; “coatbook calc %s --help” shows the form", name, c.command.flags[at].value, c.command.name)
		}
	}
	return nil
}

// without refuses flags that have no meaning in the form that was chosen.
func (c *call) without(form string, names ...string) error {
	for _, name := range names {
		if c.has(name) {
			return refuse("--%s has no meaning %s", name, form)
		}
	}
	return nil
}

// one returns the flag's text, which must be one of the choices; the first is the default.
func (c *call) one(name string, choices ...string) (string, error) {
	text := c.or(name, choices[0])
	if !slices.Contains(choices, text) {
		return "", refuse("--%s is “%s”; give one of %s", name, clip(text), strings.Join(choices, ", "))
	}
	return text, nil
}

// number returns the flag's number, nil where it is not given.
func (c *call) number(name string) (*float64, error) {
	if !c.has(name) {
		return nil, nil
	}
	v, why := parseNumber(c.flags[name])
	if why != "" {
		return nil, refuse("--%s: %s", name, why)
	}
	return &v, nil
}

// numberOr returns the flag's number, or a default.
func (c *call) numberOr(name string, otherwise float64) (float64, error) {
	v, err := c.number(name)
	if err != nil || v == nil {
		return otherwise, err
	}
	return *v, nil
}

// whole returns the flag's whole number, which must not be negative.
func (c *call) whole(name string) (int, error) {
	v, err := c.number(name)
	if err != nil || v == nil {
		return 0, err
	}
	if *v != math.Trunc(*v) || *v < 0 || *v > 1e9 {
		return 0, refuse("--%s: “%s” is not a whole number from 0 to 1000000000", name, clip(c.flags[name]))
	}
	return int(*v), nil
}
