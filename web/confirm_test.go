package web

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestTypedCureWindowIsPendingUntilAnotherPersonConfirmsIt(t *testing.T) {
	h := newHand(t)
	second := h.AddPerson("Idun Bakke", "idun", store.Supervisor)
	part := h.Parts(1)[0]
	h.Weld(part, quality.NoneFound)
	h.Wash([]uuid.UUID{part}, "4.6", 0)
	racks, err := h.DB.OpenRacks(t.Context(), h.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	load := h.enter("/loads", url.Values{"oven": {h.Oven.ID.String()}}, http.StatusSeeOther)
	h.enter(load+"/racks", url.Values{"rack": {racks[0].Number}}, http.StatusSeeOther)
	form := url.Values{"set_point": {"205"}, "oven_time": {"30"}, "peak-1": {"196"}, "above-1": {"9"}, "place-1": {"heaviest section"},
		"window_metal-1": {"180"}, "window_least-1": {"10"}, "window_metal-2": {"200"}, "window_least-2": {"8"}}
	page := h.enter(load+"/cure", form, http.StatusUnprocessableEntity)
	contains(t, page, "Say where the typed cure window comes from", "It takes the place of the powder's window for this load")
	form.Set("window_source", "maker's letter of 3 November")
	h.enter(load+"/cure", form, http.StatusSeeOther)

	waiting, err := h.DB.WaitingRecords(t.Context(), h.Site.ID)
	if err != nil || len(waiting) != 1 {
		t.Fatalf("%v, %v", waiting, err)
	}
	record := "/records/" + waiting[0].RecordID.String()
	contains(t, h.get("/day", http.StatusOK), "Cure of load", "waits for a second person", "Maren Holt typed a cure window for this load")
	contains(t, h.get("/parts/"+h.serial(part), http.StatusOK), "waits for a second person")
	contains(t, h.get(record, http.StatusOK), "waits for a second person", "Entered by Maren Holt", "You entered this yourself. Another supervisor or engineer confirms it.")
	signed := url.Values{"outcome": {"confirmed"}, "pin": {storetest.PIN}}
	h.post(record+"/confirm", http.StatusForbidden, signed)

	h.who = second
	contains(t, h.get(record, http.StatusOK), "Sign and confirm", "Sign and decline", "I, Idun Bakke, checked this as the second person:")
	contains(t, h.post(record+"/confirm", http.StatusUnprocessableEntity, url.Values{"outcome": {"declined"}, "pin": {storetest.PIN}}), "Say why it is declined")
	contains(t, h.post(record+"/confirm", http.StatusUnprocessableEntity, url.Values{"outcome": {"confirmed"}, "pin": {"000001"}}), "Sign and confirm")
	h.post(record+"/confirm", http.StatusSeeOther, url.Values{"outcome": {"confirmed"}, "pin": {storetest.PIN}})
	contains(t, h.get(record, http.StatusOK), "Entered by Maren Holt", "Confirmed by Idun Bakke")
	contains(t, h.get("/parts/"+h.serial(part), http.StatusOK), "Confirmed as the second person")
	h.post(record+"/confirm", http.StatusConflict, url.Values{"outcome": {"confirmed"}, "pin": {storetest.PIN}})
	h.who = h.Everyone
}
