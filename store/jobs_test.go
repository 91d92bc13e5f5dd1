package store_test

import (
	"fmt"
	"strings"
	"testing"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func addJob(t *testing.T, db *store.DB, a store.Actor, number string) store.Job {
	t.Helper()
	due := day(t, "2026-12-18")
	j, err := db.AddJob(t.Context(), a, store.Job{Number: number, Customer: "Pierhead Ferries", OrderRef: "PO 0017", DueOn: &due})
	if err != nil {
		t.Fatalf("add job %s: %v", number, err)
	}
	return j
}

// readyForParts returns a job and a part number under an approved spec that asks for a weld check first.
func readyForParts(t *testing.T) (*store.DB, store.Actor, store.Job, store.PartNumber) {
	t.Helper()
	db, a := openShop(t)
	spec := filmOnly()
	spec.Weld = &quality.WeldSpec{Level: "C"}
	r := addSpec(t, db, a, "FS-100", spec)
	approve(t, db, a, r)
	return db, a, addJob(t, db, a, "J-2026-1"), addPartNumber(t, db, a, "RS-100", r)
}

func TestPartsOfAJobWaitForTheFirstThingTheirSpecAsksFor(t *testing.T) {
	db, a, job, n := readyForParts(t)
	ids, err := db.AddParts(t.Context(), a, job.ID, n.ID, []string{"007-A", "008-A"})
	if err != nil {
		t.Fatal(err)
	}
	parts, err := db.JobParts(t.Context(), a.Site, job.ID)
	if err != nil {
		t.Fatal(err)
	}
	want := []store.JobPart{
		{ID: ids[0], Serial: "007-A", PartNumber: "RS-100", Name: "Rail section", Status: "open", NextKind: "weld"},
		{ID: ids[1], Serial: "008-A", PartNumber: "RS-100", Name: "Rail section", Status: "open", NextKind: "weld"},
	}
	if len(parts) != 2 || parts[0] != want[0] || parts[1] != want[1] {
		t.Errorf("got %+v, want %+v", parts, want)
	}
	got, err := db.JobByNumber(t.Context(), a.Site, "J-2026-1")
	if err != nil || got.Parts != 2 || got.Released != 0 || got.OrderRef != "PO 0017" || !got.DueOn.Equal(day(t, "2026-12-18")) {
		t.Errorf("job %+v, %v", got, err)
	}
	if got := verbs(t, db, a, ids[1]); len(got) != 1 || got[0] != "part received" {
		t.Errorf("events %v", got)
	}
}

func TestSerialIsNeverGivenOutTwiceNotEvenAfterScrapping(t *testing.T) {
	db, a, job, n := readyForParts(t)
	ids, err := db.AddParts(t.Context(), a, job.ID, n.ID, []string{"S-1"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := storetest.Owner(t, db).Exec(t.Context(), `UPDATE part_status SET status = 'scrapped' WHERE site_id = $1 AND part_id = $2`, a.Site, ids[0]); err != nil {
		t.Fatal(err)
	}
	_, err = db.AddParts(t.Context(), a, addJob(t, db, a, "J-2").ID, n.ID, []string{"S-2", "S-1"})
	if sentence := refusedBy(t, err, "part_serial_unique"); !strings.Contains(sentence, "S-1 ") {
		t.Errorf("the refusal does not name the serial: %s", sentence)
	}
	if j, err := db.JobByNumber(t.Context(), a.Site, "J-2"); err != nil || j.Parts != 0 {
		t.Errorf("job J-2 has %d parts, %v, want none: the batch is refused whole", j.Parts, err)
	}
}

func TestUnusableSerialsAreRefused(t *testing.T) {
	db, a, job, n := readyForParts(t)
	many := make([]string, 501)
	for i := range many {
		many[i] = fmt.Sprintf("M%d", i)
	}
	for name, c := range map[string]struct {
		serials []string
		rule    string
	}{
		"none":             {nil, store.RuleNoParts},
		"twice":            {[]string{"A", "A"}, "part_serial_unique"},
		"with a space":     {[]string{"A 1"}, "part_serial_form"},
		"markup":           {[]string{"<b>"}, "part_serial_form"},
		"with a zero byte": {[]string{"A\x00"}, "part_serial_form"},
		"too long":         {[]string{strings.Repeat("9", 41)}, "part_serial_form"},
		"too many":         {many, "part_count_range"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := db.AddParts(t.Context(), a, job.ID, n.ID, c.serials)
			refusedBy(t, err, c.rule)
		})
	}
}

func TestPartsUnderADraftSpecAreRefused(t *testing.T) {
	db, a := openShop(t)
	n := addPartNumber(t, db, a, "RS-100", addSpec(t, db, a, "FS-100", filmOnly()))
	_, err := db.AddParts(t.Context(), a, addJob(t, db, a, "J-1").ID, n.ID, []string{"S-1"})
	sentence := refusedBy(t, err, store.RuleSpecNotApproved)
	if !strings.Contains(sentence, "FS-100") || !strings.Contains(sentence, "approve") {
		t.Errorf("the refusal does not name the way out: %s", sentence)
	}
}

func TestJobNumberIsTakenOnce(t *testing.T) {
	db, a := openShop(t)
	addJob(t, db, a, "J-1")
	_, err := db.AddJob(t.Context(), a, store.Job{Number: "J-1", Customer: "Somebody"})
	refusedBy(t, err, "job_number_unique")
	_, err = db.AddJob(t.Context(), a, store.Job{Number: "J-2", Customer: " "})
	refusedBy(t, err, "job_customer_present")
	if jobs, err := db.Jobs(t.Context(), a.Site); err != nil || len(jobs) != 1 {
		t.Errorf("jobs %v, %v, want one", jobs, err)
	}
}
