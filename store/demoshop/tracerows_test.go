package demoshop

import "fmt"

// A series is what there is one row of for each n: part, rack, load. per is how many parts share one.
type series struct {
	from string
	per  int
}

var (
	eachPart = series{"generate_series(@first::bigint, @end::bigint - 1) AS n WHERE true", 1}
	eachRack = series{"generate_series(@first::bigint / 6, (@end::bigint - 1) / 6) AS n WHERE true", partsPerBulkRack}
	eachLoad = series{"generate_series(@first::bigint / 12, (@end::bigint - 1) / 12) AS n WHERE true", partsPerBulkLoad}
	// Each of three gauges is verified once a day.
	eachCheckOfGauge = series{"generate_series(@first::bigint / 200, (@end::bigint - 1) / 200) AS n WHERE true", bulkPerDay / 3}
	eachDay          = series{"generate_series(@first::bigint / 600, (@end::bigint - 1) / 600) AS n WHERE true", bulkPerDay}
)

// where narrows a series.
func (s series) where(condition string) series { return series{s.from + " AND " + condition, s.per} }

// id is the id of the n-th row of a kind.
func (s series) id(kind int) string { return fmt.Sprintf("pg_temp.id(%d, n * %d, n)", kind, s.per) }

// at is the time of the n-th row: so many minutes after the weld of its first part.
func (s series) at(minutes int) string { return fmt.Sprintf("pg_temp.at(n * %d, %d)", s.per, minutes) }

// pick takes one of a list in turns, another one for each load.
func (s series) pick(list string) string {
	return fmt.Sprintf("(@%s::uuid[])[1 + (n * %d / 12 %% cardinality(@%s::uuid[]))::int]", list, s.per, list)
}

// holder is the id of the rack, load or the like that the n-th row belongs to.
func (s series) holder(kind int, of series) string {
	return fmt.Sprintf("pg_temp.id(%d, n * %d / %d * %d, n * %d / %d)", kind, s.per, of.per, of.per, s.per, of.per)
}

// lot is the id of the lot of a material that the n-th row uses.
func (s series) lot(material string) string {
	for i, l := range bulkLots {
		if l.material == material {
			return s.holder(aLot+i, series{per: l.lasts})
		}
	}
	panic("no such material: " + material)
}

// What becomes of parts. Those of the last day are still in house, those of the day before released; one in thirty failed its
// finish check and was worked again, one in five hundred was scrapped; some film checks were corrected, of them some after
// the release, which then was given anew; some were made on the wrong part and voided.
const (
	scrapped      = "n % 500 = 3"
	failed        = "(n % 30 = 7 OR n % 500 = 3)"
	corrected     = "n % 100 = 11"
	releasedAgain = "n % 500 = 111"
	voided        = "n % 1000 = 37"
	decided       = "n < @parts::int - 600"
	good          = decided + " AND n % 500 <> 3"
	gone          = "n < @parts::int - 1200"
	goneLoad      = "n * 12 < @parts::int - 1200"
	decidedLoad   = "n * 12 < @parts::int - 600"
	reissued      = goneLoad + " AND n % 50 = 9"
	withPanel     = "n % 20 = 4"
)

// The kinds of rows; each is in the ids of its rows.
const (
	aJob = iota + 1
	aPart
	aRack
	aLoad
	aPanel
	aWeld
	aWash
	aCoat
	aCure
	aRubTest
	aFinish
	aFailedFinish
	aFilm
	aCorrectedFilm
	aWrongFilm
	aVoid
	aPanelTest
	aVerification
	aCleanerAddition
	aConversionAddition
	aRelease
	aSecondRelease
	aReleaseSignature
	aCorrectionSignature
	aHold
	aDecision
	aDecisionSignature
	aShipment
	aCertificate
	aReissue
	aCertificateSignature
	aLot // and one more for each further material
)

// bulkStatements fill the parts from @first to before @end, in an order that every foreign key allows.
func bulkStatements() []string {
	var all []string
	for _, some := range [][]string{bulkLotRows(), bulkPartRows(), bulkSignatures(), bulkRecords(), bulkUses(), bulkHolds(), bulkPapers()} {
		all = append(all, some...)
	}
	return all
}

func bulkLotRows() (all []string) {
	for i, l := range bulkLots {
		all = append(all, fmt.Sprintf(`INSERT INTO material_lot (site_id, lot_id, material_id, kind, lot_number, made_on, received_on, expires_on, quantity, unit)
			SELECT @site, pg_temp.id(%d, n * %d, n), l.material_id, l.kind, 'BULK-%s-' || n, l.made_on, l.received_on, l.expires_on, 100, l.unit
			FROM generate_series((@first::bigint + %d) / %d, (@end::bigint - 1) / %d) AS n, material_lot l WHERE l.site_id = @site AND l.lot_number = '%s'`,
			aLot+i, l.lasts, l.letter, l.lasts-1, l.lasts, l.lasts, l.like))
	}
	return all
}

func bulkPartRows() []string {
	return []string{
		`INSERT INTO job (site_id, job_id, number, customer, order_ref, received_at) SELECT @site, ` + eachLoad.id(aJob) + `, 'BULK-' || n, 'Customer ' || n % 40, 'PO ' || n, ` +
			eachLoad.at(-60) + ` FROM ` + eachLoad.from,
		`INSERT INTO part (site_id, part_id, serial, job_id, part_number_id, received_at) SELECT @site, ` + eachPart.id(aPart) + `, 'BULK-' || n, ` + eachPart.holder(aJob, eachLoad) + `, ` +
			eachPart.pick("numbers") + `, ` + eachPart.at(-60) + ` FROM ` + eachPart.from,
		`INSERT INTO rack (site_id, rack_id, number, tag, hung_by, hung_at, unloaded_at) SELECT @site, ` + eachRack.id(aRack) + `, 'BULK-R-' || n, 'B' || n % 40, ` +
			eachRack.pick("washers") + `, ` + eachRack.at(20) + `, ` + eachRack.at(190) + ` FROM ` + eachRack.from,
		`INSERT INTO rack_part (site_id, rack_id, part_id, cycle, position) SELECT @site, ` + eachPart.holder(aRack, eachRack) + `, ` + eachPart.id(aPart) + `, 1, n % 6 + 1 FROM ` + eachPart.from,
		`INSERT INTO oven_load (site_id, load_id, number, oven_id, opened_by, opened_at, closed_at) SELECT @site, ` + eachLoad.id(aLoad) + `, 'BULK-L-' || n, ` + eachLoad.pick("ovens") + `, ` +
			eachLoad.pick("coaters") + `, ` + eachLoad.at(80) + `, ` + eachLoad.at(140) + ` FROM ` + eachLoad.from,
		`INSERT INTO load_rack (site_id, load_id, rack_id) SELECT @site, ` + eachRack.holder(aLoad, eachLoad) + `, ` + eachRack.id(aRack) + ` FROM ` + eachRack.from,
		`INSERT INTO part_status (site_id, part_id, rack_id, status, next_kind, round_started_at) SELECT @site, ` + eachPart.id(aPart) + `, ` + eachPart.holder(aRack, eachRack) + `,
			CASE WHEN ` + gone + ` AND NOT ` + scrapped + ` THEN 'shipped' WHEN ` + decided + ` THEN CASE WHEN ` + scrapped + ` THEN 'scrapped' ELSE 'released' END
				WHEN ` + failed + ` THEN 'on_hold' ELSE 'accepted' END, '', ` + eachPart.at(-60) + ` FROM ` + eachPart.from,
		`INSERT INTO panel (site_id, panel_id, code, rack_id, alloy, pretreated_with, position, added_by, added_at) SELECT @site, ` + eachLoad.id(aPanel) + `, 'BULK-P-' || n, ` +
			`pg_temp.id(` + fmt.Sprint(aRack) + `, n * 12, n * 2), '6060 T66', 'with the parts', 'top', ` + eachLoad.pick("washers") + `, ` + eachLoad.at(25) + ` FROM ` + eachLoad.where(withPanel).from,
	}
}

func bulkSignatures() (all []string) {
	for _, s := range []struct {
		id      int
		of      series
		minutes int
		meaning string
	}{
		{aCorrectionSignature, eachPart.where("(" + corrected + " OR " + voided + ")"), 300, "corrected"},
		{aDecisionSignature, eachPart.where(failed + " AND " + decided), 152, "disposed"},
		{aReleaseSignature, eachLoad.where(decidedLoad), 200, "released"},
		{aCertificateSignature, eachLoad.where(goneLoad), 1440, "approved"},
	} {
		all = append(all, `INSERT INTO signature (site_id, signature_id, person_id, printed_name, meaning, statement, signed_at, content_hash, auth_used)
			SELECT @site, `+s.of.id(s.id)+`, `+s.of.pick("supervisors")+`, 'Marek Olsen', '`+s.meaning+`', 'I have looked at the records.', `+s.of.at(s.minutes)+`, repeat('0123abcd', 8), 'pin' FROM `+s.of.from)
	}
	return all
}

// A bulkRecord is one kind of record that each row of a series has, with its readings.
type bulkRecord struct {
	id             int
	kind           string
	of             series
	subject, on    string // column and value
	minutes        int
	person         string // list
	station        string // list, none for a record away from one
	verdict        string
	supersedes     int
	readings       int
	characteristic string
	unit           string
}

func bulkRecords() (all []string) {
	part, rack, load := eachPart.id(aPart), eachRack.id(aRack), eachLoad.id(aLoad)
	additions := eachDay.where("n % 2 = 0")
	for _, r := range []bulkRecord{
		{aVerification, "verification", eachCheckOfGauge, "instrument_id", "(@gauges::uuid[])[1 + (n % 3)::int]", -240, "inspectors", "final_benches", "pass", 0, 4, "shim_reading", "um"},
		{aCleanerAddition, "bath_addition", additions, "bath_id", "(@baths::uuid[])[1]", -30, "washers", "wash_lines", "pass", 0, 1, "added", "L"},
		{aConversionAddition, "bath_addition", additions, "bath_id", "(@baths::uuid[])[3]", -29, "washers", "wash_lines", "pass", 0, 1, "added", "L"},
		{aWeld, "weld", eachPart, "part_id", part, 0, "weld_inspectors", "weld_benches", "pass", 0, 1, "light", "lx"},
		{aWash, "pretreatment", eachRack, "rack_id", rack, 40, "washers", "wash_lines", "pass", 0, 8, "ph", "pH"},
		{aCoat, "coating", eachRack, "rack_id", rack, 70, "coaters", "booths", "pass", 0, 4, "humidity", "percent"},
		{aCure, "cure", eachLoad, "load_id", load, 110, "coaters", "ovens", "pass", 0, 8, "metal_peak", "degC"},
		{aRubTest, "cure_test", eachLoad, "load_id", load, 150, "weld_inspectors", "final_benches", "pass", 0, 1, "rubs", "count"},
		{aPanelTest, "panel_test", eachLoad.where(withPanel), "panel_id", eachLoad.id(aPanel), 170, "inspectors", "final_benches", "pass", 0, 3, "film_thickness", "um"},
		{aFailedFinish, "finish", eachPart.where(failed), "part_id", part, 151, "inspectors", "final_benches", "fail", 0, 2, "gloss", "GU"},
		{aFinish, "finish", eachPart.where("NOT " + scrapped), "part_id", part, 155, "inspectors", "final_benches", "pass", 0, 2, "gloss", "GU"},
		{aFilm, "film", eachPart, "part_id", part, 160, "inspectors", "final_benches", "pass", 0, 15, "film_thickness", "um"},
		{aWrongFilm, "film", eachPart.where(voided), "part_id", part, 163, "inspectors", "final_benches", "pass", 0, 15, "film_thickness", "um"},
		{aCorrectedFilm, "film", eachPart.where(corrected), "part_id", part, 160, "inspectors", "final_benches", "pass", aFilm, 15, "film_thickness", "um"},
		{aVoid, "film", eachPart.where(voided), "part_id", part, 163, "inspectors", "final_benches", "void", aWrongFilm, 0, "", ""},
	} {
		all = append(all, r.rows()...)
	}
	return append(all, `INSERT INTO rating (site_id, record_id, seq, characteristic, code) SELECT @site, `+eachDay.id(aConversionAddition)+`, 1, 'bath_act',
		CASE WHEN n % 60 = 0 THEN 'make_up' ELSE 'top_up' END FROM `+additions.from)
}

// rows makes the records, a finding each, and their readings.
func (r bulkRecord) rows() []string {
	id, at := r.of.id(r.id), r.of.at(r.minutes)
	spec, station, recorded := r.of.pick("specs"), "NULL", r.of.at(r.minutes+1)
	supersedes, code, reason, signature := "NULL", "", "", "NULL"
	if r.subject == "instrument_id" || r.subject == "bath_id" {
		spec = "NULL"
	}
	if r.station != "" {
		station = r.of.pick(r.station)
	}
	if r.supersedes != 0 {
		supersedes, code, reason, signature = r.of.id(r.supersedes), "typing_error", "Two digits changed places.", r.of.id(aCorrectionSignature)
		recorded = r.of.at(300)
	}
	all := []string{
		`INSERT INTO record (site_id, record_id, kind, ` + r.subject + `, first_pass, spec_revision_id, station_id, person_id, observed_at, utc_offset_s, recorded_at, counted_at, shop_day, shift,
				supersedes_id, reason_code, reason, signature_id, verdict, content_hash)
			SELECT @site, ` + id + `, '` + r.kind + `', ` + r.on + `, ` + fmt.Sprint(r.supersedes == 0) + `, ` + spec + `, ` + station + `, ` + r.of.pick(r.person) + `, ` + at + `, -21600, ` + recorded + `, ` +
			r.of.at(r.minutes+1) + `, pg_temp.day(` + at + `), CASE WHEN pg_temp.day(` + at + ` + interval '10 hours') > pg_temp.day(` + at + `) THEN 'Late' ELSE 'Early' END, ` +
			supersedes + `, '` + code + `', '` + reason + `', ` + signature + `, '` + r.verdict + `', repeat('0123abcd', 8) FROM ` + r.of.from,
	}
	if r.readings == 0 {
		return all
	}
	return append(all, `INSERT INTO finding (site_id, record_id, seq, shop_day, rule, limit_text, value, unit, verdict, fault, sentence)
			SELECT @site, `+id+`, 1, pg_temp.day(`+at+`), '`+r.kind+`', 'at least 60', 70 + n % 30, '`+r.unit+`', '`+r.verdict+`', '`+map[string]string{"fail": "inclusion"}[r.verdict]+`',
				'The lowest value is compared with the limit of the specification.' FROM `+r.of.from,
		`INSERT INTO reading (site_id, record_id, seq, characteristic, spot, rep, value, value_text, unit, source, raw_text, flag)
			SELECT @site, `+id+`, s, '`+r.characteristic+`', (s + 2) / 3, (s + 2) % 3 + 1, 70 + (n * 7 + s * 3) % 30, (70 + (n * 7 + s * 3) % 30)::text, '`+r.unit+`', 'wedge',
				(70 + (n * 7 + s * 3) % 30)::text, 'in' FROM generate_series(1, `+fmt.Sprint(r.readings)+`) AS s, `+r.of.from)
}

func bulkUses() (all []string) {
	byTurn := "pg_temp.id(" + fmt.Sprint(aVerification) + ", (n / 600 * 3 + n / 12 % 3) * 200, n / 600 * 3 + n / 12 % 3)"
	for i, u := range []struct {
		record       int
		of           series
		role, column string
		value        string
		verification string
	}{
		{aVerification, eachCheckOfGauge, "shim", "instrument_id", "(@shims::uuid[])[1]", "NULL"},
		{aVerification, eachCheckOfGauge, "shim", "instrument_id", "(@shims::uuid[])[2]", "NULL"},
		{aCleanerAddition, eachDay.where("n % 2 = 0"), "chemical", "lot_id", eachDay.lot("cleaner"), "NULL"},
		{aConversionAddition, eachDay.where("n % 2 = 0"), "chemical", "lot_id", eachDay.lot("conversion"), "NULL"},
		{aWeld, eachPart, "welder", "person_id", eachPart.pick("welders"), "NULL"},
		{aWeld, eachPart, "filler", "lot_id", eachPart.lot("filler"), "NULL"},
		{aWeld, eachPart, "heat", "lot_id", eachPart.lot("heat"), "NULL"},
		{aWash, eachRack, "bath", "bath_id", "(@baths::uuid[])[1]", "NULL"},
		{aWash, eachRack, "bath", "bath_id", "(@baths::uuid[])[2]", "NULL"},
		{aWash, eachRack, "bath", "bath_id", "(@baths::uuid[])[3]", "NULL"},
		{aWash, eachRack, "bath", "bath_id", "(@baths::uuid[])[4]", "NULL"},
		{aWash, eachRack, "chemical", "lot_id", eachRack.lot("cleaner"), "NULL"},
		{aWash, eachRack, "chemical", "lot_id", eachRack.lot("conversion"), "NULL"},
		{aCoat, eachRack, "powder", "lot_id", "CASE WHEN n / 2 % 2 = 0 THEN " + eachRack.lot("powder") + " ELSE " + eachRack.lot("other powder") + " END", "NULL"},
		{aCoat, eachRack, "booth", "station_id", eachRack.pick("booths"), "NULL"},
		{aCure, eachLoad, "oven", "station_id", eachLoad.pick("ovens"), "NULL"},
		{aRubTest, eachLoad, "tested_part", "part_id", "pg_temp.id(" + fmt.Sprint(aPart) + ", n * 12, n * 12)", "NULL"},
		{aRubTest, eachLoad, "solvent", "lot_id", eachLoad.lot("solvent"), "NULL"},
		{aFilm, eachPart, "gauge", "instrument_id", eachPart.pick("gauges"), byTurn},
		{aWrongFilm, eachPart.where(voided), "gauge", "instrument_id", eachPart.pick("gauges"), byTurn},
		{aCorrectedFilm, eachPart.where(corrected), "gauge", "instrument_id", eachPart.pick("gauges"), byTurn},
	} {
		all = append(all, `INSERT INTO record_use (site_id, record_id, seq, role, `+u.column+`, verification_id) SELECT @site, `+u.of.id(u.record)+`, `+fmt.Sprint(i+1)+`, '`+u.role+`', `+u.value+`, `+
			u.verification+` FROM `+u.of.from)
	}
	return all
}

func bulkHolds() []string {
	held := eachPart.where(failed)
	return []string{
		`INSERT INTO hold (site_id, hold_id, number, cause, record_id, requirement, opened_by, opened_at, shop_day) SELECT @site, ` + held.id(aHold) + `, 'BULK-H-' || n, 'An inclusion in the finish', ` +
			held.id(aFailedFinish) + `, 'No inclusion', ` + held.pick("inspectors") + `, ` + held.at(152) + `, pg_temp.day(` + held.at(152) + `) FROM ` + held.from,
		`INSERT INTO hold_part (site_id, hold_id, part_id, cycle, open) SELECT @site, ` + held.id(aHold) + `, ` + held.id(aPart) + `, 1, NOT (` + decided + `) FROM ` + held.from,
		`INSERT INTO disposition (site_id, disposition_id, hold_id, part_id, code, reason, signature_id, decided_by, decided_at, shop_day) SELECT @site, ` + held.id(aDecision) + `, ` + held.id(aHold) + `, ` +
			held.id(aPart) + `, CASE WHEN ` + scrapped + ` THEN 'scrap' ELSE 'rework' END, 'Rubbed down and looked at again.', ` + held.id(aDecisionSignature) + `, ` + held.pick("supervisors") + `, ` +
			held.at(153) + `, pg_temp.day(` + held.at(153) + `) FROM ` + held.where(decided).from,
	}
}

// bulkPapers makes releases, shipments and certificates.
func bulkPapers() []string {
	release := func(id int, of series) string {
		return `INSERT INTO release (site_id, release_id, part_id, cycle, signature_id, released_by, released_at, shop_day, shift, gate) SELECT @site, ` + of.id(id) + `, ` + of.id(aPart) + `, 1, ` +
			of.holder(aReleaseSignature, eachLoad) + `, ` + of.pick("supervisors") + `, ` + of.at(200) + `, pg_temp.day(` + of.at(200) + `), 'Late',
			(SELECT jsonb_agg(jsonb_build_object('Kind', k, 'State', 'pass', 'RecordID', ` + of.id(aFilm) + `, 'Sentence', 'Recorded and within the limits.')) FROM unnest(ARRAY['weld', 'pretreatment', 'coating', 'cure', 'finish', 'film']) AS k)
			FROM ` + of.from
	}
	standing := `CASE WHEN ` + releasedAgain + ` THEN ` + eachPart.id(aSecondRelease) + ` ELSE ` + eachPart.id(aRelease) + ` END`
	again, out := eachPart.where(good+" AND "+releasedAgain), eachPart.where(gone+" AND NOT "+scrapped)
	certificate := func(id int, of series, supersedes, code, reason string) string {
		return `INSERT INTO certificate (site_id, certificate_id, year, seq, number, shipment_id, customer, order_ref, content, content_hash, supersedes_id, reason_code, reason, signature_id, signed_by, signed_at, shop_day)
			SELECT @site, ` + of.id(id) + `, 2021, ` + fmt.Sprint(id) + ` * 1000000 + n, 'BULK-C-` + fmt.Sprint(id) + `-' || n, ` + of.id(aShipment) + `, 'Customer ' || n % 40, 'PO ' || n, c.content,
				encode(sha256(convert_to(c.content, 'UTF8')), 'hex'), ` + supersedes + `, '` + code + `', '` + reason + `', ` + of.id(aCertificateSignature) + `, ` + of.pick("supervisors") + `, ` + of.at(1440+id) + `, pg_temp.day(` + of.at(1440) + `)
			FROM (SELECT repeat('{"film": "within the limits"}', 60) AS content) c, ` + of.from
	}
	certified := func(id int, of series) string {
		return `INSERT INTO certificate_part (site_id, certificate_id, part_id, release_id) SELECT @site, ` + of.holder(id, eachLoad) + `, ` + of.id(aPart) + `, ` + standing + ` FROM ` + of.from
	}
	issued, anew := eachLoad.where(goneLoad), eachLoad.where(reissued)
	return []string{
		release(aRelease, eachPart.where(good)),
		`INSERT INTO release_void (site_id, release_id, record_id, voided_at) SELECT @site, ` + again.id(aRelease) + `, ` + again.id(aCorrectedFilm) + `, ` + again.at(300) + ` FROM ` + again.from,
		release(aSecondRelease, again),
		`INSERT INTO shipment (site_id, shipment_id, number, customer, order_ref, delivery_note, shipped_by, shipped_at, shop_day) SELECT @site, ` + issued.id(aShipment) + `, 'BULK-S-' || n,
			'Customer ' || n % 40, 'PO ' || n, 'DN ' || n, ` + issued.pick("supervisors") + `, ` + issued.at(1440) + `, pg_temp.day(` + issued.at(1440) + `) FROM ` + issued.from,
		`INSERT INTO shipment_part (site_id, shipment_id, part_id, trip, release_id) SELECT @site, ` + out.holder(aShipment, eachLoad) + `, ` + out.id(aPart) + `, 1, ` + standing + ` FROM ` + out.from,
		certificate(aCertificate, issued, "NULL", "", ""),
		certificate(aReissue, anew, anew.id(aCertificate), "wrong_order", "The order was another one."),
		certified(aCertificate, out),
		certified(aReissue, out.where("n / 12 % 50 = 9")),
	}
}
