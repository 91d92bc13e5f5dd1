package store

import "slices"

// A ColumnType says how an exported column is written and what may be in it.
type ColumnType string

// The column types. Identifier and Text are both text: a reader must not turn them into numbers or dates. Only Text, which
// people type, is guarded against being run as a formula; identifiers and codes cannot begin so. Recorded holds the digits
// of a number exactly as they were entered.
const (
	Identifier ColumnType = "identifier"
	Text       ColumnType = "text"
	Code       ColumnType = "code"
	Recorded   ColumnType = "recorded number"
	Number     ColumnType = "number"
	Integer    ColumnType = "integer"
	Boolean    ColumnType = "boolean"
	Date       ColumnType = "date"
	Timestamp  ColumnType = "date and time with offset"
	Local      ColumnType = "local date and time"
)

// An ExportColumn is one column of an exported file as the dictionary tells of it.
type ExportColumn struct {
	Name    string
	Type    ColumnType
	Unit    string // empty where the column has none
	Meaning string
	Codes   string // allowed codes, separated by a space
	Since   string // version of the export layout
	sql     string
}

// An ExportFile is one file that can be taken out of the book.
type ExportFile struct {
	Name    string
	Line    string // what one line of it is
	Columns []ExportColumn
	from    string // everything after the column list, up to the order
	order   string
}

// ExportVersion is the version of the export layout. A column that is renamed or changes its meaning raises it.
const ExportVersion = "1"

// col makes a column without unit, with the allowed codes if any.
func col(name string, t ColumnType, sql, meaning string, codes ...string) ExportColumn {
	c := ExportColumn{Name: name, Type: t, Meaning: meaning, Since: "1", sql: sql}
	for i, code := range codes {
		if i > 0 {
			c.Codes += " "
		}
		c.Codes += code
	}
	return c
}

// measured makes a numeric column whose name ends in its unit.
func measured(name, unit, sql, meaning string) ExportColumn {
	return ExportColumn{Name: name, Type: Number, Unit: unit, Meaning: meaning, Since: "1", sql: sql}
}

// when makes the two columns of a time: with its offset, and as the clock on the wall showed it.
func when(name, sql, meaning string) []ExportColumn {
	return []ExportColumn{
		col(name+"_at", Timestamp, sql, meaning+", with the site's offset from UTC then"),
		col(name+"_local", Local, sql, meaning+", local time of the site"),
	}
}

// act makes the columns of something that a person did: who, and the two of when.
func act(name, who, whoMeaning, at, atMeaning string) []ExportColumn {
	return append([]ExportColumn{col(name+"_by", Text, who, whoMeaning)}, when(name, at, atMeaning)...)
}

func join(groups ...[]ExportColumn) []ExportColumn {
	var all []ExportColumn
	for _, g := range groups {
		all = append(all, g...)
	}
	return all
}

// unitColumns are the columns of values in canonical units: one column, one unit. Their unit is the code in the unit column
// of the reading's characteristic.
var unitColumns = []struct{ name, unit, meaning string }{
	{"value_um", "um", "Film thickness"}, {"value_mm", "mm", "Length or distance"}, {"value_degc", "degC", "Temperature"},
	{"value_s", "s", "Time in seconds"}, {"value_min", "min", "Time in minutes"}, {"value_percent", "percent", "Share, concentration or humidity"},
	{"value_ph", "pH", "pH"}, {"value_us_per_cm", "uS/cm", "Conductivity"}, {"value_kv", "kV", "Gun voltage"},
	{"value_ua", "uA", "Gun current"}, {"value_mohm", "Mohm", "Resistance to earth"}, {"value_lx", "lx", "Light"},
	{"value_gu", "GU", "Gloss"}, {"value_rubs_count", "double_rubs", "Double rubs"},
	{"value_ml", "mL", "Titrant"}, {"value_g_per_l", "g/L", "Concentration"}, {"value_g_per_m2", "g/m2", "Etch loss or coat weight"}, {"value_g", "g", "Mass of a panel"},
	{"value_cm2", "cm2", "Area of a panel"}, {"value_l", "L", "Volume added to a bath"}, {"value_kg", "kg", "Mass added to a bath"},
	{"value_n_m", "N.m", "Impact energy"},
}

var partsFile = ExportFile{
	Name: "parts.csv", Line: "one part that was received, checked or finished in the period",
	Columns: join([]ExportColumn{
		col("part_serial", Identifier, "pa.serial", "Serial on the part's hangtag, never given out twice"),
		col("part_number", Identifier, "pn.code", "Part number"),
		col("part_name", Text, "pn.name", "What the part is"),
		col("alloy", Text, "pn.alloy", "Alloy of the base metal"),
		measured("wall_mm", "mm", "pn.wall_mm", "Wall thickness"),
		col("job_number", Identifier, "j.number", "Job the part belongs to"),
		col("customer", Text, "j.customer", "Customer of the job"),
		col("order_reference", Text, "j.order_ref", "Customer's order"),
		col("spec", Identifier, "fs.code", "Finish spec of the part number"),
	}, when("received", "pa.received_at", "When the part was received"), []ExportColumn{
		col("status", Code, "ps.status", "Where the part stands now", "open", "in_progress", "on_hold", "accepted", "under_concession", "released", "shipped", "scrapped", "returned", "regraded"),
		col("cycle_no", Integer, "ps.cycle", "Trip through coating the part is in, from 1"),
		col("round_no", Integer, "ps.round", "Round of checks within the cycle, from 1; rework opens the next"),
		col("concession", Boolean, "ps.concession", "Whether a check was accepted under a concession"),
		col("open_holds", Identifier, "coalesce(ho.numbers, '')", "Numbers of the open holds, separated by a semicolon"),
	}, when("released", "rl.released_at", "When the part was released; empty when it was not"), []ExportColumn{
		col("released_by", Text, "sg.printed_name", "Signer of the release as printed then"),
		col("release_meaning", Code, "sg.meaning", "What the signature means", "released"),
		col("release_statement", Text, "sg.statement", "The sentence that was signed"),
	}, when("shipped", "sh.shipped_at", "When the part left the house; empty for one that is in house"), []ExportColumn{
		col("shipment", Identifier, "sh.number", "Number of the shipment the part is out with"),
		col("delivery_note", Text, "sh.delivery_note", "Delivery note of that shipment"),
		col("certificate", Identifier, "ce.number", "Number of the certificate that counts for the part now; its results are on its page"),
	}),
	from: ` FROM part pa
		JOIN part_status ps ON ps.site_id = pa.site_id AND ps.part_id = pa.part_id
		JOIN part_number pn ON pn.site_id = pa.site_id AND pn.part_number_id = pa.part_number_id
		JOIN finish_spec fs ON fs.site_id = pn.site_id AND fs.spec_id = pn.spec_id
		JOIN job j ON j.site_id = pa.site_id AND j.job_id = pa.job_id
		LEFT JOIN release rl ON rl.site_id = pa.site_id AND rl.part_id = pa.part_id
			AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)
		LEFT JOIN signature sg ON sg.site_id = rl.site_id AND sg.signature_id = rl.signature_id
		LEFT JOIN LATERAL (SELECT string_agg(h.number, ';' ORDER BY h.number) AS numbers FROM hold_part hp
			JOIN hold h ON h.site_id = hp.site_id AND h.hold_id = hp.hold_id WHERE hp.site_id = pa.site_id AND hp.part_id = pa.part_id AND hp.open) ho ON true
		CROSS JOIN LATERAL (SELECT pa.site_id, pa.part_id) p` + papersOf + `
		WHERE pa.site_id = @site AND (@job = '' OR j.number = @job) AND (@part_number = '' OR pn.code = @part_number)
		AND ((pa.received_at AT TIME ZONE @zone)::date BETWEEN @from AND @to
			OR EXISTS (SELECT 1 FROM record r WHERE r.site_id = pa.site_id AND r.part_id = pa.part_id AND r.shop_day BETWEEN @from AND @to)
			OR rl.shop_day BETWEEN @from AND @to OR sh.shop_day BETWEEN @from AND @to
			OR EXISTS (SELECT 1 FROM disposition d WHERE d.site_id = pa.site_id AND d.part_id = pa.part_id AND d.shop_day BETWEEN @from AND @to))`,
	order: " ORDER BY pa.serial",
}

// subjectColumns name what a record is about; the three files join on them and on record_id.
var subjectColumns = []ExportColumn{
	col("record_id", Identifier, "r.record_id", "The record; joins checks.csv and readings.csv"),
	col("kind", Code, "r.kind", "Kind of record", "weld", "pretreatment", "coating", "cure", "cure_test", "panel_test", "finish", "film", "verification", "calibration", "bath_reading", "bath_addition", "oven_survey", "first_article"),
	col("part_serial", Identifier, "pa.serial", "Part the record is about, if it is one; joins parts.csv"),
	col("rack_number", Identifier, "rk.number", "Rack the record is about, if it is one"),
	col("load_number", Identifier, "ol.number", "Oven load the record is about, if it is one"),
	col("gauge", Identifier, "i.code", "Gauge the record is about, if it is one"),
	col("bath", Identifier, "ba.code", "Bath the record is about, if it is one"),
	col("oven", Identifier, "ov.code", "Oven the record is about, if it is one"),
	col("panel", Identifier, "pl.code", "Witness panel the record is about, if it is one"),
	col("part_number", Identifier, "pn.code", "Part number of the part"),
	col("job_number", Identifier, "j.number", "Job of the part"),
	col("cycle_no", Integer, "r.cycle", "Trip through coating, from 1"),
	col("round_no", Integer, "r.round", "Round of checks within the cycle, from 1"),
	col("spec", Identifier, "fs.code", "Finish spec the record was judged by"),
	col("spec_revision", Identifier, "sr.revision", "Its revision"),
}

const recordJoins = ` FROM record r
	JOIN person pe ON pe.site_id = r.site_id AND pe.person_id = r.person_id
	LEFT JOIN part pa ON pa.site_id = r.site_id AND pa.part_id = r.part_id
	LEFT JOIN part_number pn ON pn.site_id = pa.site_id AND pn.part_number_id = pa.part_number_id
	LEFT JOIN job j ON j.site_id = pa.site_id AND j.job_id = pa.job_id
	LEFT JOIN rack rk ON rk.site_id = r.site_id AND rk.rack_id = r.rack_id
	LEFT JOIN oven_load ol ON ol.site_id = r.site_id AND ol.load_id = r.load_id
	LEFT JOIN instrument i ON i.site_id = r.site_id AND i.instrument_id = r.instrument_id
	LEFT JOIN bath ba ON ba.site_id = r.site_id AND ba.bath_id = r.bath_id
	LEFT JOIN station ov ON ov.site_id = r.site_id AND ov.station_id = r.oven_id
	LEFT JOIN panel pl ON pl.site_id = r.site_id AND pl.panel_id = r.panel_id
	LEFT JOIN finish_spec_revision sr ON sr.site_id = r.site_id AND sr.revision_id = r.spec_revision_id
	LEFT JOIN finish_spec fs ON fs.site_id = sr.site_id AND fs.spec_id = sr.spec_id
	LEFT JOIN record sup ON sup.site_id = r.site_id AND sup.supersedes_id = r.record_id `

// recordFilter takes all records of the period, or those that speak for a part of the job or part number. Corrected records
// stay in, marked as superseded.
const recordFilter = ` WHERE r.site_id = @site AND r.shop_day BETWEEN @from AND @to
	AND (@job = '' AND @part_number = '' OR EXISTS (SELECT 1 FROM ` + partsOfRecord + `
		JOIN part fp ON fp.site_id = r.site_id AND fp.part_id = x.part_id
		JOIN job fj ON fj.site_id = fp.site_id AND fj.job_id = fp.job_id
		JOIN part_number fn ON fn.site_id = fp.site_id AND fn.part_number_id = fp.part_number_id
		WHERE (@job = '' OR fj.number = @job) AND (@part_number = '' OR fn.code = @part_number)))`

var checksFile = ExportFile{
	Name: "checks.csv", Line: "one record: a check, a run or a gauge verification, corrected ones included",
	Columns: join(subjectColumns, []ExportColumn{
		col("verdict", Code, "r.verdict", "Verdict by the spec revision named; void takes the record it supersedes out of count", "pass", "fail", "guard_band", "incomplete", "void"),
		col("rule", Text, "r.rule", "Acceptance rule that decided"),
		col("finding", Text, "fi.sentence", "First finding, the deciding one where the record did not pass"),
		col("first_pass", Boolean, "r.first_pass", "Whether it is the first of its kind on its subject in cycle 1, which first-pass yield counts"),
	}, when("observed", "r.observed_at", "When it was observed, by the device's corrected clock"), when("recorded", "r.recorded_at", "When the server stored it"), []ExportColumn{
		measured("clock_offset_ms", "ms", "r.clock_offset_ms", "How far the device's clock was ahead of the server's"),
		col("shop_day", Date, "r.shop_day", "Shop day it counts for"),
		col("shift", Text, "r.shift", "Shift it counts for"),
		col("station", Text, "st.name", "Station where it was entered"),
		col("device", Text, "d.name", "Enrolled device it was entered on"),
		col("person", Text, "pe.name", "Person who entered it"),
		col("late_reason", Text, "r.late_reason", "Why it was entered late, if it was"),
		col("note", Text, "r.note", "Note"),
		col("gauges", Identifier, "u.gauges", "Gauges used, separated by a semicolon"),
		col("powder_lots", Identifier, "u.lots", "Powder lots used, separated by a semicolon"),
		col("material_lots", Identifier, "u.other_lots", "Lots of other materials used, each with its role (chemical, titrant, solvent, filler, heat, tape), separated by a semicolon"),
		col("booths", Text, "u.booths", "Booths used"),
		col("welders", Text, "u.welders", "Welders"),
		col("baths", Identifier, "u.baths", "Baths used, separated by a semicolon"),
		col("film_readings_count", Integer, "s.n", "Film readings in the check"),
		measured("film_mean_um", "um", "s.mean_um", "Mean of the film readings"),
		measured("film_min_um", "um", "s.min_um", "Lowest film reading"),
		measured("film_max_um", "um", "s.max_um", "Highest film reading"),
		measured("film_lowest_spot_um", "um", "s.lowest_spot_um", "Lowest mean of a spot"),
		col("hold_number", Identifier, "h.number", "Hold that the record opened, if it did"),
		col("exceptions", Text, "o.text", "Exceptions authorised for it: what, reason, signer, time and meaning"),
		col("supersedes", Identifier, "r.supersedes_id", "Record that this one corrects; the whole correction stands in corrections.csv"),
		col("correction_code", Code, "r.reason_code", "Kind of reason for the correction", correctionCodes...),
		col("correction_reason", Text, "r.reason", "Why it was corrected"),
		col("superseded_by", Identifier, "sup.record_id", "Record that corrects this one; such a record counts nowhere"),
		col("content_hash", Identifier, "r.content_hash", "SHA-256 of what was entered"),
	}),
	from: recordJoins + `
		LEFT JOIN station st ON st.site_id = r.site_id AND st.station_id = r.station_id
		LEFT JOIN device d ON d.site_id = r.site_id AND d.device_id = r.device_id
		LEFT JOIN film_summary s ON s.site_id = r.site_id AND s.record_id = r.record_id
		LEFT JOIN LATERAL (SELECT f.sentence FROM finding f WHERE f.site_id = r.site_id AND f.record_id = r.record_id ORDER BY f.seq LIMIT 1) fi ON true
		LEFT JOIN LATERAL (SELECT string_agg(ui.code, ';' ORDER BY u.seq) FILTER (WHERE u.role = 'gauge') AS gauges, string_agg(ul.lot_number, ';' ORDER BY u.seq) FILTER (WHERE u.role = 'powder') AS lots,
				string_agg(u.role || ' ' || ul.lot_number, ';' ORDER BY u.seq) FILTER (WHERE u.role <> 'powder') AS other_lots,
				string_agg(us.name, ';' ORDER BY u.seq) FILTER (WHERE u.role = 'booth') AS booths, string_agg(up.name, ';' ORDER BY u.seq) AS welders,
				string_agg(ub.code, ';' ORDER BY u.seq) AS baths
			FROM record_use u
			LEFT JOIN instrument ui ON ui.site_id = u.site_id AND ui.instrument_id = u.instrument_id
			LEFT JOIN material_lot ul ON ul.site_id = u.site_id AND ul.lot_id = u.lot_id
			LEFT JOIN station us ON us.site_id = u.site_id AND us.station_id = u.station_id
			LEFT JOIN person up ON up.site_id = u.site_id AND up.person_id = u.person_id
			LEFT JOIN bath ub ON ub.site_id = u.site_id AND ub.bath_id = u.bath_id
			WHERE u.site_id = r.site_id AND u.record_id = r.record_id) u ON true
		LEFT JOIN LATERAL (SELECT string_agg(ho.number, ';') AS number FROM hold ho WHERE ho.site_id = r.site_id AND ho.record_id = r.record_id) h ON true
		LEFT JOIN LATERAL (SELECT string_agg(ov.sentence || ' Reason: ' || ov.reason || '. Signed by ' || sg.printed_name || ', ' ||
				to_char(sg.signed_at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS"Z"') || ', meaning: ' || sg.meaning, ' | ' ORDER BY sg.signed_at) AS text
			FROM override ov JOIN signature sg ON sg.site_id = ov.site_id AND sg.signature_id = ov.signature_id
			WHERE ov.site_id = r.site_id AND ov.record_id = r.record_id) o ON true` + recordFilter,
	order: " ORDER BY r.shop_day, r.record_id",
}

var readingsFile = ExportFile{
	Name: "readings.csv", Line: "one measured value, rating or defect of a record",
	Columns: join(subjectColumns, when("observed", "r.observed_at", "When the record was observed, by the device's corrected clock"), []ExportColumn{
		col("shop_day", Date, "r.shop_day", "Shop day it counts for"),
		col("superseded", Boolean, "sup.record_id IS NOT NULL", "Whether a later record corrects this one"),
		col("line", Code, "l.line", "What the line holds", "reading", "rating", "defect"),
		col("seq_no", Integer, "l.seq", "Place of the line among its kind in the record, from 1"),
		col("characteristic", Code, "l.characteristic", "What was measured or rated; empty for a defect"),
		col("location", Text, "l.location", "Where: area, stage, channel or place on the part"),
		col("spot_no", Integer, "l.spot", "Spot or channel, from 1; 0 when unused"),
		col("rep_no", Integer, "l.rep", "Repeat on the spot, from 1; 0 when unused"),
		col("value_recorded", Recorded, "l.value_text", "The digits exactly as they were entered, in unit_recorded"),
		col("unit_recorded", Code, "l.unit", "Unit they were entered in"),
	}, unitValues(), []ExportColumn{
		col("absence", Code, "l.absence", "Why there is no value", "not_measured", "not_applicable", "below_range", "above_range", "pending"),
		col("rating_code", Text, "l.code", "Class or code of a rating"),
		col("defect_code", Identifier, "l.defect", "Code of a defect; none states that nothing was found"),
		col("defect_size_recorded", Recorded, "l.size_text", "Size of the defect exactly as entered, in mm"),
		measured("defect_size_mm", "mm", "l.size_mm", "Size of the defect"),
		measured("defect_length_mm", "mm", "l.length_mm", "Length of the defect"),
		col("defect_count", Integer, "l.count", "How many of the defect"),
		col("flag", Code, "l.flag", "How the single value stands to its limit", "in", "low", "high", "short", "guard"),
		col("source", Code, "l.source", "How the value came in", "typed", "wedge", "scan", "file", "computed"),
		col("received_text", Text, "l.raw_text", "What was received before tidying"),
		col("excluded", Boolean, `l.line = 'reading' AND EXISTS (SELECT 1 FROM exclusion x WHERE x.site_id = r.site_id AND x.record_id = r.record_id AND (x.seq IS NULL OR x.seq = l.seq)
			AND NOT EXISTS (SELECT 1 FROM exclusion_end e WHERE e.site_id = x.site_id AND e.exclusion_id = x.exclusion_id))`, "Whether it is left out of the statistics; why and by whom stands in exclusions.csv"),
	}),
	from: recordJoins + ` CROSS JOIN LATERAL (
			SELECT 'reading' AS line, 1 AS rank, rd.seq, rd.characteristic, rd.location, rd.spot, rd.rep, rd.value, rd.value_text, rd.unit, rd.absence, NULL AS code,
				NULL AS defect, NULL AS size_text, NULL::float8 AS size_mm, NULL::float8 AS length_mm, NULL::int AS count, rd.flag, rd.source, rd.raw_text
			FROM reading rd WHERE rd.site_id = r.site_id AND rd.record_id = r.record_id
			UNION ALL
			SELECT 'rating', 2, ra.seq, ra.characteristic, ra.location, NULL, NULL, NULL, NULL, NULL, NULL, ra.code, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL
			FROM rating ra WHERE ra.site_id = r.site_id AND ra.record_id = r.record_id
			UNION ALL
			SELECT 'defect', 3, de.seq, NULL, de.place, NULL, NULL, NULL, NULL, NULL, NULL, NULL, de.code, de.size_text, de.size_mm, de.length_mm, de.count, de.flag, NULL, NULL
			FROM defect de WHERE de.site_id = r.site_id AND de.record_id = r.record_id) l` + recordFilter,
	order: " ORDER BY r.shop_day, r.record_id, l.rank, l.seq",
}

var correctionCodes = append(slices.Clone(CorrectionCodes), EntryUndone)

var correctionsFile = ExportFile{
	Name: "corrections.csv", Line: "one correction or void: the record, the one whose place it takes, who, when and why",
	Columns: join(subjectColumns, []ExportColumn{
		col("supersedes", Identifier, "r.supersedes_id", "Record whose place it takes; joins checks.csv and readings.csv"),
		col("correction_code", Code, "r.reason_code", "Kind of reason", correctionCodes...),
		col("correction_reason", Text, "r.reason", "Reason in words"),
		col("verdict_was", Code, "o.verdict", "Verdict of the record before", "pass", "fail", "guard_band", "incomplete"),
		col("verdict", Code, "r.verdict", "Verdict of this record", "pass", "fail", "guard_band", "incomplete", "void"),
		col("entered_by", Text, "op.name", "Person who entered the record before"),
	}, act("corrected", "pe.name", "Person who corrected it", "r.recorded_at", "When the correction was stored"), []ExportColumn{
		col("signed_by", Text, "sg.printed_name", "Signer as printed then; empty for an entry that its author took back at once"),
		col("signature_meaning", Code, "sg.meaning", "What the signature means", "corrected"),
	}, when("signed", "sg.signed_at", "When it was signed"), []ExportColumn{
		col("hold_number", Identifier, "h.number", "Hold that the correction opened, if it did"),
		col("releases_void", Identifier, "v.serials", "Parts whose release became void by it, separated by a semicolon"),
		col("superseded_by", Identifier, "sup.record_id", "Record that corrects this correction"),
	}),
	from: recordJoins + `JOIN record o ON o.site_id = r.site_id AND o.record_id = r.supersedes_id
		JOIN person op ON op.site_id = o.site_id AND op.person_id = o.person_id
		LEFT JOIN signature sg ON sg.site_id = r.site_id AND sg.signature_id = r.signature_id
		LEFT JOIN LATERAL (SELECT string_agg(ho.number, ';') AS number FROM hold ho WHERE ho.site_id = r.site_id AND ho.record_id = r.record_id) h ON true
		LEFT JOIN LATERAL (SELECT string_agg(vp.serial, ';' ORDER BY vp.serial) AS serials FROM release_void rv
			JOIN release rl ON rl.site_id = rv.site_id AND rl.release_id = rv.release_id
			JOIN part vp ON vp.site_id = rl.site_id AND vp.part_id = rl.part_id
			WHERE rv.site_id = r.site_id AND rv.record_id = r.record_id) v ON true` + recordFilter,
	order: " ORDER BY r.shop_day, r.recorded_at, r.record_id",
}

var exclusionsFile = ExportFile{
	Name: "exclusions.csv", Line: "one reading, or all of a record, that a person left out of the statistics, those taken back too",
	Columns: join(subjectColumns, []ExportColumn{
		col("seq_no", Integer, "x.seq", "Place of the reading in the record, from 1; empty when all readings are left out"),
		col("value_recorded", Recorded, "rd.value_text", "The digits exactly as they were entered, in unit_recorded; empty when all are left out"),
		col("unit_recorded", Code, "rd.unit", "Unit they were entered in"),
		col("excluded", Boolean, "xe.exclusion_id IS NULL", "Whether it is left out now; false when it was taken back"),
		col("reason_code", Code, "x.reason_code", "Kind of reason", ExclusionCodes...),
		col("reason", Text, "x.reason", "Reason in words"),
	}, act("excluded", "sg.printed_name", "Person who left it out, as printed then", "x.excluded_at", "When it was left out"), []ExportColumn{
		col("taken_back_by", Text, "es.printed_name", "Person who took it back"),
		col("taken_back_reason", Text, "xe.reason", "Why it was taken back"),
	}, when("taken_back", "xe.ended_at", "When it was taken back")),
	from: recordJoins + `JOIN exclusion x ON x.site_id = r.site_id AND x.record_id = r.record_id
		JOIN signature sg ON sg.site_id = x.site_id AND sg.signature_id = x.signature_id
		LEFT JOIN reading rd ON rd.site_id = x.site_id AND rd.record_id = x.record_id AND rd.seq = x.seq
		LEFT JOIN exclusion_end xe ON xe.site_id = x.site_id AND xe.exclusion_id = x.exclusion_id
		LEFT JOIN signature es ON es.site_id = xe.site_id AND es.signature_id = xe.signature_id` + recordFilter,
	order: " ORDER BY x.excluded_at, x.exclusion_id",
}

var signaturesFile = ExportFile{
	Name: "signatures.csv", Line: "one signature: who, when, what it means, on what, and whether it is void",
	Columns: join([]ExportColumn{
		col("signature_id", Identifier, "sg.signature_id", "The signature"),
		col("signed_by", Text, "sg.printed_name", "Signer as printed then"),
		col("meaning", Code, "sg.meaning", "What the signature means", "performed", "reviewed", "approved", "released", "disposed", "authorised", "corrected"),
		col("statement", Text, "sg.statement", "The sentence that was signed"),
	}, when("signed", "sg.signed_at", "When it was signed"), []ExportColumn{
		col("auth_used", Code, "sg.auth_used", "What the signer gave: the secret alone, or at the first signature of a sitting the identity too", "pin", "pin+name", "pin+badge", "password", "password+name", "password+badge"),
		col("part_serial", Identifier, "pa.serial", "Part it is about, if it is one; joins parts.csv"),
		col("on_record_id", Identifier, "coalesce(r.record_id, ov.record_id, fap.record_id, fad.record_id)", "Record it stands on, if it is one; joins checks.csv"),
		col("hold_number", Identifier, "h.number", "Hold that was decided, if it is a disposition"),
		col("disposition", Code, "d.code", "What was decided", "rework", "strip_recoat", "concession", "regrade", "return", "scrap", "no_defect"),
		col("state", Code, "CASE WHEN coalesce(rv.release_id, later.record_id, fdv.decline_id) IS NULL THEN 'valid' ELSE 'void' END", "Whether what was signed still stands", "valid", "void"),
		col("void_by", Identifier, "coalesce(rv.record_id, later.record_id)", "Record whose correction made the signature void; empty for a release that ended with the return of its part and for a decline that was voided"),
		col("content_hash", Identifier, "sg.content_hash", "SHA-256 of what was signed"),
	}),
	from: ` FROM signature sg
		LEFT JOIN record r ON r.site_id = sg.site_id AND r.signature_id = sg.signature_id
		LEFT JOIN override ov ON ov.site_id = sg.site_id AND ov.signature_id = sg.signature_id
		LEFT JOIN first_article_approval fap ON fap.site_id = sg.site_id AND fap.signature_id = sg.signature_id
		LEFT JOIN first_article_decline fad ON fad.site_id = sg.site_id AND fad.signature_id = sg.signature_id
		LEFT JOIN first_article_decline_void fdv ON fdv.site_id = fad.site_id AND fdv.decline_id = fad.decline_id
		LEFT JOIN record onto ON onto.site_id = sg.site_id AND onto.record_id = coalesce(ov.record_id, fap.record_id, fad.record_id)
		LEFT JOIN record later ON later.site_id = sg.site_id AND later.supersedes_id = coalesce(r.record_id, ov.record_id, fap.record_id, fad.record_id)
		LEFT JOIN disposition d ON d.site_id = sg.site_id AND d.signature_id = sg.signature_id
		LEFT JOIN hold h ON h.site_id = d.site_id AND h.hold_id = d.hold_id
		LEFT JOIN release rl ON rl.site_id = sg.site_id AND rl.signature_id = sg.signature_id
		LEFT JOIN release_void rv ON rv.site_id = rl.site_id AND rv.release_id = rl.release_id
		LEFT JOIN part pa ON pa.site_id = sg.site_id AND pa.part_id = coalesce(rl.part_id, d.part_id, r.part_id, onto.part_id)
		LEFT JOIN part_number pn ON pn.site_id = pa.site_id AND pn.part_number_id = pa.part_number_id
		LEFT JOIN job j ON j.site_id = pa.site_id AND j.job_id = pa.job_id
		WHERE sg.site_id = @site AND (sg.signed_at AT TIME ZONE @zone)::date BETWEEN @from AND @to
		AND (@job = '' OR j.number = @job) AND (@part_number = '' OR pn.code = @part_number)`,
	order: " ORDER BY sg.signed_at, sg.signature_id",
}

// lotColumns say which inspection lot a line is of.
var lotColumns = []ExportColumn{
	col("lot_number", Identifier, "l.number", "Inspection lot"),
	col("spec", Identifier, "fs.code", "Finish spec of its parts"),
	col("spec_revision", Identifier, "rev.revision", "Revision whose rule of sampling made it"),
	col("kind", Code, "l.kind", "Kind of check that is made on the sample; behind a point the characteristic of it where only that is sampled", "weld", "weld.leg_length", "weld.throat_thickness", "cure_test", "finish", "finish.gloss", "finish.adhesion", "film"),
}

const lotJoins = ` FROM inspection_lot l
	JOIN finish_spec fs ON fs.site_id = l.site_id AND fs.spec_id = l.spec_id
	JOIN finish_spec_revision rev ON rev.site_id = l.site_id AND rev.revision_id = l.spec_revision_id
	JOIN inspection_lot_status st ON st.site_id = l.site_id AND st.lot_id = l.lot_id
	JOIN person pe ON pe.site_id = l.site_id AND pe.person_id = l.made_by
	LEFT JOIN job j ON j.site_id = l.site_id AND j.job_id = l.job_id
	LEFT JOIN rack rk ON rk.site_id = l.site_id AND rk.rack_id = l.rack_id
	LEFT JOIN oven_load ol ON ol.site_id = l.site_id AND ol.load_id = l.load_id `

const lotFilter = ` WHERE l.site_id = @site AND l.shop_day BETWEEN @from AND @to
	AND (@job = '' AND @part_number = '' OR EXISTS (SELECT 1 FROM inspection_lot_part fm
		JOIN part fp ON fp.site_id = fm.site_id AND fp.part_id = fm.part_id
		JOIN job fj ON fj.site_id = fp.site_id AND fj.job_id = fp.job_id
		JOIN part_number fn ON fn.site_id = fp.site_id AND fn.part_number_id = fp.part_number_id
		WHERE fm.site_id = l.site_id AND fm.lot_id = l.lot_id AND (@job = '' OR fj.number = @job) AND (@part_number = '' OR fn.code = @part_number)))`

var lotsFile = ExportFile{
	Name: "inspection-lots.csv", Line: "one inspection lot: its parts stand on one sample",
	Columns: join(lotColumns, []ExportColumn{
		col("basis", Code, "l.basis", "What its parts have in common: offered together, one rack, one oven load", "lot", "rack", "load"),
		col("source", Identifier, "coalesce(j.number, rk.number, ol.number)", "Number of the job, rack or oven load"),
		col("first_offered", Boolean, "l.first_offered", "Whether none of its parts was in a lot that was rejected before; only such lots count for switching"),
		col("plan", Code, "l.plan", "Type of plan: by AQL, number of parts for thickness, none bad, number of parts by the spec", "aql", "coating", "zero", "number"),
		col("standard", Text, "l.standard", "Where the plan comes from"),
		col("level", Code, "l.level", "Inspection level", "S-1", "S-2", "S-3", "S-4", "I", "II", "III"),
		measured("aql_percent", "percent", "l.aql", "AQL in percent bad"),
		col("severity", Code, "l.severity", "How strictly it is inspected", "normal", "tightened", "reduced"),
		col("code_letter", Identifier, "l.code_letter", "Sample size code letter"),
		col("plan_letter", Identifier, "l.plan_letter", "Code letter of the plan that was used, where the table has an arrow"),
		col("lot_parts_count", Integer, "l.lot_size", "Parts in the lot"),
		col("sample_parts_count", Integer, "l.sample_size", "Parts that are checked"),
		col("accept_no", Integer, "l.accept", "Most failed parts with which it is accepted"),
		col("reject_no", Integer, "l.reject", "Fewest failed parts with which it is rejected"),
		col("seed", Identifier, "encode(l.seed, 'hex')", "Seed of the draw: the same seed gives the same sample"),
		col("state", Code, "st.state", "Where it stands now; between is accepted and ends reduced inspection", "open", "accepted", "between", "rejected"),
		col("checked_count", Integer, "st.checked", "Samples that are checked"),
		col("failed_count", Integer, "st.failed", "Samples that failed"),
		col("hold_numbers", Identifier, "ho.numbers", "Holds of what it stood for, separated by a semicolon"),
	}, act("made", "pe.name", "Person who made it", "l.made_at", "When it was made and its sample drawn"), []ExportColumn{
		col("verdicts", Text, "ve.text", "Every verdict on it with its time, oldest first"),
	}),
	from: lotJoins + `
		LEFT JOIN LATERAL (SELECT string_agg(h.number, ';' ORDER BY h.number) AS numbers FROM inspection_hold ih JOIN hold h ON h.site_id = ih.site_id AND h.hold_id = ih.hold_id
			WHERE ih.site_id = l.site_id AND ih.lot_id = l.lot_id) ho ON true
		LEFT JOIN LATERAL (SELECT string_agg(v.verdict || ' ' || to_char(v.decided_at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS"Z"'), ' | ' ORDER BY v.version) AS text
			FROM inspection_verdict v WHERE v.site_id = l.site_id AND v.lot_id = l.lot_id) ve ON true` + lotFilter,
	order: " ORDER BY l.made_at, l.number",
}

var samplesFile = ExportFile{
	Name: "samples.csv", Line: "one part in the sample of an inspection lot, swapped ones included",
	Columns: join(lotColumns, []ExportColumn{
		col("sample_no", Integer, "s.seq", "Place in the sample, from 1"),
		col("part_serial", Identifier, "pa.serial", "The part; joins parts.csv"),
		col("position_no", Integer, "m.position", "Place of the part in the list that was drawn from, from 1"),
		col("replaces", Identifier, "po.serial", "Part whose place it took; empty when it was drawn at first"),
		col("swap_reason", Text, "s.reason", "Why the part before it was taken out of the sample"),
		col("in_sample", Boolean, "later.part_id IS NULL", "Whether it is in the sample now; false when another part took its place"),
		col("verdict", Code, "c.verdict", "Verdict of its record that counts", "pass", "fail", "guard_band", "incomplete"),
		col("record_id", Identifier, "c.record_id", "That record; joins checks.csv"),
	}, act("drawn", "dr.name", "Person who made the lot or the swap", "s.drawn_at", "When it was drawn")),
	from: lotJoins + `JOIN inspection_sample s ON s.site_id = l.site_id AND s.lot_id = l.lot_id
		JOIN inspection_lot_part m ON m.site_id = s.site_id AND m.lot_id = s.lot_id AND m.part_id = s.part_id
		JOIN part pa ON pa.site_id = s.site_id AND pa.part_id = s.part_id
		JOIN person dr ON dr.site_id = s.site_id AND dr.person_id = s.drawn_by
		LEFT JOIN inspection_sample o ON o.site_id = s.site_id AND o.lot_id = s.lot_id AND o.seq = s.seq AND o.version = s.version - 1
		LEFT JOIN part po ON po.site_id = o.site_id AND po.part_id = o.part_id
		LEFT JOIN inspection_sample later ON later.site_id = s.site_id AND later.lot_id = s.lot_id AND later.seq = s.seq AND later.version = s.version + 1
		` + sampleRecord + lotFilter,
	order: " ORDER BY l.made_at, l.number, s.seq, s.version",
}

func unitValues() []ExportColumn {
	columns := make([]ExportColumn, len(unitColumns))
	for i, u := range unitColumns {
		// The stream fills these from one value and the unit of its characteristic: see lineWriter.
		columns[i] = measured(u.name, u.unit, "", u.meaning+" in "+u.unit+", converted exactly from what was entered")
	}
	return columns
}

// exportFiles are all files in the order of the screens.
var exportFiles = []ExportFile{partsFile, checksFile, readingsFile, correctionsFile, exclusionsFile, signaturesFile, lotsFile, samplesFile, articlesFile}

// ExportFiles describes the files that can be exported, the dictionary aside.
func ExportFiles() []ExportFile { return exportFiles }
