package store

// articlesFile has the lines of the latest record of each first article in the period.
var articlesFile = ExportFile{
	Name: "first-articles.csv", Line: "one numbered requirement of a first article, as its latest record answers it",
	Columns: join([]ExportColumn{
		col("article", Identifier, "fa.number", "Number of the first article"),
		col("part_number", Identifier, "pn.code", "Part number it stands for"),
		col("part_serial", Identifier, "pa.serial", "Part it was made on; joins parts.csv"),
		col("cycle_no", Integer, "fa.cycle", "Trip through coating of that part, from 1"),
		col("scope", Code, "CASE WHEN sc.whole THEN 'full' ELSE 'partial' END", "Whether every requirement is listed, or what changed since the full one", "full", "partial"),
		col("spec", Identifier, "fs.code", "Finish spec"),
		col("spec_revision", Identifier, "sr.revision", "Its revision"),
		col("drawing_revision", Identifier, "sc.drawing_revision", "Revision of the list of drawing requirements, 0 without one"),
		col("requirement_no", Identifier, "l.number", "Number of the requirement; D and its number for one of the drawing"),
		col("requirement", Text, "l.requirement", "The requirement in words"),
		col("result", Text, "l.result", "What was found"),
		col("measuring_device", Text, "l.device", "Device or devices it was found with"),
		col("verdict", Code, "l.verdict", "Verdict on the requirement; incomplete is not answered", "pass", "fail", "guard_band", "incomplete"),
		col("evidence_record_id", Identifier, "l.evidence_id", "Record that answers it; joins checks.csv and readings.csv; empty for a result entered by hand"),
		col("evidence_files", Identifier, "f.ids", "Files that show it, separated by a semicolon"),
		col("record_id", Identifier, "r.record_id", "Record of the first article; joins checks.csv"),
	}, act("recorded", "pe.name", "Person who recorded it", "r.recorded_at", "When it was recorded"), []ExportColumn{
		col("approval", Code, "CASE WHEN ap.approval_id IS NULL THEN 'none' WHEN v.void IS NULL THEN 'valid' ELSE 'void' END", "Whether series work may rest on it", "none", "valid", "void"),
	}, act("approved", "sg.printed_name", "Signer of the approval as printed then", "ap.approved_at", "When it was approved"), []ExportColumn{
		col("void_because", Text, "v.void", "Why the approval is void"),
	}, act("declined", "ds.printed_name", "Signer who declined the record, as printed then; empty where nobody did or the decline was voided",
		"dc.declined_at", "When it was declined"), []ExportColumn{
		col("decline_code", Code, "dc.reason_code", "Why it was declined", DeclineCodes...),
		col("decline_reason", Text, "dc.reason", "The same in words"),
	}),
	from: ` FROM first_article fa
		JOIN part pa ON pa.site_id = fa.site_id AND pa.part_id = fa.part_id
		JOIN part_number pn ON pn.site_id = fa.site_id AND pn.part_number_id = fa.part_number_id
		JOIN job j ON j.site_id = pa.site_id AND j.job_id = pa.job_id
		JOIN LATERAL ` + latestArticleRecord + `
		JOIN first_article_scope sc ON sc.site_id = r.site_id AND sc.record_id = r.record_id
		JOIN first_article_line l ON l.site_id = r.site_id AND l.record_id = r.record_id
		JOIN person pe ON pe.site_id = r.site_id AND pe.person_id = r.person_id
		JOIN finish_spec_revision sr ON sr.site_id = r.site_id AND sr.revision_id = r.spec_revision_id
		JOIN finish_spec fs ON fs.site_id = sr.site_id AND fs.spec_id = sr.spec_id
		LEFT JOIN first_article_approval ap ON ap.site_id = r.site_id AND ap.record_id = r.record_id
		LEFT JOIN signature sg ON sg.site_id = ap.site_id AND sg.signature_id = ap.signature_id
		` + standingDecline + `
		LEFT JOIN LATERAL (SELECT string_agg(x.file_id::text, ';' ORDER BY x.added_at, x.file_id) AS ids FROM file x
			WHERE x.site_id = fa.site_id AND x.article_id = fa.article_id AND x.line = l.number) f ON true
		` + articleVoid + `WHERE fa.site_id = @site AND r.shop_day BETWEEN @from AND @to AND (@job = '' OR j.number = @job) AND (@part_number = '' OR pn.code = @part_number)`,
	order: " ORDER BY fa.number, l.seq",
}
