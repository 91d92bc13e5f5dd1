package demoshop

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// Open builds the shop's register as it stood when it opened, before any part was received.
func Open(ctx context.Context, db *store.DB, opened time.Time) (*Shop, error) {
	s := &Shop{DB: db.At(opened), People: map[string]store.Actor{}, Stations: map[string]uuid.UUID{}, Gauges: map[string]store.Instrument{},
		Baths: map[string]uuid.UUID{}, Lots: map[string]uuid.UUID{}}
	var err error
	if s.Site, err = s.DB.AddSite(ctx, store.NewSite{Code: "TH", Name: "Tern Hollow Metalworks", TimeZone: "America/Chicago"}); err != nil {
		return nil, fmt.Errorf("opening the site: %w", err)
	}
	for _, step := range []func(context.Context, time.Time) error{s.newPeople, s.newStations, s.newInstruments, s.newOvens, s.newPowders, s.newChemicals, s.newBathControls, s.newProducts, s.newBrackets, s.newSamples, s.newPosts} {
		if err := step(ctx, opened); err != nil {
			return nil, err
		}
	}
	return s, nil
}

func pinOf(name string) string {
	for _, l := range Logins {
		if l.SignOnName == name {
			return l.PIN
		}
	}
	return ""
}

func (s *Shop) newStations(ctx context.Context, _ time.Time) error {
	admin := s.People["petra"]
	for _, st := range []store.Station{
		{Code: "WELD-1", Name: "Weld bench 1", Kind: "weld", Active: true}, {Code: "WASH", Name: "Wash line", Kind: "wash", Active: true},
		{Code: "BOOTH-1", Name: "Booth 1", Kind: "booth", Active: true}, {Code: "BOOTH-2", Name: "Booth 2", Kind: "booth", Active: true},
		{Code: "OVEN-1", Name: "Oven 1", Kind: "oven", Active: true}, {Code: "OVEN-2", Name: "Oven 2", Kind: "oven", Active: true},
		{Code: "FINAL-1", Name: "Final bench 1", Kind: "final", Active: true}, {Code: "FINAL-2", Name: "Final bench 2", Kind: "final", Active: true},
		{Code: "OFFICE", Name: "Quality office", Kind: "desk", Active: true},
	} {
		added, err := s.DB.AddStation(ctx, admin, st)
		if err != nil {
			return fmt.Errorf("station %s: %w", st.Code, err)
		}
		s.Stations[st.Code] = added.ID
	}
	for _, b := range []store.Bath{
		{Code: "B1", Name: "Alkaline cleaner", Stage: "clean", VolumeL: ptr(2400.0), DumpDays: 90}, {Code: "B2", Name: "Rinse 1", Stage: "rinse", VolumeL: ptr(1800.0)},
		{Code: "B3", Name: "Zirconium conversion", Stage: "convert", VolumeL: ptr(2000.0), DumpDays: 60}, {Code: "B4", Name: "Demineralised rinse", Stage: "final_rinse", VolumeL: ptr(1800.0)},
	} {
		added, err := s.DB.AddBath(ctx, admin, b)
		if err != nil {
			return fmt.Errorf("bath %s: %w", b.Code, err)
		}
		s.Baths[b.Code] = added.ID
	}
	return nil
}

func (s *Shop) newInstruments(ctx context.Context, opened time.Time) error {
	engineer := s.People["nadia"]
	number := func(v float64) *float64 { return &v }
	gauge := func(code, serial string) store.Instrument {
		return store.Instrument{Code: code, Kind: "film_gauge", MakerSerial: serial, Owner: "company", Unit: "um", RangeLow: number(0), RangeHigh: number(1000),
			Resolution: number(0.1), ToleranceAbs: 1, ToleranceShare: 0.03, IntervalDays: 365, DueOn: opened.AddDate(0, 9, 0), Certificate: "C-" + serial, Status: "in_use",
			Uncertainty: number(0.6), CoverageK: number(2), Location: "Final bench"}
	}
	overdue := gauge("EC-02", "77031")
	overdue.DueOn = opened.AddDate(0, 0, 20)
	shim := func(code string, um float64) store.Instrument {
		return store.Instrument{Code: code, Kind: "shim", MakerSerial: "S-" + code, Owner: "company", Unit: "um", Nominal: number(um), ToleranceAbs: 1, IntervalDays: 730,
			DueOn: opened.AddDate(1, 6, 0), Certificate: "CS-" + code, Status: "in_use"}
	}
	plate := func(code, alloy string) store.Instrument {
		return store.Instrument{Code: code, Kind: "zero_plate", MakerSerial: "Z-" + code, Owner: "company", Unit: "um", Alloy: alloy, IntervalDays: 730, DueOn: opened.AddDate(1, 6, 0), Location: "Final bench"}
	}
	meter := func(code, kind, unit, place string, abs float64) store.Instrument {
		return store.Instrument{Code: code, Kind: kind, MakerSerial: "M-" + code, Owner: "company", Unit: unit, ToleranceAbs: abs, IntervalDays: 365, DueOn: opened.AddDate(0, 8, 0),
			Certificate: "CM-" + code, Location: place}
	}
	owned := meter("LX-01", "light_meter", "lx", "Weld bench", 30)
	owned.Owner, owned.OwnerName = "employee", "Teodor Quist"
	lent := meter("GL-02", "gloss_meter", "GU", "Final bench", 1.5)
	lent.Owner, lent.OwnerName = "customer", "Halden Balconies"
	for _, i := range []store.Instrument{gauge("EC-04", "77104"), gauge("EC-07", "77107"), gauge("EC-09", "77212"), overdue, shim("SH-48", 48.6), shim("SH-76", 76.0), shim("SH-124", 124.2),
		plate("ZP-6060", "6060 T66"), plate("ZP-6082", "6082 T6"), meter("PH-03", "ph_meter", "pH", "Wash line", 0.05), meter("CO-01", "conductivity_meter", "uS/cm", "Wash line", 2),
		meter("CL-01", "climate_meter", "percent", "Booth 1", 3), owned, lent} {
		added, err := s.DB.AddInstrument(ctx, engineer, i)
		if err != nil {
			return fmt.Errorf("instrument %s: %w", i.Code, err)
		}
		switch i.Kind {
		case "shim":
			s.Shims = append(s.Shims, added)
		case "zero_plate":
			s.Plates = append(s.Plates, added)
		default:
			s.Gauges[i.Code] = added
		}
	}
	seven := 7
	_, err := s.DB.AddStudy(ctx, engineer, store.Study{InstrumentID: s.Gauges["EC-07"].ID, GRR: 14.2, Of: "tolerance", NDC: &seven, MadeOn: opened.AddDate(0, -1, 0), ValidTo: opened.AddDate(0, 11, 0),
		Report: "MS-07"}, 0)
	return err
}

// washStages are the limits of the wash line. Values are common practice or from memory; a shop enters its supplier's.
func washStages() *quality.PretreatmentSpec {
	return &quality.PretreatmentSpec{WaterBreak: true, MaxHoursToCoat: 16, Stages: []quality.StageSpec{
		{Stage: "clean", Name: "Clean", Limits: map[string]quality.Limits{"concentration": quality.Between(2, 4, quality.Percent),
			"stage_temperature": quality.Between(45, 60, quality.Celsius), "stage_time": quality.Between(60, 180, quality.Second)}},
		{Stage: "rinse", Name: "Rinse", Limits: map[string]quality.Limits{"conductivity": quality.AtMost(300, quality.MicroSiemens)}},
		{Stage: "convert", Name: "Convert", Limits: map[string]quality.Limits{"ph": quality.Between(3.8, 5.0, quality.PH), "stage_time": quality.Between(45, 120, quality.Second)}},
		{Stage: "final_rinse", Name: "Last rinse", Limits: map[string]quality.Limits{"conductivity": quality.AtMost(30, quality.MicroSiemens)}},
		{Stage: "dry_off", Name: "Dry off", Limits: map[string]quality.Limits{"stage_temperature": quality.Between(50, 100, quality.Celsius)}},
	}}
}

// baseSpec is what both finish specs of the shop have in common.
func baseSpec(powder string) quality.FinishSpec {
	return quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2,
		Weld:         &quality.WeldSpec{Level: "C", Light: quality.AtLeast(350, quality.Lux)},
		Pretreatment: washStages(),
		Coating: &quality.CoatingSpec{Powders: []string{powder}, Air: quality.Between(15, 30, quality.Celsius), Humidity: quality.Between(30, 65, quality.Percent),
			Ground: quality.AtMost(1, quality.Megohm), Voltage: quality.Between(40, 100, quality.Kilovolt)},
		Cure:     &quality.CureSpec{ScheduleC: 190, Channels: 2, MaxSpreadC: 10},
		CureTest: &quality.CureTestSpec{Solvent: "MEK", Rubs: 50, WaitS: 30, PassFrom: 3},
		Finish: &quality.FinishCheckSpec{DistanceMM: 3000, Light: quality.AtLeast(500, quality.Lux), Allowed: []quality.DefectLimit{{Code: "orange_peel", Count: 1, SizeMM: 20}},
			Gloss: &quality.GlossSpec{GeometryDeg: 60, Nominal: 30, Tolerance: 5}},
	}
}

func (s *Shop) newProducts(ctx context.Context, _ time.Time) error {
	railing := baseSpec("PE-ANTH")
	railing.Film = &quality.FilmSpec{Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 3, Limits: quality.Between(60, 120, quality.Micrometre)}
	// The trade's 2 to 4 mil, with the spec's own pair in µm.
	frame := baseSpec("PE-BLUE")
	frame.Film = &quality.FilmSpec{Rule: quality.SpotArea, Level: 3, Spots: 5, ReadingsPerSpot: 3, Limits: quality.Limits{
		Low:  &quality.Limit{Value: 2, Unit: quality.Mil, Paired: &quality.PairedLimit{Value: 50, Unit: quality.Micrometre}},
		High: &quality.Limit{Value: 4, Unit: quality.Mil, Paired: &quality.PairedLimit{Value: 100, Unit: quality.Micrometre}}}}
	frame.Weld.Leg = quality.AtLeast(3, quality.Millimetre)
	frame.Finish.Gloss.Nominal, frame.Finish.Gloss.Tolerance = 60, 7
	spots := func(area string, places [5]string, at [5][2]int) store.Plan {
		plan := store.Plan{ReadingsPerSpot: 3}
		for i, place := range places {
			plan.Spots = append(plan.Spots, store.Spot{Spot: i + 1, Area: area, Place: place, X: at[i][0], Y: at[i][1]})
		}
		return plan
	}
	for _, p := range []struct {
		product         Product
		code, title, by string
	}{
		{Product{PartNumber: store.PartNumber{Code: "RF-210", Name: "Rail frame", Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Welds: 6, Sketch: "frame", Active: true},
			Spec: railing, Plan: spots("A", [5]string{"Left post, low", "Top rail, left", "Centre bar", "Top rail, right", "Right post, low"},
				[5][2]int{{22, 186}, {60, 34}, {135, 132}, {210, 34}, {248, 186}}),
			Customers: []string{"Halden Balconies", "Pinecrest Homes"}, prefix: "R", unit: quality.Micrometre, mean: 82, lots: []string{"88-1391", "88-1403", "88-1409", "88-1422"}},
			"PC-60", "Railings outdoors, 60 µm and up", "nadia"},
		{Product{PartNumber: store.PartNumber{Code: "TF-40", Name: "Trailer frame", Alloy: "6082 T6", BaseForm: "extrusion", WallMM: 4, Welds: 4, Sketch: "rail", Active: true},
			Spec: frame, Plan: spots("A", [5]string{"Drawbar", "Front cross rail", "Side rail, left", "Side rail, right", "Rear cross rail"},
				[5][2]int{{30, 125}, {80, 110}, {135, 100}, {190, 110}, {240, 125}}),
			Customers: []string{"Tidewater Trailers"}, prefix: "T", unit: quality.Mil, mean: 76, lots: []string{"61-0207", "61-0219", "61-0224"}},
			"PC-24", "Trailer frames, 2 to 4 mil", "nadia"},
	} {
		product := p.product
		engineer := s.People[p.by]
		rev, err := s.DB.AddSpec(ctx, engineer, p.code, p.title, "A", product.Spec)
		if err != nil {
			return fmt.Errorf("spec %s: %w", p.code, err)
		}
		if err := s.DB.ApproveSpec(ctx, engineer, rev.ID, s.proofs[p.by]); err != nil {
			return fmt.Errorf("approving %s: %w", p.code, err)
		}
		product.PartNumber.SpecID = rev.SpecID
		if product.PartNumber, err = s.DB.AddPartNumber(ctx, engineer, product.PartNumber); err != nil {
			return fmt.Errorf("part number %s: %w", product.Code, err)
		}
		if _, err := s.DB.AddPlan(ctx, engineer, product.PartNumber.ID, product.Plan); err != nil {
			return fmt.Errorf("plan of %s: %w", product.Code, err)
		}
		s.Products = append(s.Products, &product)
	}
	return nil
}
