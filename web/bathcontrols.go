package web

import (
	"net/http"
	"net/url"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
)

var (
	controlWhat      = form.Entry{Kind: form.Pick, Name: "characteristic", Label: "What is read", Options: controlledOptions()}
	controlMethod    = form.Entry{Kind: form.Pick, Name: "method", Label: "How", Options: methodOptions()}
	controlUnit      = form.Entry{Kind: form.Pick, Name: "unit", Label: "Limits in", Options: controlUnits()}
	controlNominal   = form.Entry{Kind: form.Number, Name: "nominal", Label: "Nominal value", Low: 0, High: 20000, Optional: true}
	controlMin       = form.Entry{Kind: form.Number, Name: "minimum", Label: "Minimum", Low: 0, High: 20000, Optional: true}
	controlMax       = form.Entry{Kind: form.Number, Name: "maximum", Label: "Maximum", Low: 0, High: 20000, Optional: true}
	controlRhythm    = form.Entry{Kind: form.Pick, Name: "rhythm", Label: "How often", Options: optionsOf("hours", "Every so many hours of work", "shift", "In each shift", "day", "Once in 24 hours of work", "week", "Once a week")}
	controlHours     = form.Entry{Kind: form.Number, Name: "every_hours", Label: "Hours of work", Unit: "h", Hint: "only for every so many hours", Low: 0.5, High: 1000, Optional: true}
	controlSource    = form.Entry{Kind: form.Text, Name: "source", Label: "Where the limits come from", Hint: "such as the supplier's data sheet with its date", Max: 120}
	controlWatched   = form.Entry{Kind: form.Tick, Name: "watched", Label: "Watched", Hint: "untick to end the control"}
	controlFactor    = form.Entry{Kind: form.Number, Name: "factor", Label: "Factor", Unit: "% for each mL", Low: 0.0001, High: 100, Optional: true}
	controlNormality = form.Entry{Kind: form.Number, Name: "normality", Label: "Normality of the titrant", Unit: "N", Low: 0.001, High: 20, Optional: true}
	controlWeight    = form.Entry{Kind: form.Number, Name: "equivalent_weight", Label: "Equivalent weight", Unit: "g/mol", Hint: "40 for NaOH, 53 for Na₂CO₃", Low: 1, High: 1000, Optional: true}
	controlSample    = form.Entry{Kind: form.Number, Name: "sample_ml", Label: "Sample", Unit: "mL", Low: 0.1, High: 1000, Optional: true}
	controlReference = form.Entry{Kind: form.Number, Name: "reference_c", Label: "Reference temperature", Unit: "°C", Low: 0, High: 50, Optional: true}
	controlPerDegree = form.Entry{Kind: form.Number, Name: "per_degree", Label: "Change for each °C", Unit: "%", Hint: "usually 2", Low: 0, High: 5, Optional: true}

	controlEntries = []form.Entry{controlWhat, controlMethod, controlUnit, controlNominal, controlMin, controlMax, controlRhythm, controlHours, controlSource, controlWatched, controlFactor,
		controlNormality, controlWeight, controlSample, controlReference, controlPerDegree}
)

func controlledOptions() []form.Option {
	var out []form.Option
	for _, code := range quality.BathControlled {
		if c, ok := quality.CharacteristicOf(code); ok {
			out = append(out, form.Option{Value: code, Label: c.Name})
		}
	}
	return out
}

func methodOptions() []form.Option {
	var out []form.Option
	for _, m := range []quality.BathMethod{quality.ReadDirect, quality.TitrateFactor, quality.TitrateNormality, quality.TitrateTwice, quality.CorrectedToTemp, quality.WeighPanel} {
		out = append(out, form.Option{Value: string(m), Label: upperFirst(quality.BathMethodNames[m])})
	}
	return out
}

// controlUnits are the units that limits of a bath may be written in.
func controlUnits() []form.Option {
	var out []form.Option
	seen := map[quality.Unit]bool{}
	for _, code := range quality.BathControlled {
		c, _ := quality.CharacteristicOf(code)
		for _, u := range c.Units {
			if !seen[u] {
				seen[u] = true
				label := u.Symbol()
				if u == quality.PH {
					label = "pH"
				}
				out = append(out, form.Option{Value: string(u), Label: label})
			}
		}
	}
	return out
}

// freshControl is the form of a control as it opens.
func freshControl() *form.Answers {
	return form.New(values("rhythm", "day", "watched", "yes", "reference_c", "20", "per_degree", "2"))
}

// setBathControl sets from now on what is read in a bath, how, how often and where it must lie.
func (s *Server) setBathControl(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bath(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	unit := quality.Unit(a.Pick(controlUnit))
	c := store.BathControl{Rhythm: a.Pick(controlRhythm), EveryHours: a.Amount(controlHours), Source: a.Text(controlSource), Active: a.Yes(controlWatched.Name)}
	c.BathControl = quality.BathControl{Characteristic: a.Pick(controlWhat), Method: quality.BathMethod(a.Pick(controlMethod)), Unit: unit, Nominal: a.Number(controlNominal), Factor: a.Amount(controlFactor),
		Normality: a.Amount(controlNormality), EquivalentWeight: a.Amount(controlWeight), SampleML: a.Amount(controlSample), ReferenceC: a.Amount(controlReference), PerDegree: a.Amount(controlPerDegree) / 100}
	for _, end := range []struct {
		entry form.Entry
		limit **quality.Limit
	}{{controlMin, &c.Limits.Low}, {controlMax, &c.Limits.High}} {
		if v := a.Number(end.entry); v != nil {
			*end.limit = &quality.Limit{Value: *v, Unit: unit}
		}
	}
	problem, err := attempt(a, controlEntries, func() error { return s.store.SetBathControl(r.Context(), visitFrom(r).actor, b.ID, c) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderBath(w, r, http.StatusUnprocessableEntity, b, bathStands(b), "", a, problem)
	}
	said := "is watched from now on."
	if !c.Active {
		said = "is no longer watched."
	}
	return s.done(w, r, "/setup/baths/"+url.PathEscape(b.Code), c.Name()+" of bath "+b.Code+" "+said)
}
