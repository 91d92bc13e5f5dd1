package web

import (
	"slices"
	"strings"

	"coatbook/quality"
	"coatbook/web/page"
)

// What the entry pages say of a characteristic that the spec samples apart from its check.

// onSample returns where the part stands for a characteristic of the check that the spec samples apart, nil where it does not.
func (sh *sheet) onSample(what quality.Sampled) *quality.Item {
	for i, item := range sh.form.Circumstance.Sampled {
		if item.Sampled() == what {
			return &sh.form.Circumstance.Sampled[i]
		}
	}
	return nil
}

// asked reports whether a characteristic is asked for on this part.
func (sh *sheet) asked(what quality.Sampled) bool {
	item := sh.onSample(what)
	return item == nil || item.Due()
}

// apart says where the part stands for characteristics that may be sampled apart and are entered together, in the fields typed: why
// they are asked for, or that none of them is.
func (sh *sheet) apart(typed []string, together ...quality.Sampled) page.Apart {
	var due, others []string
	for _, what := range together {
		switch item := sh.onSample(what); {
		case item == nil:
		case item.Due():
			due = append(due, item.Sentence)
		default:
			others = append(others, item.Sentence)
		}
	}
	if len(others) < len(together) {
		return page.Apart{Why: strings.Join(due, " ")}
	}
	entered := slices.ContainsFunc(typed, func(name string) bool { return sh.Values.Get(name) != "" || sh.Wrong[name] != "" })
	return page.Apart{Why: strings.Join(others, " ") + " A value that is entered all the same is judged.", Folded: true, Open: entered}
}
