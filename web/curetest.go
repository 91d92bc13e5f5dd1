package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var cureTestEntry = entryKind{kind: quality.CureTest, find: onLoad, read: readCureTest, show: showCureTest, hazards: []string{"cure_test", "hot"}}

// cureTest records the solvent rub of an oven load.
func (s *Server) cureTest(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, cureTestEntry)
}

var cureTestOnPartEntry = entryKind{kind: quality.CureTest, find: onPart, read: readCureTest, show: showCureTest, hazards: []string{"cure_test", "hot"}}

// cureTestOnPart records a solvent rub of one part.
func (s *Server) cureTestOnPart(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, cureTestOnPartEntry)
}

func (sh *sheet) rubSlots() (rubs, wait form.Slot) {
	rubs = form.Slot{Name: "rubs", Label: "Double rubs", Characteristic: "rubs", Unit: quality.DoubleRubs}
	wait = form.Slot{Name: "rub_wait", Label: "Wait before judging", Characteristic: "rub_wait", Unit: quality.Second, Optional: sh.form.Spec.CureTest == nil || sh.form.Spec.CureTest.WaitS == 0}
	return rubs, wait
}

func readCureTest(sh *sheet) (quality.Check, []store.Use) {
	rubs, wait := sh.rubSlots()
	check := quality.Check{Kind: quality.CureTest, Readings: sh.Readings([]form.Slot{rubs, wait}, sh.visit.comma())}
	rating := sh.Values.Get("rating")
	if !slices.ContainsFunc(quality.RubRatings, func(r quality.RubRating) bool { return r.Code == rating }) {
		sh.Say("rating", "Rating: choose how the rubbed place looks, 1 to 4.")
	}
	check.Ratings = append(check.Ratings, quality.Rating{Characteristic: quality.RatingRub, Code: rating})
	swab := sh.Values.Get("swab")
	if !slices.Contains(quality.SwabColours, swab) {
		sh.Say("swab", "Cloth: choose none, slight or strong.")
	}
	check.Ratings = append(check.Ratings, quality.Rating{Characteristic: quality.RatingSwab, Code: swab})
	if control := strings.TrimSpace(sh.Values.Get("control")); control != "" {
		if len([]rune(control)) > 80 {
			sh.Say("control", "The control panel's name has more than 80 characters.")
		}
		check.Ratings = append(check.Ratings, quality.Rating{Characteristic: quality.RatingControl, Code: control})
	}
	if sh.form.Subject.Kind == quality.OnPanel {
		return check, sh.use("solvent", "solvent") // the panel is what was rubbed
	}
	return check, append(sh.use("tested", "tested_part"), sh.use("solvent", "solvent")...)
}

func showCureTest(sh *sheet, e page.Entry) templ.Component {
	rubs, wait := sh.rubSlots()
	v := page.CureTestView{Entry: e, Rubs: sh.field(rubs, quality.Limits{}), Wait: sh.field(wait, quality.Limits{}), RatingProblem: sh.Wrong["rating"], SwabProblem: sh.Wrong["swab"],
		Control: ui.TextField{Name: "control", Label: "Control panel", Hint: "fully cured, same powder", Value: sh.Values.Get("control"), Problem: sh.Wrong["control"]}}
	if spec := sh.form.Spec.CureTest; spec != nil {
		v.Solvent = spec.Solvent
		v.Rubs.Limit = fmt.Sprintf("%d double rubs", spec.Rubs)
		if spec.WaitS > 0 {
			v.Wait.Limit = fmt.Sprintf("at least %d s", spec.WaitS)
		}
		if spec.Reference != "" {
			v.Control.Hint = spec.Reference
		}
	}
	for _, r := range quality.RubRatings {
		v.Ratings = append(v.Ratings, ui.Choice{Value: r.Code, Label: r.Code, Hint: r.Text, Chosen: r.Code == sh.Values.Get("rating")})
	}
	for _, c := range quality.SwabColours {
		v.Swab = append(v.Swab, ui.Choice{Value: c, Label: c, Chosen: c == sh.Values.Get("swab")})
	}
	v.Lot = sh.lotSelect("solvent", "solvent", store.Solvent, sh.form.Spec.Requires.Solvent)
	v.Tested = ui.Select{Name: "tested", Label: "Part that was rubbed", Empty: "a test panel of this load", Scan: "PART"}
	for _, p := range sh.form.Parts {
		if sh.form.Subject.Kind == quality.OnPanel {
			break
		}
		v.Tested.Choices = append(v.Tested.Choices, ui.Choice{Value: p.ID.String(), Label: p.Serial, Code: p.Serial, Chosen: p.ID.String() == sh.Values.Get("tested")})
	}
	return page.CureTest(v)
}
