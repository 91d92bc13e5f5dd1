package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
)

// subjectOf names what a record is about, in words.
const subjectOf = `coalesce('part ' || pa.serial, 'rack ' || rk.number, 'load ' || ol.number, 'instrument ' || i.code, 'bath ' || ba.code, 'oven ' || ov.code, 'panel ' || pl.code, '?')`

const subjectJoins = ` LEFT JOIN part pa ON pa.site_id = r.site_id AND pa.part_id = r.part_id
	LEFT JOIN rack rk ON rk.site_id = r.site_id AND rk.rack_id = r.rack_id
	LEFT JOIN oven_load ol ON ol.site_id = r.site_id AND ol.load_id = r.load_id
	LEFT JOIN instrument i ON i.site_id = r.site_id AND i.instrument_id = r.instrument_id
	LEFT JOIN bath ba ON ba.site_id = r.site_id AND ba.bath_id = r.bath_id
	LEFT JOIN station ov ON ov.site_id = r.site_id AND ov.station_id = r.oven_id
	LEFT JOIN panel pl ON pl.site_id = r.site_id AND pl.panel_id = r.panel_id `

// namesOfRows say in words what a sealed row is. Where the row itself may be gone, the events still tell of it.
var namesOfRows = map[string]string{
	"record": `SELECT 'the ' || replace(r.kind, '_', ' ') || ' record of ' || ` + subjectOf + ` || ', observed ' || to_char(r.observed_at, 'YYYY-MM-DD HH24:MI') || ' UTC'
		FROM record r` + subjectJoins + `WHERE r.site_id = @site AND r.record_id = @id`,
	"part":           `SELECT 'part ' || serial FROM part WHERE site_id = @site AND part_id = @id`,
	"panel":          `SELECT 'witness panel ' || code FROM panel WHERE site_id = @site AND panel_id = @id`,
	"logger_file":    `SELECT 'the logger file “' || name || '”' FROM logger_file WHERE site_id = @site AND file_id = @id`,
	"measuring_plan": `SELECT 'the measuring plan, revision ' || p.revision || ', of part number ' || n.code FROM measuring_plan p JOIN part_number n ON n.site_id = p.site_id AND n.part_number_id = p.part_number_id WHERE p.site_id = @site AND p.plan_id = @id`,
	"finish_spec_revision": `SELECT 'finish spec ' || s.code || ', revision ' || r.revision FROM finish_spec_revision r JOIN finish_spec s ON s.site_id = r.site_id AND s.spec_id = r.spec_id
		WHERE r.site_id = @site AND r.revision_id = @id`,
	"signature": `SELECT 'the signature of ' || printed_name || ' (' || meaning || '): “' || statement || '”' FROM signature WHERE site_id = @site AND signature_id = @id`,
	"hold":      `SELECT 'hold ' || number FROM hold WHERE site_id = @site AND hold_id = @id`,
	"hold_action": `SELECT 'the action on hold ' || h.number || ', entry ' || x.version FROM hold_action x JOIN hold h ON h.site_id = x.site_id AND h.hold_id = x.hold_id
		WHERE x.site_id = @site AND x.entry_id = @id`,
	"concession": `SELECT 'concession ' || reference || ' of ' || customer FROM concession WHERE site_id = @site AND concession_id = @id`,
	"file":       `SELECT 'a picture or certificate, ' || kind || ', of ' || to_char(added_at, 'YYYY-MM-DD HH24:MI') || ' UTC' FROM file WHERE site_id = @site AND file_id = @id`,
	"sheet_withdrawal": `SELECT 'the withdrawal of a safety data sheet of ' || m.code FROM sheet_withdrawal w JOIN file f ON f.site_id = w.site_id AND f.file_id = w.file_id
		JOIN material m ON m.site_id = f.site_id AND m.material_id = f.material_id WHERE w.site_id = @site AND w.file_id = @id`,
	"disposition": `SELECT 'the decision on part ' || coalesce(p.serial, '?') || ' (' || d.code || ')' FROM disposition d LEFT JOIN part p ON p.site_id = d.site_id AND p.part_id = d.part_id
		WHERE d.site_id = @site AND d.disposition_id = @id`,
	"release":        `SELECT 'the release of part ' || coalesce(p.serial, '?') FROM release r LEFT JOIN part p ON p.site_id = r.site_id AND p.part_id = r.part_id WHERE r.site_id = @site AND r.release_id = @id`,
	"release_void":   `SELECT 'the voided release of part ' || coalesce(p.serial, '?') FROM release r LEFT JOIN part p ON p.site_id = r.site_id AND p.part_id = r.part_id WHERE r.site_id = @site AND r.release_id = @id`,
	"inspection_lot": `SELECT 'inspection lot ' || number FROM inspection_lot WHERE site_id = @site AND lot_id = @id`,
	"inspection_sample": `SELECT 'sample ' || s.seq || ' of inspection lot ' || l.number FROM inspection_sample s JOIN inspection_lot l ON l.site_id = s.site_id AND l.lot_id = s.lot_id
		WHERE s.site_id = @site AND s.sample_id = @id`,
	"inspection_verdict": `SELECT 'the verdict on inspection lot ' || l.number FROM inspection_verdict v JOIN inspection_lot l ON l.site_id = v.site_id AND l.lot_id = v.lot_id
		WHERE v.site_id = @site AND v.verdict_id = @id`,
	"inspection_switch": `SELECT 'the switch of inspection of ' || f.code || ' to ' || w.to_severity FROM inspection_switch w JOIN finish_spec f ON f.site_id = w.site_id AND f.spec_id = w.spec_id
		WHERE w.site_id = @site AND w.switch_id = @id`,
	"shipment": `SELECT 'shipment ' || number FROM shipment WHERE site_id = @site AND shipment_id = @id`,
	"shipment_return": `SELECT 'the taking back of part ' || coalesce(p.serial, '?') FROM shipment_return r LEFT JOIN part p ON p.site_id = r.site_id AND p.part_id = r.part_id
		WHERE r.site_id = @site AND r.return_id = @id`,
	"certificate": `SELECT 'certificate ' || number FROM certificate WHERE site_id = @site AND certificate_id = @id`,
	"measurement_study": `SELECT 'the measurement study of ' || i.code || ' of ' || t.made_on FROM measurement_study t JOIN instrument i ON i.site_id = t.site_id AND i.instrument_id = t.instrument_id
		WHERE t.site_id = @site AND t.study_id = @id`,
	"confirmation":  `SELECT 'what a second person said of ' || ` + subjectOf + ` || ' (' || c.outcome || ')' FROM confirmation c JOIN record r ON r.site_id = c.site_id AND r.record_id = c.record_id` + subjectJoins + `WHERE c.site_id = @site AND c.confirmation_id = @id`,
	"exclusion":     `SELECT 'values of ' || ` + subjectOf + ` || ' left out of the statistics' FROM exclusion x JOIN record r ON r.site_id = x.site_id AND r.record_id = x.record_id` + subjectJoins + `WHERE x.site_id = @site AND x.exclusion_id = @id`,
	"exclusion_end": `SELECT 'values of ' || ` + subjectOf + ` || ' taken back into the statistics' FROM exclusion_end e JOIN exclusion x ON x.site_id = e.site_id AND x.exclusion_id = e.exclusion_id JOIN record r ON r.site_id = x.site_id AND r.record_id = x.record_id` + subjectJoins + `WHERE e.site_id = @site AND e.end_id = @id`,
	"recall_review": `SELECT 'recall ' || number FROM recall_review WHERE site_id = @site AND review_id = @id`,
	"recall_record": `SELECT 'a record of recall ' || r.number FROM recall_record e JOIN recall_review r ON r.site_id = e.site_id AND r.review_id = e.review_id WHERE e.site_id = @site AND e.entry_id = @id`,
	"recall_decision": `SELECT 'the decision on part ' || p.serial || ' in recall ' || r.number FROM recall_decision d JOIN recall_review r ON r.site_id = d.site_id AND r.review_id = d.review_id
		JOIN part p ON p.site_id = d.site_id AND p.part_id = d.part_id WHERE d.site_id = @site AND d.decision_id = @id`,
	"recall_closing": `SELECT 'the closing of recall ' || number FROM recall_review WHERE site_id = @site AND review_id = @id`,
	"bath_control": `SELECT 'the control ' || c.characteristic || ' of bath ' || b.code FROM bath_control c JOIN bath b ON b.site_id = c.site_id AND b.bath_id = c.bath_id
		WHERE c.site_id = @site AND c.control_id = @id`,
	"drawing_list": `SELECT 'the drawing requirements, revision ' || l.revision || ', of part number ' || n.code FROM drawing_list l JOIN part_number n ON n.site_id = l.site_id AND n.part_number_id = l.part_number_id
		WHERE l.site_id = @site AND l.list_id = @id`,
	"first_article": `SELECT 'first article ' || number FROM first_article WHERE site_id = @site AND article_id = @id`,
	"first_article_approval": `SELECT 'the approval of first article ' || f.number FROM first_article_approval a JOIN first_article f ON f.site_id = a.site_id AND f.article_id = a.article_id
		WHERE a.site_id = @site AND a.approval_id = @id`,
	"first_article_decline": `SELECT 'the decline of first article ' || f.number FROM first_article_decline d JOIN first_article f ON f.site_id = d.site_id AND f.article_id = d.article_id
		WHERE d.site_id = @site AND d.decline_id = @id`,
	"first_article_decline_void": `SELECT 'the void of the decline of first article ' || f.number FROM first_article_decline d JOIN first_article f ON f.site_id = d.site_id AND f.article_id = d.article_id
		WHERE d.site_id = @site AND d.decline_id = @id`,
	"caution_review": `SELECT 'the review of the cautions by ' || reviewer FROM caution_review WHERE site_id = @site AND review_id = @id`,
	"day_review":     `SELECT 'the review of seal ' || number FROM day_review WHERE site_id = @site AND review_id = @id`,
	"event": `SELECT 'the event “' || e.verb || '” about ' || coalesce('part ' || p.serial, e.subject_kind) FROM event e LEFT JOIN part p ON p.site_id = e.site_id AND p.part_id = e.subject_id
		WHERE e.site_id = @site AND e.event_id = @id`,
}

// goneRecord names a record that is no longer there by the event of its saving.
const goneRecord = `SELECT 'the ' || replace(coalesce(e.after->>'kind', ''), '_', ' ') || ' record of ' || coalesce('part ' || p.serial, 'rack ' || k.number, 'load ' || o.number, 'instrument ' || i.code, e.subject_kind)
	|| ', recorded ' || to_char(e.at, 'YYYY-MM-DD HH24:MI') || ' UTC'
	FROM event e LEFT JOIN part p ON p.site_id = e.site_id AND p.part_id = e.subject_id LEFT JOIN rack k ON k.site_id = e.site_id AND k.rack_id = e.subject_id
	LEFT JOIN oven_load o ON o.site_id = e.site_id AND o.load_id = e.subject_id LEFT JOIN instrument i ON i.site_id = e.site_id AND i.instrument_id = e.subject_id
	WHERE e.site_id = @site AND e.record_id = @id ORDER BY e.at LIMIT 1`

// gonePart names a part that is no longer there by the event of its receipt.
const gonePart = `SELECT 'part ' || coalesce(after->>'Serial', '?') FROM event WHERE site_id = @site AND subject_id = @id AND subject_kind = 'part' ORDER BY at LIMIT 1`

// describe names a sealed row in words, with its id behind them.
func describe(ctx context.Context, q querier, st Site, g sealGroup, id uuid.UUID) (string, error) {
	args := sqlArgs{"site": st.ID, "id": id}
	statements := []string{namesOfRows[g.Header.Table]}
	switch g.Header.Table {
	case "record":
		statements = append(statements, goneRecord)
	case "part":
		statements = append(statements, gonePart)
	}
	for _, sql := range statements {
		if sql == "" {
			continue
		}
		what, err := value[*string](ctx, q, sql, args)
		if err == nil && what != nil {
			return fmt.Sprintf("%s (%s %s)", *what, g.Header.Table, id), nil
		}
		if err != nil && !errors.Is(err, ErrNotFound) {
			return "", fmt.Errorf("naming %s %s: %w", g.Header.Table, id, err)
		}
	}
	return fmt.Sprintf("%s %s", strings.ReplaceAll(g.Header.Table, "_", " "), id), nil
}

// recordedAt returns the time of a sealed row, or ErrNotFound when it is gone.
func recordedAt(ctx context.Context, q querier, site uuid.UUID, g sealGroup, id uuid.UUID) (time.Time, error) {
	var s strings.Builder
	s.WriteString("SELECT ")
	s.WriteString(quoted(g.Time) + " FROM " + quoted(g.Header.Table) + " WHERE site_id = @site AND " + quoted(g.Key) + " = @id AND " + quoted(g.Time) + " IS NOT NULL")
	return value[time.Time](ctx, q, s.String(), sqlArgs{"site": site, "id": id})
}
