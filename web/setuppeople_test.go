package web

import (
	"net/http"
	"net/url"
	"reflect"
	"strings"
	"testing"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
)

func TestInvitationIsShownOnceAndWorksOnce(t *testing.T) {
	d := openSetupDesk(t)
	p, err := d.db.AddPerson(t.Context(), d.actor, store.NewPerson{Name: "Ines Varga", SignOnName: "ines", Roles: []string{store.Inspector}})
	if err != nil {
		t.Fatal(err)
	}
	status, body := d.post("/setup/people/" + p.ID.String() + "/invite")
	d.must(status, body, "It works once, within three days, and is not shown again")
	secret := strings.TrimPrefix(d.link(body, `/invite/[A-Za-z0-9._-]{20,}`), "/invite/")
	if _, err := d.db.Accept(t.Context(), secret, "381642", "", "", ""); err != nil {
		t.Fatalf("the link on the page does not work: %v", err)
	}
	if _, err := d.db.Accept(t.Context(), secret, "927351", "", "", ""); err == nil {
		t.Error("the link worked twice")
	}
	if _, body = d.get("/setup/people/" + p.ID.String()); strings.Contains(body, secret) {
		t.Error("the secret is shown again on the person's page")
	}
}

func TestBadgeIsShownOnceWithItsCode(t *testing.T) {
	d := openSetupDesk(t)
	status, body := d.post("/setup/people/" + d.actor.Person.String() + "/badge")
	d.must(status, body, "Print this page and cut the badge out")
	if !strings.Contains(body, `aria-label="Code of BADGE`) {
		t.Error("the badge's code is not drawn")
	}
	if _, body = d.get("/setup/people/" + d.actor.Person.String()); strings.Contains(body, "BADGE") || !strings.Contains(body, "badge") {
		t.Error("the person's page must say that there is a badge and not show it")
	}
}

func TestDeactivatedPersonIsOutAtTheNextRequest(t *testing.T) {
	d := openSetupDesk(t)
	admin := d.client
	ines := d.addSignedPerson("Ines Varga", "ines", store.Supervisor)
	d.signOn("ines", ines)
	if status, _ := d.get("/setup/jobs"); status != http.StatusOK {
		t.Fatalf("the supervisor cannot see the jobs: %d", status)
	}
	theirs := d.client
	d.client = admin
	status, body := d.postAll("/setup/people/"+ines.ID.String(), url.Values{"roles": {"supervisor"}, "language": {"en"}})
	d.must(status, body, "left")
	d.client = theirs
	d.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	if status, _ := d.get("/setup/jobs"); status == http.StatusOK {
		t.Error("a person who was deactivated still sees the jobs")
	}
}

func TestAdministratorCannotLockThemselvesOut(t *testing.T) {
	d := openSetupDesk(t)
	at := "/setup/people/" + d.actor.Person.String()
	status, body := d.postAll(at, url.Values{"roles": {"administrator"}, "language": {"en"}})
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "cannot deactivate yourself") {
		t.Errorf("status %d, problems %v", status, problemsOn(body))
	}
	status, body = d.postAll(at, url.Values{"roles": {"engineer"}, "language": {"en"}, "active": {"yes"}})
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "administrator role from yourself") {
		t.Errorf("status %d, problems %v", status, problemsOn(body))
	}
}

func TestTabletEnrolmentAsksWhereItIsUsedAndWarns(t *testing.T) {
	d := openSetupDesk(t)
	status, body := d.get("/setup/tablets")
	d.must(status, body, "Add the station first")
	st, err := d.db.AddStation(t.Context(), d.actor, store.Station{Code: "FINAL-1", Name: "Final bench", Kind: "final"})
	if err != nil {
		t.Fatal(err)
	}
	status, body = d.get("/setup/tablets")
	d.must(status, body, "must stay outside it unless it is rated for it")
	status, body = d.post("/setup/tablets", "name", "Final tablet", "station", st.ID.String(), "scale", "132")
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `id="location-problem"`) {
		t.Errorf("without a location: status %d, problems %v", status, problemsOn(body))
	}
	status, body = d.post("/setup/tablets", "name", "Final tablet", "station", st.ID.String(), "scale", "132", "location", "unclassified")
	d.must(status, body, "/enrol/")
	status, body = d.get("/setup/tablets")
	d.must(status, body, "link not used yet")
	tablet := d.link(body, `/setup/tablets/`+idPattern)
	status, body = d.post(tablet, "reason", "fell into the rinse")
	d.must(status, body, "Final tablet is revoked")
}

// Each spec, written into the form and read back, is the same spec.
func TestSpecFormLosesNothing(t *testing.T) {
	size := func(v float64, u quality.Unit) *quality.Limit { return &quality.Limit{Value: v, Unit: u} }
	full := readSpec(form.New(fullDraft()))
	if len(full.Asks()) != len(quality.Kinds) {
		t.Fatalf("the full draft asks for %v, want every kind", full.Asks())
	}
	for name, spec := range map[string]quality.FinishSpec{
		"full":  full,
		"blank": blankSpec(),
		"sampling": {Version: quality.SpecVersion, MaxCycles: 1, Weld: &quality.WeldSpec{Level: "C"}, Sampling: map[quality.Sampled]quality.SampleRule{
			quality.Sampled(quality.Weld): {By: quality.SampleLot, Plan: quality.PlanZero, SharePercent: 2.5, ConfidencePercent: 90}, quality.Sampled(quality.Finish): {By: quality.SampleLot, Plan: quality.PlanAQL, Level: "S-3", AQL: 0.065, Reduced: true},
			quality.Sampled(quality.CureTest): {By: quality.SampleLoad, Number: 1}, quality.Sampled(quality.Film): {By: quality.SampleLot, Plan: quality.PlanCoating}}},
		"sampled apart": sheenSpec,
		"sizes of welds sampled apart": {Version: quality.SpecVersion, MaxCycles: 1, Weld: &quality.WeldSpec{Level: "C", Leg: quality.AtLeast(4, quality.Millimetre), Throat: quality.AtLeast(3, quality.Millimetre)},
			Sampling: map[quality.Sampled]quality.SampleRule{quality.WeldLeg: {By: quality.SampleLot, Plan: quality.PlanCoating}, quality.WeldThroat: {By: quality.SampleLot, Plan: quality.PlanAQL, Level: "II", AQL: 4}}},
		"first article": {Version: quality.SpecVersion, MaxCycles: 1, Weld: &quality.WeldSpec{Level: "C"}, FirstArticle: &quality.FirstArticleSpec{GapDays: 180}},
		"mils, share rule": {Version: quality.SpecVersion, MaxCycles: 3, Film: &quality.FilmSpec{Limits: quality.Limits{
			Low: &quality.Limit{Value: 1.2, Unit: quality.Mil, Paired: &quality.PairedLimit{Value: 30, Unit: quality.Micrometre}}},
			Rule: quality.ShareOfReadings, Share: 0.8, Floor: size(1, quality.Mil), Spots: 5, ReadingsPerSpot: 3, Guard: 0.05}},
		"spot and area": {Version: quality.SpecVersion, MaxCycles: 1, Film: &quality.FilmSpec{Limits: quality.Between(60, 120, quality.Micrometre),
			Rule: quality.SpotArea, Level: 3, Spots: 5, ReadingsPerSpot: 3, MaxTotal: size(250, quality.Micrometre)}},
	} {
		a := specStands(spec)
		got := readSpec(a)
		if !a.OK() {
			t.Errorf("%s: its own form has faults: %v", name, a.Wrong)
		}
		was, _ := spec.Encode()
		is, _ := got.Encode()
		if !reflect.DeepEqual(string(was), string(is)) {
			t.Errorf("%s:\n got %s\nwant %s", name, is, was)
		}
	}
}

func TestValidateSpeaksAtTheSection(t *testing.T) {
	spec := readSpec(form.New(fullDraft()))
	if says := specSays(spec); len(says["all"]) != 0 || len(says["film"]) != 0 {
		t.Fatalf("a complete spec has faults: %v", says)
	}
	spec.Film.Limits.Low = nil
	spec.CureTest.Solvent = ""
	says := specSays(spec)
	if len(says["film"]) == 0 || len(says["rub"]) != 1 || len(says["all"]) != 0 || len(says["weld"]) != 0 {
		t.Errorf("got %v, want sentences at film and cure test alone", says)
	}
}

func TestContradictingDraftIsSavedButNotApproved(t *testing.T) {
	d := openSetupDesk(t)
	_, body := d.post("/setup/specs", "code", "FS-1", "title", "Railings", "revision", "A")
	draft := d.link(body, `/setup/specs/FS-1/`+idPattern)
	upside := fullDraft()
	upside.Set("film-um-low", "130")
	upside.Del("film-mil-low")
	status, body := d.postAll(draft, upside)
	d.must(status, body, "is above the upper limit")
	status, body = d.post(draft+"/approve", "pin", setupPIN)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "cannot be approved yet") {
		t.Errorf("status %d, problems %v", status, problemsOn(body))
	}
	status, body = d.postAll(draft, fullDraft())
	d.must(status, body, "The saved draft is complete")
	status, body = d.post(draft+"/approve", "pin", "000111")
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `id="pin-problem"`) {
		t.Errorf("a wrong PIN: status %d, problems %v", status, problemsOn(body))
	}
	bad := fullDraft()
	bad.Set("film-um-high", "2.8.1")
	status, body = d.postAll(draft, bad)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `value="2.8.1"`) || !strings.Contains(body, "“2.8.1” is not a number") {
		t.Errorf("status %d, problems %v", status, problemsOn(body))
	}
}
