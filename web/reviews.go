package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/page"
)

// mostReviews is how many sealed days the list shows.
const mostReviews = 60

// reviewsPage lists the sealed days and their reviews, the newest first.
func (s *Server) reviewsPage(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	days, err := s.store.SealedDays(ctx, v.site.ID, mostReviews)
	if err != nil {
		return err
	}
	waiting, err := s.store.WaitingReviews(ctx, v.site.ID)
	if err != nil {
		return err
	}
	lost, err := s.lostParts(r)
	if err != nil {
		return err
	}
	today, _ := v.site.ShopDay(s.store.Clock())
	view := page.ReviewsView{Title: "Every sealed day is reviewed", Lost: lost, Problem: unsealedWords(waiting, today)}
	if waiting.Days > 0 {
		view.Title = plural(waiting.Days, "day waits for its review", "days wait for their review")
	}
	for _, d := range days {
		row := page.ReviewRow{Day: page.Ref{Text: dayTitle(d.ShopDay, today), Href: reviewHref(d.ShopDay)}, Seal: fmt.Sprintf("no. %d, %s", d.Number, d.Head[:16]),
			Standing: page.Standing{Word: "not reviewed", Kind: "hold"}}
		if d.Reviewed() {
			row.Standing, row.Changes = page.Standing{Word: "reviewed", Kind: "pass"}, counted(len(d.Listed), "change")
			row.By = fmt.Sprintf("%s, %s", d.Reviewer, longTime(*d.ReviewedAt, v.site.Location()))
		}
		view.Rows = append(view.Rows, row)
	}
	view.Frame = s.deskFrame(v, "Reviews", "Day")
	return s.render(w, r, http.StatusOK, page.Reviews(view))
}

func reviewHref(day time.Time) string { return "/reviews/" + day.Format(time.DateOnly) }

func unsealedWords(u store.Unattended, today time.Time) string {
	if u.Unsealed.IsZero() {
		return ""
	}
	return dayTitle(u.Unsealed, today) + " is closed and not sealed. The server's log says why; most often the server lacks the site's seal key."
}

// lostParts words the jobs whose parts do not add up.
func (s *Server) lostParts(r *http.Request) (lost []page.LostParts, err error) {
	jobs, err := s.store.Unbalanced(r.Context(), visitFrom(r).site.ID)
	for _, b := range jobs {
		lost = append(lost, page.LostParts{Job: page.Ref{Text: "Job " + b.Number, Href: "/setup/jobs/" + b.Number}, Sentence: ": " + balanceWords(b) + "."})
	}
	return lost, err
}

// balanceWords says where the parts of a job are, and what is missing.
func balanceWords(b store.Balance) string {
	released := fmt.Sprintf("%d released", b.Released)
	if b.Shipped > 0 {
		released += fmt.Sprintf(" (%d shipped)", b.Shipped)
	}
	words := fmt.Sprintf("%d received = %s + %d scrapped + %d returned + %d regraded + %d in house", b.Received, released, b.Scrapped, b.Returned, b.Regraded, b.InHouse)
	if n := b.Missing(); n != 0 {
		return strings.Replace(words, "=", "is not", 1) + ": " + plural(n, "part is", "parts are") + " missing"
	}
	return words
}

// reviewPage shows what changed on a day.
func (s *Server) reviewPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderReview(w, r, http.StatusOK, "", nil)
}

func (s *Server) renderReview(w http.ResponseWriter, r *http.Request, status int, problem string, wrong map[string]string) error {
	v := visitFrom(r)
	day, ok := parseDay(chi.URLParam(r, "date"))
	if !ok {
		return fmt.Errorf("date %q: %w", chi.URLParam(r, "date"), store.ErrNotFound)
	}
	d, err := s.store.ReviewOf(r.Context(), v.site, day)
	if err != nil {
		return err
	}
	lost, err := s.lostParts(r)
	if err != nil {
		return err
	}
	today, _ := v.site.ShopDay(s.store.Clock())
	view := page.ReviewView{Title: "Review of " + dayTitle(day, today), Date: day.Format(time.DateOnly), Lost: lost, Problem: problem, Wrong: wrong, Note: r.PostFormValue("note"),
		Day: page.Ref{Text: "The day's work", Href: address("/day", "date", day.Format(time.DateOnly))}, Facts: sealFacts(d, v.site.Location()), Groups: changeGroups(d.Changes, v.site.Location(), day)}
	if len(d.Changes) == 0 {
		view.Empty = "Nothing was corrected, voided, entered late or passed over, and no gauge failed."
	}
	switch {
	case !d.Sealed:
		view.MayNot = "The day can be reviewed once it is sealed, ten minutes after it closes."
	case d.Reviewed():
	case deciders.admits(v) != nil:
		view.MayNot = "A supervisor or an engineer reviews the day."
	case d.MadeBy(v.actor.Person):
		view.MayNot = "You made or authorised one of these changes. Another supervisor or engineer reviews this day."
	default:
		view.Statement = []string{fmt.Sprintf("I, %s, have seen the %s of %s as sealed under number %d.", v.person.Name, plural(len(d.Changes), "change listed", "changes listed"),
			day.Format("Monday 2 January 2006"), d.Number), "Meaning of the signature: reviewed."}
	}
	view.Frame = s.deskFrame(v, view.Title, "Day")
	return s.render(w, r, status, page.Review(view))
}

// sealFacts say what is known of a day's seal and review.
func sealFacts(d store.ReviewedDay, zone *time.Location) []page.DeskFact {
	if !d.Sealed {
		return []page.DeskFact{page.Plain("Seal", "not sealed yet; more may come")}
	}
	facts := []page.DeskFact{page.Plain("Recorded", longTime(d.Begins, zone)+" to "+longTime(d.Ends, zone)),
		page.Plain("Seal", fmt.Sprintf("no. %d over %s groups of rows, %s", d.Number, grouped(int(d.Leaves)), longTime(d.SealedAt, zone))),
		page.Plain("Head", d.Head), page.Plain("Key", d.KeyID)}
	if d.Number == 1 {
		facts[0] = page.Plain("Recorded", "from the first entry to "+longTime(d.Ends, zone))
	}
	if !d.Reviewed() {
		return append(facts, page.Plain("Review", "waits"))
	}
	words := fmt.Sprintf("%s, %s, meaning reviewed", d.Reviewer, longTime(*d.ReviewedAt, zone))
	if d.Note != "" {
		words += ": " + d.Note
	}
	return append(facts, page.Plain("Review", words))
}

// changeWords are the headings of the kinds of changes, in the order of the page.
var changeWords = []struct{ kind, title string }{
	{store.ChangeCorrection, "Corrected"}, {store.ChangeVoid, "Voided"}, {store.ChangeReleaseVoid, "Releases that became void"}, {store.ChangeException, "Exceptions authorised"},
	{store.ChangeLate, "Entered late"}, {store.ChangeClock, "Clocks that were wrong"}, {store.ChangeGauge, "Gauges that failed"}, {store.ChangeSpec, "Finish specs approved or withdrawn"},
	{store.ChangeUnlocked, "Sign-ons unlocked"}, {store.ChangeKey, "Seal keys registered"},
}

func changeGroups(changes []store.Change, zone *time.Location, day time.Time) (groups []page.ReviewGroup) {
	for _, w := range changeWords {
		g := page.ReviewGroup{Title: w.title}
		for _, c := range changes {
			if c.Kind != w.kind {
				continue
			}
			row := page.ReviewChange{When: clock(c.At, zone, day), Stamp: stamp(c.At, zone), What: page.Ref{Text: upperFirst(c.Subject)}, Detail: c.Detail, Who: dash(c.Person)}
			if c.RecordID.Valid {
				row.What.Href = "/records/" + c.RecordID.UUID.String()
			}
			if c.By != "" {
				row.Who += ", authorised by " + c.By
			}
			if seconds, err := strconv.Atoi(c.Detail); c.Kind == store.ChangeClock && err == nil {
				row.Detail = "off by " + (time.Duration(seconds) * time.Second).String()
			}
			g.Rows = append(g.Rows, row)
		}
		if len(g.Rows) > 0 {
			groups = append(groups, g)
		}
	}
	return groups
}

// signReview signs the review of a day.
func (s *Server) signReview(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	day, ok := parseDay(chi.URLParam(r, "date"))
	if !ok {
		return fmt.Errorf("date %q: %w", chi.URLParam(r, "date"), store.ErrNotFound)
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.SignReview(ctx, v.actor, day, r.PostFormValue("note"), proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderReview(w, r, http.StatusUnprocessableEntity, problem, wrong)
	}
	if err != nil {
		return err
	}
	s.flash(r, "The review of "+day.Format("2 January")+" is signed.")
	http.Redirect(w, r, "/reviews", http.StatusSeeOther)
	return nil
}

// firstReviews are the days that wait for their review or their seal, on the page of today.
func (d *dayRead) firstReviews() (items []page.DayFirst) {
	if !d.day.Equal(d.today) {
		return nil
	}
	if sentence := unsealedWords(d.waiting, d.today); sentence != "" {
		items = append(items, page.DayFirst{Kind: "fail", Link: page.Ref{Text: "A day is not sealed", Href: "/reviews"}, Rest: ": " + sentence})
	}
	if n := d.waiting.Days; n > 0 {
		items = append(items, page.DayFirst{Kind: "none", Link: page.Ref{Text: plural(n, "day waits for its review", "days wait for their review"), Href: "/reviews"},
			Rest: ", the oldest " + dayTitle(d.waiting.Oldest, d.today) + "."})
	}
	return items
}
