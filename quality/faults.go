package quality

// FaultNames are the words for what a finding says is wrong, by its Fault: shop faults, imperfections of welds by their ISO
// 6520-1 number, and defects of the finish. Lists that count faults use them.
var FaultNames = func() map[string]string {
	names := map[string]string{
		thinFilm:              "Thin film",
		thickFilm:             "Thick film",
		underCure:             "Under-cure",
		overCure:              "Over-cure",
		unevenCure:            "Uneven cure",
		unevenOven:            "Uneven oven",
		weldUndersize:         "Weld too small",
		weldOversize:          "Weld too large",
		"stage_temperature":   "Stage temperature",
		"stage_time":          "Stage time",
		"concentration":       "Bath concentration",
		"ph":                  "Bath pH",
		"conductivity":        "Rinse conductivity",
		bathConductivity:      "Rinse conductivity",
		bathConcentrationGL:   "Bath concentration",
		bathCarbonate:         "Carbonate in the bath",
		bathEtchLoss:          "Etch loss",
		bathWeight:            "Conversion coat weight",
		"water_break":         "Water break",
		"wrong_powder":        "Powder not allowed",
		"late_coating":        "Coated too late after pretreatment",
		"air_temperature":     "Booth temperature",
		"humidity":            "Booth humidity",
		"gun_voltage":         "Gun voltage",
		"ground_resistance":   "Poor earth at the hanger",
		"dew_point":           "Part too near the dew point",
		"adhesion":            "Poor adhesion",
		"soft_film":           "Film too soft",
		"brittle_film":        "Film cracks or lifts",
		"film_lot":            "Lot rejected for its film",
		"gauge_error":         "Gauge out of tolerance",
		"first_article":       "First article requirement",
		"surface_temperature": "Part surface temperature",
	}
	for _, d := range FinishDefects {
		names[d.Code] = d.Name
	}
	for _, w := range WeldImperfections {
		names[w.Code] = w.Name
	}
	return names
}()

// FaultName returns the words for a fault, or the code itself when it has none.
func FaultName(fault string) string {
	if name, ok := FaultNames[fault]; ok {
		return name
	}
	return fault
}
