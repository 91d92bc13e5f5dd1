package web

import (
	"fmt"
	"strings"
	"time"

	"coatbook/quality/gauge"
	"coatbook/quality/process"
	"coatbook/store"
	"coatbook/web/page"
)

// A figureGauge is what the studies of the gauges behind a figure allow to be said with it.
type figureGauge struct {
	gauge  *process.Gauge // nil when no gauge has a study that holds
	trust  gauge.Trust
	worst  store.GaugeBehind
	groups string        // why the groups told apart are too few
	fact   page.DeskFact // names the study of each gauge
}

// gaugeOf reads the studies of the gauges behind a figure: the worst one rules.
func gaugeOf(gauges []store.GaugeBehind, day time.Time) figureGauge {
	f := figureGauge{fact: page.DeskFact{Term: "Gauge study"}}
	var words []string
	for _, g := range gauges {
		s := g.Study
		trust := s.Trust(day)
		words = append(words, studyWords(g, trust))
		f.fact.Refs = append(f.fact.Refs, page.Ref{Text: words[len(words)-1], Href: subjectHref("instrument", g.Code)})
		if trust == "" {
			continue
		}
		if f.gauge == nil {
			f.gauge = &process.Gauge{}
		}
		if f.gauge.Study == nil || s.GRR > *f.gauge.Study {
			grr := s.GRR
			f.gauge.Study, f.gauge.Of, f.worst = &grr, shareOf(s), g
		}
		if s.NDC != nil && (f.gauge.Categories == nil || *s.NDC < *f.gauge.Categories) {
			f.gauge.Categories = s.NDC
			if *s.NDC < process.GaugeGroups {
				f.groups = fmt.Sprintf("%s tells only %s of parts apart; %d are asked", g.Code, counted(*s.NDC, "group"), process.GaugeGroups)
			}
		}
	}
	if f.gauge != nil {
		f.trust = gauge.TrustIn(*f.gauge.Study, f.gauge.Categories)
	}
	if len(gauges) == 0 {
		f.fact = page.Plain("Gauge study", "no gauge is named on these records")
	}
	return f
}

// shareOf says what the spread of a gauge is a share of.
func shareOf(s store.Study) string {
	if s.Of == "study" {
		return "spread"
	}
	return s.Of
}

func studyWords(g store.GaugeBehind, trust gauge.Trust) string {
	s := g.Study
	switch {
	case s.MadeOn.IsZero():
		return g.Code + ": none on record, so how much of the spread is the gauge's is not known"
	case trust == "":
		return fmt.Sprintf("%s: the study of %s ran out on %s", g.Code, s.MadeOn.Format("2 January 2006"), s.ValidTo.Format("2 January 2006"))
	}
	words := fmt.Sprintf("%s: study of %s, %s, %s %% of the %s", g.Code, s.MadeOn.Format("2 January 2006"), methodWords(s.Method), setupNumber(s.GRR), shareOf(s))
	if s.NDC != nil {
		words += fmt.Sprintf(", %s told apart", counted(*s.NDC, "group"))
	}
	return words + ": " + string(trust)
}

func methodWords(method string) string {
	switch method {
	case "anova":
		return "by analysis of variance"
	case "range":
		return "by average and range"
	}
	return "result entered"
}

// withheld says why no index is given; empty unless the gauge forbids it.
func (f figureGauge) withheld() string {
	if f.trust != gauge.Withheld {
		return ""
	}
	return fmt.Sprintf("Gauge %s takes %s %% of the %s by its study of %s; over %s %% the index would say more about the gauge than about the parts.",
		f.worst.Code, setupNumber(*f.gauge.Study), f.gauge.Of, f.worst.Study.MadeOn.Format("2 January 2006"), setupNumber(process.GaugeMostGRR))
}

// marked says with what remark an index stands; empty when it stands freely or nothing is known.
func (f figureGauge) marked() string {
	if f.trust != gauge.Marked {
		return ""
	}
	var why []string
	if *f.gauge.Study >= process.GaugeGoodGRR {
		why = append(why, fmt.Sprintf("gauge %s takes %s %% of the %s", f.worst.Code, setupNumber(*f.gauge.Study), f.gauge.Of))
	}
	if f.groups != "" {
		why = append(why, "gauge "+f.groups)
	}
	return "Marked: " + strings.Join(why, "; ") + "."
}
