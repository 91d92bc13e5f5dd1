package store

import (
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"coatbook/quality"
)

// filmOf states the film of one part in the site's unit.
func (d *draft) filmOf(h Header) CertificateFilm {
	unit := quality.Unit(d.st.FilmUnit)
	f := CertificateFilm{Serial: h.Subject, Unit: unit.Symbol(), Limit: h.Rule, Verdict: string(h.Verdict), At: d.at(h.ObservedAt), By: h.Person, Amended: d.amended[h.ID]}
	for _, u := range d.uses {
		if u.RecordID == h.ID && u.Role == "gauge" {
			f.Device = u.Code
		}
	}
	spots := d.spotsOf(h.ID)
	if len(spots) == 0 {
		return f
	}
	least, most := spots[0].least, spots[0].most
	sum := 0.0
	for _, s := range spots {
		f.N += s.n
		sum += s.mean()
		least, most = min(least, s.least), max(most, s.most)
	}
	f.Mean, f.Min, f.Max = filmDigits(sum/float64(len(spots)), unit), filmDigits(least, unit), filmDigits(most, unit)
	f.Areas = areasOf(spots, unit)
	return f
}

// A filmPlace is what was read at one spot, in µm.
type filmPlace struct {
	area        string
	n           int
	sum         float64
	least, most float64
}

func (p filmPlace) mean() float64 { return p.sum / float64(p.n) }

// spotsOf gathers the film readings of a record by spot, in the order of measuring.
func (d *draft) spotsOf(record uuid.UUID) []filmPlace {
	type key struct {
		location string
		spot     int
	}
	var spots []filmPlace
	at := map[key]int{}
	for _, r := range d.film[record] {
		k := key{r.Location, r.Spot}
		i, known := at[k]
		if !known {
			i = len(spots)
			at[k] = i
			area := r.Location
			if area == "" {
				area = fmt.Sprintf("spot %d", r.Spot)
			}
			spots = append(spots, filmPlace{area: area, least: r.Value, most: r.Value})
		}
		s := &spots[i]
		s.n++
		s.sum += r.Value
		s.least, s.most = min(s.least, r.Value), max(s.most, r.Value)
	}
	return spots
}

// areasOf puts spots of one area together: their number of readings, the mean of the spot means, and the least spot mean.
func areasOf(spots []filmPlace, unit quality.Unit) []CertificateArea {
	var areas []CertificateArea
	var names []string
	bySpot := map[string][]filmPlace{}
	for _, s := range spots {
		if bySpot[s.area] == nil {
			names = append(names, s.area)
		}
		bySpot[s.area] = append(bySpot[s.area], s)
	}
	for _, name := range names {
		sum, least, n := 0.0, bySpot[name][0].mean(), 0
		for _, s := range bySpot[name] {
			sum += s.mean()
			least = min(least, s.mean())
			n += s.n
		}
		areas = append(areas, CertificateArea{Name: name, N: n, Mean: filmDigits(sum/float64(len(bySpot[name])), unit), Min: filmDigits(least, unit)})
	}
	return areas
}

// filmDigits prints a thickness with 0.1 µm or 0.01 mil.
func filmDigits(um float64, unit quality.Unit) string {
	value, decimals := um, 1
	if unit == quality.Mil {
		value, decimals = um/25.4, 2
	}
	return fmt.Sprintf("%.*f", decimals, value)
}

// resultOf states a record by its findings.
func (d *draft) resultOf(h Header) CertificateResult {
	r := CertificateResult{Kind: h.Kind, On: h.SubjectKind + " " + h.Subject, Parts: d.covers[h.ID], Verdict: string(h.Verdict), Rule: h.Rule, At: d.at(h.ObservedAt), By: h.Person,
		Amended: d.amended[h.ID]}
	for _, f := range d.findings[h.ID] {
		line := CertificateLine{What: f.Rule, Place: f.Place, Limit: f.Limit, Verdict: f.Verdict, Text: f.Text}
		if f.Value != nil {
			line.Value, line.Unit = quality.Number(*f.Value, 3), quality.Unit(f.Unit).Symbol()
		}
		r.Lines = append(r.Lines, line)
	}
	return r
}

// stateMethods says for each kind and spec how it was made, by which rule it was decided, and on how many of how many parts.
func (d *draft) stateMethods() {
	for _, kind := range quality.Kinds {
		type group struct {
			spec    certifiedSpec
			rule    string
			records int
			parts   map[string]bool
			on      string
		}
		var groups []*group
		for _, h := range d.headers {
			s, ok := d.specs[h.ID]
			if h.Kind != kind || !ok {
				continue
			}
			i := slices.IndexFunc(groups, func(g *group) bool { return g.spec.ID == s.ID && g.rule == h.Rule })
			if i < 0 {
				i = len(groups)
				groups = append(groups, &group{spec: s, rule: h.Rule, parts: map[string]bool{}, on: h.SubjectKind})
			}
			groups[i].records++
			for _, serial := range d.covers[h.ID] {
				groups[i].parts[serial] = true
			}
		}
		for _, g := range groups {
			m := CertificateMethod{Kind: kind, Spec: g.spec.Code + " rev " + g.spec.Revision, Rule: g.rule, Sample: sampleWords(g.on, g.records, len(g.parts), len(d.parts))}
			body, err := g.spec.Spec()
			if err == nil {
				m.Method = body.Method(kind)
			}
			if m.Method == "" {
				m.Method = kind.Name()
			}
			d.content.Methods = append(append(d.content.Methods, m), d.apart(kind, g.spec, body)...)
		}
	}
}

// apart are the methods of the characteristics of a check that its spec samples apart from it, with how many parts have a value
// of their own.
func (d *draft) apart(kind quality.Kind, spec certifiedSpec, body quality.FinishSpec) []CertificateMethod {
	var methods []CertificateMethod
	for _, what := range quality.Sampleable {
		rule, sampled := body.Sampling[what]
		if !sampled || what.Check() != kind || what.Characteristic() == "" {
			continue
		}
		m := CertificateMethod{Kind: kind, What: what, Spec: spec.Code + " rev " + spec.Revision, Method: body.MethodOf(what), Rule: rule.String()}
		if slices.ContainsFunc(d.content.Methods, func(o CertificateMethod) bool { return o.What == what && o.Spec == m.Spec }) {
			continue // two rules of the check share its draw
		}
		n := 0
		for _, p := range d.parts {
			for _, item := range p.items {
				if id, err := uuid.Parse(item.RecordID); err == nil && item.Sampled() == what && d.specs[id].ID == spec.ID {
					n++
				}
			}
		}
		m.Sample = sampleWords("part", n, n, len(d.parts))
		methods = append(methods, m)
	}
	return methods
}

// sampleWords says how many checks stand for how many of the parts.
func sampleWords(on string, records, parts, all int) string {
	if on == "part" {
		return fmt.Sprintf("%d of %d parts checked", parts, all)
	}
	noun := map[string]string{"rack": "rack", "load": "oven load", "panel": "witness panel"}[on]
	if noun == "" {
		noun = on
	}
	if records != 1 {
		noun += "s"
	}
	return fmt.Sprintf("%d %s, for %d of %d parts", records, noun, parts, all)
}

// stateUses lists each device and lot once.
func (d *draft) stateUses() {
	for _, u := range d.uses {
		if u.Device {
			device := CertificateDevice{Code: u.Code, Kind: u.Kind, Serial: u.Serial, Certificate: u.Certificate, Due: u.Until}
			if !slices.Contains(d.content.Devices, device) {
				d.content.Devices = append(d.content.Devices, device)
			}
			continue
		}
		lot := CertificateLot{Role: u.Role, Product: u.Kind, Maker: u.Maker, Lot: u.Code, Certificate: u.Certificate, Expires: u.Until}
		if !slices.Contains(d.content.Lots, lot) {
			d.content.Lots = append(d.content.Lots, lot)
		}
	}
	slices.SortStableFunc(d.content.Devices, func(a, b CertificateDevice) int { return strings.Compare(a.Code, b.Code) })
	slices.SortStableFunc(d.content.Lots, func(a, b CertificateLot) int { return strings.Compare(a.Role+a.Lot, b.Role+b.Lot) })
}

// stateVerdict says what the certificate comes to, and how values were decided.
func (d *draft) stateVerdict() {
	c := &d.content
	var specs []string
	for _, s := range c.Specs {
		specs = append(specs, s.Code+" revision "+s.Revision)
	}
	under := 0
	for _, p := range c.Parts {
		if p.Concession != "" {
			under++
		}
	}
	subject := fmt.Sprintf("Each of the %d parts listed", len(c.Parts))
	if len(c.Parts) == 1 {
		subject = "The part listed"
	}
	switch under {
	case 0:
		c.Verdict = fmt.Sprintf("%s conforms to %s.", subject, strings.Join(specs, " and "))
	case len(c.Parts):
		c.Verdict = fmt.Sprintf("%s conforms to %s except for what the customer accepted under the concessions below.", subject, strings.Join(specs, " and "))
	default:
		c.Verdict = fmt.Sprintf("%s conforms to %s, %d of them except for what the customer accepted under the concessions below.", subject, strings.Join(specs, " and "), under)
	}
	c.Rule = "A value equal to a limit is within it. Values are compared in the unit of the limit and before rounding. The rule of each check, and a guard band where the specification sets one, stand beside its method."
}
