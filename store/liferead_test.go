package store_test

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// The questions of this file read the records as an auditor with a list of the tables would. They take nothing from what the
// program keeps of a part's standing, and nothing from its gate.

// lifeStands finds out of the decisions in which cycle and round a part is, and since when.
const lifeStands = `WITH moves AS (
		SELECT d.part_id, d.code, d.decided_at, row_number() OVER (PARTITION BY d.part_id ORDER BY d.decided_at, d.disposition_id) AS n
		FROM disposition d WHERE d.site_id = $1 AND d.part_id = ANY($2) AND d.code IN ('rework', 'strip_recoat')),
	stripped AS (SELECT part_id, count(*) AS times, max(n) AS last FROM moves WHERE code = 'strip_recoat' GROUP BY part_id),
	stands AS (
		SELECT p.part_id, coalesce(s.times, 0)::int + 1 AS cycle,
			(SELECT count(*) FROM moves m WHERE m.part_id = p.part_id AND m.n > coalesce(s.last, 0))::int + 1 AS round,
			coalesce((SELECT max(decided_at) FROM moves m WHERE m.part_id = p.part_id), p.received_at) AS since
		FROM part p LEFT JOIN stripped s ON s.part_id = p.part_id WHERE p.site_id = $1 AND p.part_id = ANY($2) AND $3::uuid[] IS NOT NULL)`

// lifeFound finds the records that speak for a part in its cycle. What was done to a rack or load speaks for the parts that
// were on it, and so does a test on a panel of the load. Runs are present in every round of a cycle, checks in their own.
const lifeFound = lifeStands + `,
	carried AS (
		SELECT st.part_id, st.since, rp.rack_id, lr.load_id FROM stands st
		JOIN rack_part rp ON rp.site_id = $1 AND rp.part_id = st.part_id AND rp.cycle = st.cycle
		LEFT JOIN load_rack lr ON lr.site_id = $1 AND lr.rack_id = rp.rack_id),
	found AS (
		SELECT st.part_id, r.record_id, r.kind, r.verdict, r.observed_at, r.round = st.round AS present
			FROM stands st JOIN record r ON r.site_id = $1 AND r.part_id = st.part_id AND r.cycle = st.cycle
		UNION ALL SELECT c.part_id, r.record_id, r.kind, r.verdict, r.observed_at, r.kind IN ('pretreatment', 'coating', 'cure') OR r.counted_at >= c.since
			FROM carried c JOIN record r ON r.site_id = $1 AND (r.rack_id = c.rack_id OR r.load_id = c.load_id)
		UNION ALL SELECT c.part_id, r.record_id, r.kind, r.verdict, r.observed_at, r.counted_at >= c.since
			FROM carried c JOIN panel pl ON pl.site_id = $1 AND pl.load_id = c.load_id JOIN record r ON r.site_id = $1 AND r.panel_id = pl.panel_id),
	usable AS (
		SELECT f.* FROM found f WHERE f.present AND f.verdict <> 'void'
			AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = $1 AND s.supersedes_id = f.record_id)
			AND NOT EXISTS (SELECT 1 FROM recall_decision d JOIN recall_record rr ON rr.site_id = $1 AND rr.review_id = d.review_id
				WHERE d.site_id = $1 AND d.part_id = f.part_id AND d.code = 're_measure' AND rr.record_id = f.record_id))`

// A lifeProof is the last record of a kind that counts for a part now, and whether a concession covers what it found or a
// second person has yet to confirm it.
type lifeProof struct {
	Part          uuid.UUID
	Kind          quality.Kind
	Verdict       quality.Verdict
	Waived, Waits bool
}

const lifeProofs = lifeFound + `
	SELECT DISTINCT ON (u.part_id, u.kind) u.part_id, u.kind, u.verdict,
		EXISTS (SELECT 1 FROM disposition d JOIN hold h ON h.site_id = $1 AND h.hold_id = d.hold_id
			WHERE d.site_id = $1 AND d.part_id = u.part_id AND d.code = 'concession' AND h.record_id = u.record_id),
		EXISTS (SELECT 1 FROM critical_entry c WHERE c.site_id = $1 AND c.record_id = u.record_id)
			AND NOT EXISTS (SELECT 1 FROM confirmation c WHERE c.site_id = $1 AND c.record_id = u.record_id AND c.outcome = 'confirmed')
	FROM usable u ORDER BY u.part_id, u.kind, u.observed_at DESC, u.record_id DESC`

// A lifeLot is the place of a part in a lot whose sample is checked for it, by the records of the sample.
type lifeLot struct {
	Part                           uuid.UUID
	Kind                           quality.Kind
	Drawn, Waived                  bool
	Sample, Reject, Checked, Fails int
}

const lifeLots = lifeStands + `,
	drawn AS (SELECT DISTINCT ON (s.lot_id, s.seq) s.lot_id, s.part_id FROM inspection_sample s WHERE s.site_id = $1 ORDER BY s.lot_id, s.seq, s.version DESC),
	checked AS (
		SELECT DISTINCT ON (m.lot_id, m.part_id) m.lot_id, r.verdict FROM inspection_lot_part m JOIN drawn d ON d.lot_id = m.lot_id AND d.part_id = m.part_id
		JOIN record r ON r.site_id = $1 AND r.part_id = m.part_id AND r.kind = m.kind AND r.cycle = m.cycle AND r.round = m.round AND r.verdict <> 'void'
		WHERE m.site_id = $1 AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = $1 AND s.supersedes_id = r.record_id)
			AND NOT EXISTS (SELECT 1 FROM recall_decision x JOIN recall_record rr ON rr.site_id = $1 AND rr.review_id = x.review_id
				WHERE x.site_id = $1 AND x.part_id = m.part_id AND x.code = 're_measure' AND rr.record_id = r.record_id)
		ORDER BY m.lot_id, m.part_id, r.observed_at DESC, r.record_id DESC)
	SELECT m.part_id, m.kind, EXISTS (SELECT 1 FROM drawn d WHERE d.lot_id = m.lot_id AND d.part_id = m.part_id),
		EXISTS (SELECT 1 FROM inspection_hold h JOIN disposition d ON d.site_id = $1 AND d.hold_id = h.hold_id AND d.part_id = m.part_id AND d.code = 'concession'
			WHERE h.site_id = $1 AND h.lot_id = m.lot_id), l.sample_size, l.reject,
		(SELECT count(*) FROM checked c WHERE c.lot_id = m.lot_id AND c.verdict <> 'incomplete')::int, (SELECT count(*) FROM checked c WHERE c.lot_id = m.lot_id AND c.verdict = 'fail')::int
	FROM inspection_lot_part m JOIN stands st ON st.part_id = m.part_id AND st.cycle = m.cycle AND st.round = m.round
	JOIN inspection_lot l ON l.site_id = $1 AND l.lot_id = m.lot_id WHERE m.site_id = $1`

// A lifePart is a part as its decisions, releases and shipments leave it, beside what the program keeps of it.
type lifePart struct {
	Part                       uuid.UUID
	Cycle, Round               int
	Release                    int // releases that are not void
	ReleaseCycle               int
	Out, Begun, Held           bool
	End                        string
	Kept                       string
	KeptCycle, KeptRound, Open int
}

const lifeParts = lifeFound + `
	SELECT st.part_id, st.cycle, st.round, coalesce(rl.n, 0)::int, coalesce(rl.cycle, 0),
		EXISTS (SELECT 1 FROM shipment_part sp WHERE sp.site_id = $1 AND sp.part_id = st.part_id
			AND NOT EXISTS (SELECT 1 FROM shipment_return b WHERE b.site_id = $1 AND b.shipment_id = sp.shipment_id AND b.part_id = sp.part_id)),
		EXISTS (SELECT 1 FROM found f WHERE f.part_id = st.part_id),
		EXISTS (SELECT 1 FROM hold_part hp WHERE hp.site_id = $1 AND hp.part_id = st.part_id
			AND NOT EXISTS (SELECT 1 FROM disposition d WHERE d.site_id = $1 AND d.hold_id = hp.hold_id AND d.part_id = hp.part_id)),
		coalesce((SELECT min(d.code) FROM disposition d WHERE d.site_id = $1 AND d.part_id = st.part_id AND d.code IN ('scrap', 'return', 'regrade')), ''),
		ps.status, ps.cycle, ps.round, (SELECT count(*) FROM hold_part hp WHERE hp.site_id = $1 AND hp.part_id = st.part_id AND hp.open)::int
	FROM stands st JOIN part_status ps ON ps.site_id = $1 AND ps.part_id = st.part_id
	LEFT JOIN (SELECT part_id, count(*) AS n, max(cycle) AS cycle FROM release r WHERE r.site_id = $1
		AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = $1 AND v.release_id = r.release_id) GROUP BY part_id) rl ON rl.part_id = st.part_id
	ORDER BY st.part_id`

// A lifeFault is something that must never be, in words.
type lifeFault struct{ What, Part string }

// lifeFaults looks for what must never be, whatever the order of acts.
const lifeFaults = `
	SELECT 'was hung on rack ' || k.number || ' after its ' || r.kind, p.serial FROM rack_part rp JOIN part p ON p.site_id = $1 AND p.part_id = rp.part_id
		JOIN rack k ON k.site_id = $1 AND k.rack_id = rp.rack_id JOIN record r ON r.site_id = $1 AND r.rack_id = rp.rack_id
		WHERE rp.site_id = $1 AND rp.part_id = ANY($2) AND $3::uuid[] IS NOT NULL AND r.counted_at <
			(SELECT max(e.at) FROM event e WHERE e.site_id = $1 AND e.verb = 'hung' AND e.subject_id = rp.part_id AND e.after ->> 'rack' = k.number)
	UNION ALL SELECT 'went into load ' || o.number || ' after its ' || r.kind, p.serial FROM rack_part rp JOIN part p ON p.site_id = $1 AND p.part_id = rp.part_id
		JOIN load_rack lr ON lr.site_id = $1 AND lr.rack_id = rp.rack_id JOIN oven_load o ON o.site_id = $1 AND o.load_id = lr.load_id JOIN record r ON r.site_id = $1 AND r.load_id = lr.load_id
		WHERE rp.site_id = $1 AND rp.part_id = ANY($2) AND r.counted_at < (SELECT max(e.at) FROM event e WHERE e.site_id = $1 AND e.verb = 'rack loaded' AND e.subject_id = lr.rack_id)
	UNION ALL SELECT 'left without a release that counted', p.serial FROM shipment_part sp JOIN part p ON p.site_id = $1 AND p.part_id = sp.part_id
		JOIN shipment s ON s.site_id = $1 AND s.shipment_id = sp.shipment_id LEFT JOIN release r ON r.site_id = $1 AND r.release_id = sp.release_id AND r.part_id = sp.part_id
		WHERE sp.site_id = $1 AND sp.part_id = ANY($2) AND (r.release_id IS NULL OR r.released_at > s.shipped_at
			OR EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = $1 AND v.release_id = r.release_id AND v.voided_at < s.shipped_at))
	UNION ALL SELECT 'left in a recall without a decision', p.serial FROM shipment_part sp JOIN part p ON p.site_id = $1 AND p.part_id = sp.part_id
		JOIN shipment s ON s.site_id = $1 AND s.shipment_id = sp.shipment_id JOIN recall_line l ON l.site_id = $1 AND l.part_id = sp.part_id
		JOIN recall_review v ON v.site_id = $1 AND v.review_id = l.review_id AND v.opened_at < s.shipped_at
		WHERE sp.site_id = $1 AND sp.part_id = ANY($2) AND NOT EXISTS (SELECT 1 FROM recall_decision d
			WHERE d.site_id = $1 AND d.review_id = l.review_id AND d.part_id = l.part_id AND d.decided_at < s.shipped_at)
	UNION ALL SELECT 'was released in a recall without a decision', p.serial FROM release r JOIN part p ON p.site_id = $1 AND p.part_id = r.part_id
		JOIN recall_line l ON l.site_id = $1 AND l.part_id = r.part_id JOIN recall_review v ON v.site_id = $1 AND v.review_id = l.review_id AND v.opened_at < r.released_at
		WHERE r.site_id = $1 AND r.part_id = ANY($2) AND NOT EXISTS (SELECT 1 FROM recall_decision d
			WHERE d.site_id = $1 AND d.review_id = l.review_id AND d.part_id = l.part_id AND d.decided_at < r.released_at)
	UNION ALL SELECT 'was released under a hold of its powder', p.serial FROM release r JOIN part p ON p.site_id = $1 AND p.part_id = r.part_id
		JOIN hold_part hp ON hp.site_id = $1 AND hp.part_id = r.part_id JOIN hold h ON h.site_id = $1 AND h.hold_id = hp.hold_id AND h.opened_at < r.released_at
		JOIN lot_hold lh ON lh.site_id = $1 AND lh.hold_id = h.hold_id
		WHERE r.site_id = $1 AND r.part_id = ANY($2) AND NOT EXISTS (SELECT 1 FROM disposition d
			WHERE d.site_id = $1 AND d.hold_id = h.hold_id AND d.part_id = r.part_id AND d.decided_at < r.released_at)
	UNION ALL SELECT 'was coated with a lot that is ' || e.verb, p.serial FROM rack_part rp JOIN part p ON p.site_id = $1 AND p.part_id = rp.part_id
		JOIN record r ON r.site_id = $1 AND r.rack_id = rp.rack_id AND r.kind = 'coating' AND r.supersedes_id IS NULL JOIN record_use u ON u.site_id = $1 AND u.record_id = r.record_id AND u.role = 'powder'
		CROSS JOIN LATERAL (SELECT v.verb FROM event v WHERE v.site_id = $1 AND v.subject_id = u.lot_id AND v.verb ~ 'lot (held|rejected|accepted)$' AND v.at < r.recorded_at ORDER BY v.at DESC LIMIT 1) e
		WHERE rp.site_id = $1 AND rp.part_id = ANY($2) AND e.verb !~ 'accepted' AND NOT EXISTS (SELECT 1 FROM override o
			WHERE o.site_id = $1 AND o.record_id = r.record_id AND o.rule = 'lot_rejected')
	UNION ALL SELECT 'is out on a void release and no hold says so', p.serial FROM shipment_part sp JOIN part p ON p.site_id = $1 AND p.part_id = sp.part_id
		JOIN release r ON r.site_id = $1 AND r.release_id = sp.release_id JOIN release_void v ON v.site_id = $1 AND v.release_id = r.release_id AND v.return_id IS NULL
		WHERE sp.site_id = $1 AND sp.part_id = ANY($2) AND NOT EXISTS (SELECT 1 FROM hold_part hp JOIN hold h ON h.site_id = $1 AND h.hold_id = hp.hold_id
			WHERE hp.site_id = $1 AND hp.part_id = sp.part_id AND h.opened_at >= v.voided_at)
	UNION ALL SELECT 'is out twice', p.serial FROM shipment_part sp JOIN part p ON p.site_id = $1 AND p.part_id = sp.part_id WHERE sp.site_id = $1 AND sp.part_id = ANY($2)
		AND NOT EXISTS (SELECT 1 FROM shipment_return b WHERE b.site_id = $1 AND b.shipment_id = sp.shipment_id AND b.part_id = sp.part_id) GROUP BY p.serial HAVING count(*) > 1
	UNION ALL SELECT 'concession ' || c.reference || ' covers more parts than its number', '' FROM concession c JOIN disposition d ON d.site_id = $1 AND d.concession_id = c.concession_id
		WHERE c.site_id = $1 AND d.part_id = ANY($2) GROUP BY c.concession_id, c.reference, c.quantity HAVING count(DISTINCT d.part_id) > c.quantity`

// lifeArticleFaults looks for series parts that were coated or released while no first article that counts stood for their
// powder and booth. What was void less than half a second before was done at once with it, and either may have been first.
const lifeArticleFaults = `WITH behind AS (
		SELECT ap.approval_id, x.id FROM first_article_approval ap CROSS JOIN LATERAL (SELECT ap.record_id AS id UNION SELECT ap.coating_id UNION SELECT ap.cure_id
			UNION SELECT l.evidence_id FROM first_article_line l WHERE l.site_id = $1 AND l.record_id = ap.record_id) x WHERE ap.site_id = $1),
	approved AS (
		SELECT fa.part_number_id, fa.number, ap.*, fa.part_id, least(
			(SELECT min(s.recorded_at) FROM behind b JOIN record s ON s.site_id = $1 AND s.supersedes_id = b.id WHERE b.approval_id = ap.approval_id),
			(SELECT min(d.decided_at) FROM behind b JOIN recall_record rr ON rr.site_id = $1 AND rr.record_id = b.id JOIN recall_decision d ON d.site_id = $1 AND d.review_id = rr.review_id
				AND d.part_id = fa.part_id AND d.code = 're_measure' WHERE b.approval_id = ap.approval_id)) AS void_at
		FROM first_article fa JOIN first_article_approval ap ON ap.site_id = $1 AND ap.article_id = fa.article_id WHERE fa.site_id = $1 AND fa.part_id = ANY($2) AND $3::uuid[] IS NOT NULL),
	series AS (
		SELECT p.serial, p.part_id, p.part_number_id, rp.cycle, r.recorded_at, r.supersedes_id, m.material_id, bo.station_id FROM rack_part rp JOIN part p ON p.site_id = $1 AND p.part_id = rp.part_id
		JOIN record r ON r.site_id = $1 AND r.rack_id = rp.rack_id AND r.kind = 'coating' AND r.verdict <> 'void'
		JOIN record_use pw ON pw.site_id = $1 AND pw.record_id = r.record_id AND pw.role = 'powder' JOIN material_lot m ON m.site_id = $1 AND m.lot_id = pw.lot_id
		JOIN record_use bo ON bo.site_id = $1 AND bo.record_id = r.record_id AND bo.role = 'booth' WHERE rp.site_id = $1 AND rp.part_id = ANY($2)),
	done AS (
		SELECT 'coated' AS what, s.*, s.recorded_at AS at FROM series s WHERE s.supersedes_id IS NULL
		UNION ALL SELECT 'released', s.*, r.released_at FROM series s JOIN release r ON r.site_id = $1 AND r.part_id = s.part_id AND r.cycle = s.cycle AND r.released_at > s.recorded_at)
	SELECT 'was ' || d.what || ' although no first article that counts stood for it', d.serial FROM done d
		WHERE NOT EXISTS (SELECT 1 FROM first_article fa WHERE fa.site_id = $1 AND fa.part_id = d.part_id AND fa.cycle = d.cycle AND fa.named_at < d.at)
		AND NOT EXISTS (SELECT 1 FROM approved a WHERE a.part_number_id = d.part_number_id AND a.powder_id = d.material_id AND a.booth_id = d.station_id AND a.approved_at < d.at
			AND (a.void_at IS NULL OR a.void_at > d.at - interval '500 ms'))
	UNION ALL SELECT a.number || ' was approved after its evidence was corrected', p.serial FROM approved a JOIN part p ON p.site_id = $1 AND p.part_id = a.part_id WHERE a.void_at < a.approved_at
	UNION ALL SELECT a.number || ' is approved by who recorded it', p.serial FROM approved a JOIN part p ON p.site_id = $1 AND p.part_id = a.part_id
		JOIN record r ON r.site_id = $1 AND r.record_id = a.record_id WHERE r.person_id = a.approved_by
	UNION ALL SELECT a.number || ' is approved on a record that was declined', p.serial FROM approved a JOIN part p ON p.site_id = $1 AND p.part_id = a.part_id
		JOIN first_article_decline d ON d.site_id = $1 AND d.record_id = a.record_id WHERE NOT EXISTS (SELECT 1 FROM first_article_decline_void v WHERE v.site_id = $1 AND v.decline_id = d.decline_id)
	UNION ALL SELECT 'has a record that was declined twice or by who recorded it', p.serial FROM first_article_decline d JOIN record r ON r.site_id = $1 AND r.record_id = d.record_id
		JOIN part p ON p.site_id = $1 AND p.part_id = r.part_id WHERE d.site_id = $1 AND r.part_id = ANY($2)
		AND NOT EXISTS (SELECT 1 FROM first_article_decline_void v WHERE v.site_id = $1 AND v.decline_id = d.decline_id)
		GROUP BY d.record_id, p.serial HAVING count(*) > 1 OR bool_or(d.declined_by = r.person_id)`

// read reads where every part stands and compares it with what the program says; step is what was done last.
func (l *life) read(ctx context.Context, step string) {
	var faults []string
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	found := rows[lifeFault](ctx, l, lifeFaults)
	if l.full {
		found = append(found, rows[lifeFault](ctx, l, lifeArticleFaults)...)
	}
	for _, f := range found {
		fault("%s %s after\n   %s", f.Part, f.What, step)
	}
	proofs, lots := map[uuid.UUID]map[quality.Kind]lifeProof{}, map[uuid.UUID]map[quality.Kind]lifeLot{}
	for _, id := range l.parts {
		proofs[id], lots[id] = map[quality.Kind]lifeProof{}, map[quality.Kind]lifeLot{}
	}
	for _, p := range rows[lifeProof](ctx, l, lifeProofs) {
		proofs[p.Part][p.Kind] = p
	}
	if len(l.spec.Sampling) > 0 {
		for _, p := range rows[lifeLot](ctx, l, lifeLots) {
			if slices.Contains(l.parts, p.Part) {
				lots[p.Part][p.Kind] = p
			}
		}
	}
	counts := map[string]int{}
	for _, p := range rows[lifePart](ctx, l, lifeParts) {
		sound, waived := l.sound(proofs[p.Part], lots[p.Part])
		want := p.status(sound, waived)
		counts[want]++
		switch {
		case p.Kept != want:
			fault("%s is %s, and its records say %s (%+v) after\n   %s", l.serial[p.Part], p.Kept, want, p, step)
		case p.Release > 1 || p.Release == 1 && (!sound || p.ReleaseCycle != p.Cycle || p.Held || p.End != ""):
			fault("%s stands as released without its evidence: %+v, proofs %+v, lots %+v after\n   %s", l.serial[p.Part], p, proofs[p.Part], lots[p.Part], step)
		case p.Cycle != p.KeptCycle || p.Round != p.KeptRound || p.Held != (p.Open > 0):
			fault("%s is kept in cycle %d, round %d, with %d holds; its decisions say %+v after\n   %s", l.serial[p.Part], p.KeptCycle, p.KeptRound, p.Open, p, step)
		}
	}
	b, err := l.DB.BalanceOf(ctx, l.Site.ID, l.job.ID)
	house := len(l.parts) - counts[store.StatusReleased] - counts[store.StatusShipped] - counts[store.StatusScrapped] - counts[store.StatusReturned] - counts[store.StatusRegraded]
	want := store.Balance{Number: l.job.Number, Customer: l.job.Customer, Received: len(l.parts), Released: counts[store.StatusReleased] + counts[store.StatusShipped], Shipped: counts[store.StatusShipped],
		Scrapped: counts[store.StatusScrapped], Returned: counts[store.StatusReturned], Regraded: counts[store.StatusRegraded], InHouse: house}
	if err != nil || b != want || b.Missing() != 0 {
		fault("the parts do not add up: %+v, want %+v, %v after\n   %s", b, want, err, step)
	}
	if len(faults) > 0 {
		l.rt.Fatal(strings.Join(faults, "\n"))
	}
}

// sound reports whether every kind that the spec asks for is there and good, and whether any of them only by a concession.
func (l *life) sound(proofs map[quality.Kind]lifeProof, lots map[quality.Kind]lifeLot) (sound, waived bool) {
	sound = true
	for _, kind := range l.spec.Asks() {
		p, own := proofs[kind]
		lot, placed := lots[kind]
		switch {
		case own && p.Waits:
			sound = false
		case own:
			sound = sound && (p.Verdict == quality.Pass || p.Verdict == quality.GuardBand || p.Verdict == quality.Fail && p.Waived)
			waived = waived || p.Verdict == quality.Fail
		case placed && lot.Fails >= lot.Reject:
			sound, waived = sound && lot.Waived, true
		default:
			sound = sound && placed && !lot.Drawn && lot.Checked >= lot.Sample
		}
	}
	return sound, waived
}

// status is what a part is, by what is known of it.
func (p lifePart) status(sound, waived bool) string {
	switch ends := map[string]string{"scrap": store.StatusScrapped, "return": store.StatusReturned, "regrade": store.StatusRegraded}; {
	case p.Out:
		return store.StatusShipped
	case p.Release > 0:
		return store.StatusReleased
	case p.End != "":
		return cmp.Or(ends[p.End], p.End)
	case p.Held:
		return store.StatusOnHold
	case sound && waived:
		return store.StatusUnderConcession
	case sound:
		return store.StatusAccepted
	case p.Begun:
		return store.StatusInProgress
	}
	return store.StatusOpen
}
