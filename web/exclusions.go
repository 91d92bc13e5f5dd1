package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// exclusionWords are the reasons for leaving values out.
var exclusionWords = map[string]string{"device_fault": "fault of the gauge", "wrong_spot": "measured at a wrong spot", "wrong_part": "measured on a wrong part", "typing_error": "typing error",
	"special_cause": "known special cause", "other": "other"}

// excludePage offers the readings of a film check to be left out of the statistics.
func (s *Server) excludePage(w http.ResponseWriter, r *http.Request) error {
	return s.renderExclude(w, r, http.StatusOK, "", nil)
}

func (s *Server) renderExclude(w http.ResponseWriter, r *http.Request, status int, problem string, wrong map[string]string) error {
	v := visitFrom(r)
	record, err := s.recordAt(r)
	if err != nil {
		return err
	}
	if record.Kind != quality.Film || record.SupersededBy.Valid || record.Verdict == quality.Voided {
		return &store.Refusal{Rule: store.RuleInvalid, Sentence: "Only the values of a film check that counts are in the statistics. There is nothing to leave out here."}
	}
	exclusions, err := s.store.ExclusionsOf(r.Context(), v.site.ID, record.ID)
	if err != nil {
		return err
	}
	href := "/records/" + record.ID.String()
	view := page.ExcludeView{Frame: s.deskFrame(v, "Leave values out", "Charts"), Subject: page.Ref{Text: record.Kind.Name() + " of " + record.Subject, Href: href}, Href: href, Action: href + "/exclude",
		Reason: r.PostFormValue("reason"), All: r.PostFormValue("all") != "", Problem: problem, Wrong: wrong, Codes: []page.ListChoice{{Text: "choose"}}}
	for _, code := range store.ExclusionCodes {
		view.Codes = append(view.Codes, page.ListChoice{Value: code, Text: exclusionWords[code], On: code == r.PostFormValue("code")})
	}
	for i, reading := range record.Check.Readings {
		if reading.Characteristic != "film_thickness" || reading.Absence != quality.Present {
			continue
		}
		seq := i + 1
		line := page.ExcludeReading{Seq: strconv.Itoa(seq), Text: fmt.Sprintf("%s %s, spot %d", reading.Shown(), reading.Unit.Symbol(), reading.Spot), On: slices.Contains(r.PostForm["seq"], strconv.Itoa(seq))}
		for _, x := range exclusions {
			if x.EndedAt == nil && (x.Seq == nil || *x.Seq == seq) {
				line.Out = "left out already"
			}
		}
		view.Readings = append(view.Readings, line)
	}
	for _, x := range exclusions {
		view.Out = append(view.Out, s.leftOut(v, x, "this record"))
	}
	return s.render(w, r, status, page.Exclude(view))
}

// leftOut words one exclusion.
func (s *Server) leftOut(v *visit, x store.Exclusion, record string) page.LeftOut {
	zone := v.site.Location()
	l := page.LeftOut{Record: page.Ref{Text: record, Href: "/records/" + x.RecordID.String()}, Values: excludedValues(x), Why: exclusionWords[x.Code] + ": " + x.Reason,
		By: x.By + ", " + longTime(x.At, zone)}
	if x.EndedAt != nil {
		l.Ended = fmt.Sprintf("Counts again since %s, by %s: %s", longTime(*x.EndedAt, zone), x.EndedBy, x.EndedFor)
	} else if deciders.admits(v) == nil {
		l.Action = "/exclusions/" + x.ID.String()
	}
	return l
}

// excludedValues prints what is left out, as entered.
func excludedValues(x store.Exclusion) string {
	text := strings.NewReplacer(" um", " µm").Replace(x.Values)
	if x.Seq == nil {
		return "all: " + text
	}
	return text
}

// exclude signs which readings are left out.
func (s *Server) exclude(w http.ResponseWriter, r *http.Request) error {
	record, err := s.recordAt(r)
	if err != nil {
		return err
	}
	var seqs []int
	wrong := map[string]string{}
	for _, text := range r.PostForm["seq"] {
		seq, err := strconv.Atoi(text)
		if err != nil {
			wrong["seq"] = "This reading is not on the record. Reload the page."
		}
		seqs = append(seqs, seq)
	}
	code, reason := r.PostFormValue("code"), strings.TrimSpace(r.PostFormValue("reason"))
	switch all := r.PostFormValue("all") != ""; {
	case all:
		seqs = nil
	case len(seqs) == 0:
		wrong["seq"] = "Tick the readings to leave out, or all of them."
	}
	if !slices.Contains(store.ExclusionCodes, code) {
		wrong["code"] = "Choose why the values are left out."
	}
	if len([]rune(reason)) < 5 {
		wrong["reason"] = "Say in a few words why the values are left out."
	}
	if len(wrong) > 0 {
		return s.renderExclude(w, r, http.StatusUnprocessableEntity, "", wrong)
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.Exclude(r.Context(), visitFrom(r).actor, record.ID, seqs, code, reason, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderExclude(w, r, http.StatusUnprocessableEntity, problem, wrong)
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/records/"+record.ID.String(), "The values are left out of the statistics. They stay on the record.")
}

// exclusionAt reads the exclusion that an address names.
func (s *Server) exclusionAt(r *http.Request) (store.Exclusion, error) {
	id, err := uuid.Parse(param(r, "id"))
	if err != nil {
		return store.Exclusion{}, fmt.Errorf("exclusion %q: %w", param(r, "id"), store.ErrNotFound)
	}
	return s.store.ExclusionByID(r.Context(), visitFrom(r).site.ID, id)
}

// readmitPage asks why values count again.
func (s *Server) readmitPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderReadmit(w, r, http.StatusOK, "", nil)
}

func (s *Server) renderReadmit(w http.ResponseWriter, r *http.Request, status int, problem string, wrong map[string]string) error {
	v := visitFrom(r)
	x, err := s.exclusionAt(r)
	if err != nil {
		return err
	}
	record, err := s.store.RecordByID(r.Context(), v.site.ID, x.RecordID)
	if err != nil {
		return err
	}
	if x.EndedAt != nil {
		return &store.Refusal{Rule: store.RuleChanged, Sentence: fmt.Sprintf("%s has taken these values back already.", x.EndedBy)}
	}
	href := "/records/" + record.ID.String()
	return s.render(w, r, status, page.Readmit(page.ReadmitView{Frame: s.deskFrame(v, "Take values back", "Charts"), Subject: page.Ref{Text: record.Kind.Name() + " of " + record.Subject, Href: href},
		Href: href, Action: "/exclusions/" + x.ID.String(), Reason: r.PostFormValue("reason"), Problem: problem, Wrong: wrong,
		Says: fmt.Sprintf("Left out: %s. %s: %s. By %s, %s.", excludedValues(x), upperFirst(exclusionWords[x.Code]), strings.TrimSuffix(x.Reason, "."), x.By, longTime(x.At, v.site.Location()))}))
}

// readmit signs that values count again.
func (s *Server) readmit(w http.ResponseWriter, r *http.Request) error {
	x, err := s.exclusionAt(r)
	if err != nil {
		return err
	}
	reason := strings.TrimSpace(r.PostFormValue("reason"))
	if len([]rune(reason)) < 5 {
		return s.renderReadmit(w, r, http.StatusUnprocessableEntity, "", map[string]string{"reason": "Say in a few words why the values count again."})
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.Readmit(r.Context(), visitFrom(r).actor, x.ID, reason, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderReadmit(w, r, http.StatusUnprocessableEntity, problem, wrong)
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/records/"+x.RecordID.String(), "The values count in the statistics again.")
}

// fillExclusions lists what of a film check is left out of the statistics, and leads to leaving out more.
func (s *Server) fillExclusions(ctx context.Context, v *visit, record store.Record, view *page.RecordView) error {
	if record.Kind != quality.Film {
		return nil
	}
	exclusions, err := s.store.ExclusionsOf(ctx, v.site.ID, record.ID)
	if err != nil {
		return err
	}
	for _, x := range exclusions {
		view.LeftOut = append(view.LeftOut, s.leftOut(v, x, "this record"))
	}
	if deciders.admits(v) == nil && !record.SupersededBy.Valid && record.Verdict != quality.Voided {
		view.Exclude = page.Ref{Text: "Leave values out of the statistics", Href: "/records/" + record.ID.String() + "/exclude"}
	}
	return nil
}
