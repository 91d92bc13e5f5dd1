package demoshop

import (
	"context"
	"fmt"
	"time"

	"coatbook/store"
)

func ptr[T any](v T) *T { return &v }

func (s *Shop) newPowders(ctx context.Context, opened time.Time) error {
	engineer := s.People["nadia"]
	window := []store.CurePoint{{MetalC: 180, MinutesMin: 15, MinutesMax: 40}, {MetalC: 190, MinutesMin: 12, MinutesMax: 32}, {MetalC: 200, MinutesMin: 10, MinutesMax: 26}, {MetalC: 215, MinutesMin: 8, MinutesMax: 20}}
	for _, p := range []struct {
		powder store.Material
		lots   []string
	}{
		{store.Material{Kind: store.Powder, Code: "PE-ANTH", Name: "Polyester, fine texture", Maker: "Harrow Lake Powders", Colour: "Anthracite grey, matt", StorageMaxC: ptr(25.0), StorageNote: "dry, in the closed box",
			Source: "demo data sheet", FilmMinUM: ptr(60.0), FilmMaxUM: ptr(100.0), RubMethod: "MEK, 50 double rubs, rating 3 or 4", Hazards: []string{"dust"}, SheetPaperAt: "Booth 1, red binder"},
			[]string{"88-1391", "88-1403", "88-1409", "88-1422"}},
		{store.Material{Kind: store.Powder, Code: "PE-BLUE", Name: "Polyester, smooth", Maker: "Harrow Lake Powders", Colour: "Harbour blue, satin", StorageMaxC: ptr(25.0), StorageNote: "dry, in the closed box",
			Source: "demo data sheet", FilmMinUM: ptr(60.0), FilmMaxUM: ptr(100.0), RubMethod: "MEK, 50 double rubs, rating 3 or 4", Hazards: []string{"dust"}, SheetPaperAt: "Booth 1, red binder"},
			[]string{"61-0207", "61-0219", "61-0224"}},
	} {
		added, err := s.DB.AddMaterial(ctx, engineer, p.powder, window)
		if err != nil {
			return fmt.Errorf("powder %s: %w", p.powder.Code, err)
		}
		if err := s.addSheet(ctx, added, opened, 1); err != nil {
			return err
		}
		for i, number := range append(p.lots, "X"+p.lots[0]) {
			lot := store.MaterialLot{MaterialID: added.ID, LotNumber: number, MadeOn: ptr(opened.AddDate(0, 0, -30+7*i)), ReceivedOn: opened.AddDate(0, 0, -12+7*i),
				ExpiresOn: ptr(opened.AddDate(1, 0, 7*i)), Quantity: 400, Certificate: "MC-" + number, Status: "accepted"}
			if i == len(p.lots) {
				// One lot per powder is past its date, for the refusal.
				lot.MadeOn, lot.ReceivedOn, lot.ExpiresOn = ptr(opened.AddDate(-1, 0, 0)), opened.AddDate(0, -11, 0), ptr(opened.AddDate(0, 0, 10))
			}
			l, err := s.DB.AddMaterialLot(ctx, engineer, lot)
			if err != nil {
				return fmt.Errorf("lot %s: %w", number, err)
			}
			s.Lots[number] = l.ID
		}
	}
	return nil
}

// chemicals are what the shop washes, tests and welds with. One sheet is over five years old and one has no paper copy, for the
// list of what is missing.
func chemicals() []store.Material {
	return []store.Material{
		{Kind: store.Cleaner, Code: "ALK-20", Name: "Alkaline cleaner", Maker: "Millrace Chemicals", StorageMinC: ptr(5.0), StorageMaxC: ptr(35.0), StorageNote: "closed, away from acids",
			Source: "demo data sheet", Hazards: []string{"alkali"}, SheetPaperAt: "Wash line, yellow binder"},
		{Kind: store.Conversion, Code: "ZR-5", Name: "Zirconium conversion", Maker: "Millrace Chemicals", StorageMinC: ptr(2.0), StorageMaxC: ptr(30.0), StorageNote: "plastic only, never glass",
			Source: "demo data sheet", Hazards: []string{"acid", "fluoride"}, SheetPaperAt: "Wash line, yellow binder"},
		{Kind: store.Titrant, Code: "HCL-01N", Name: "Hydrochloric acid 0.1 mol/L", Maker: "Millrace Chemicals", StorageMaxC: ptr(30.0), Hazards: []string{"acid"}, SheetPaperAt: "Wash line, yellow binder"},
		{Kind: store.Solvent, Code: "MEK", Name: "Methyl ethyl ketone", Maker: "Millrace Chemicals", StorageMaxC: ptr(30.0), StorageNote: "flammables cabinet", Hazards: []string{"flammable", "harmful"}},
		{Kind: store.Filler, Code: "AL-5356", Name: "Filler wire AlMg5, 1.2 mm", Maker: "Corrie Wire Works", StorageNote: "dry, in its bag", Hazards: []string{"fume"}, SheetPaperAt: "Weld bench 1"},
		{Kind: store.Heat, Code: "6060-T66", Name: "Extrusion 6060 T66", Maker: "Ridgeway Extrusions"},
		{Kind: store.Tape, Code: "TAPE-25", Name: "Adhesion tape 25 mm", Maker: "Ridgeway Supplies", StorageMaxC: ptr(30.0)},
	}
}

// sheetYears is how old the sheets of the chemicals are, in years.
var sheetYears = map[string]int{"ALK-20": 2, "ZR-5": 1, "HCL-01N": 6, "MEK": 1, "AL-5356": 1}

// lotNumbers are the lots of each of them: the first is in use, a second one waits for its certificate on hold.
var lotNumbers = map[string][]string{"ALK-20": {"AC-5510", "AC-5544"}, "ZR-5": {"ZC-0301"}, "HCL-01N": {"HT-118"}, "MEK": {"MK-2207"}, "AL-5356": {"FW-90417"},
	"6060-T66": {"HN-77120"}, "TAPE-25": {"TP-31"}}

func (s *Shop) newChemicals(ctx context.Context, opened time.Time) error {
	engineer := s.People["nadia"]
	for _, m := range chemicals() {
		added, err := s.DB.AddMaterial(ctx, engineer, m, nil)
		if err != nil {
			return fmt.Errorf("material %s: %w", m.Code, err)
		}
		if years := sheetYears[m.Code]; years > 0 {
			if err := s.addSheet(ctx, added, opened, years); err != nil {
				return err
			}
		}
		for i, number := range lotNumbers[m.Code] {
			lot := store.MaterialLot{MaterialID: added.ID, LotNumber: number, MadeOn: ptr(opened.AddDate(0, -3, 0)), ReceivedOn: opened.AddDate(0, -1, 0), Quantity: 25, Unit: "L", Certificate: "MC-" + number}
			switch m.Kind {
			case store.Filler, store.Heat:
				lot.Unit, lot.Quantity = "kg", 600
			case store.Tape:
				lot.Unit, lot.Quantity, lot.ExpiresOn = "pcs", 12, ptr(opened.AddDate(1, 0, 0))
			default:
				lot.ExpiresOn = ptr(opened.AddDate(1, 0, 0))
			}
			if i > 0 {
				lot.Status, lot.Certificate = "held", ""
			}
			l, err := s.DB.AddMaterialLot(ctx, engineer, lot)
			if err != nil {
				return fmt.Errorf("lot %s: %w", number, err)
			}
			s.Lots[number] = l.ID
		}
	}
	return nil
}
