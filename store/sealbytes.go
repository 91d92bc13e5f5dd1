package store

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"hash"
	"math/bits"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// A sealTable is one table as a seal reads it. Columns are in the order of their names.
type sealTable struct {
	Table   string   `json:"table"`
	Columns []string `json:"columns"`
	// Order are the columns that put the rows of one group in order, besides Key.
	Order []string `json:"order,omitempty"`
}

// A sealGroup is a kind of leaf: a header row with all its lines. Key is the uuid column that header and lines share; Time is
// the header's column that says when the row was recorded.
type sealGroup struct {
	Header sealTable   `json:"header"`
	Key    string      `json:"key"`
	Time   string      `json:"time"`
	Lines  []sealTable `json:"lines,omitempty"`
}

// sealed is everything a seal covers: all tables that the server can insert into and never update. A test walks the schema
// and fails for such a table that stands neither here nor in unsealed. Columns are filled in from the schema; those given
// here are the exception, because the server may update the table.
var sealed = []sealGroup{
	{Header: sealTable{Table: "part"}, Key: "part_id", Time: "received_at"},
	{Header: sealTable{Table: "panel"}, Key: "panel_id", Time: "added_at"},
	{Header: sealTable{Table: "measuring_plan"}, Key: "plan_id", Time: "made_at", Lines: []sealTable{{Table: "measuring_spot", Order: []string{"spot"}}}},
	// An approved revision is frozen; only its state may still change. A draft has no time and is not read.
	{Header: sealTable{Table: "finish_spec_revision", Columns: []string{"approved_by", "body", "body_hash", "drafted_by", "effective_at", "revision", "revision_id", "site_id", "spec_id"}},
		Key: "revision_id", Time: "effective_at"},
	{Header: sealTable{Table: "record"}, Key: "record_id", Time: "recorded_at", Lines: []sealTable{
		{Table: "reading", Order: []string{"seq"}}, {Table: "rating", Order: []string{"seq"}}, {Table: "defect", Order: []string{"seq"}},
		{Table: "finding", Order: []string{"seq"}}, {Table: "record_use", Order: []string{"seq"}}, {Table: "film_summary"},
		{Table: "cure_window", Order: []string{"metal_c"}}, {Table: "cure_profile"}, {Table: "cure_channel", Order: []string{"channel"}}, {Table: "override", Order: []string{"override_id"}},
		{Table: "first_article_scope"}, {Table: "first_article_line", Order: []string{"seq"}},
		{Table: "critical_entry", Order: []string{"rule"}}}},
	{Header: sealTable{Table: "confirmation"}, Key: "confirmation_id", Time: "decided_at"},
	{Header: sealTable{Table: "exclusion"}, Key: "exclusion_id", Time: "excluded_at"},
	{Header: sealTable{Table: "exclusion_end"}, Key: "end_id", Time: "ended_at"},
	{Header: sealTable{Table: "logger_file"}, Key: "file_id", Time: "received_at"},
	{Header: sealTable{Table: "signature"}, Key: "signature_id", Time: "signed_at"},
	{Header: sealTable{Table: "hold"}, Key: "hold_id", Time: "opened_at", Lines: []sealTable{{Table: "lot_hold", Order: []string{"lot_id"}}, {Table: "inspection_hold", Order: []string{"lot_id"}}}},
	{Header: sealTable{Table: "inspection_lot"}, Key: "lot_id", Time: "made_at", Lines: []sealTable{{Table: "inspection_lot_part", Order: []string{"position"}}}},
	{Header: sealTable{Table: "inspection_sample"}, Key: "sample_id", Time: "drawn_at"},
	{Header: sealTable{Table: "inspection_verdict"}, Key: "verdict_id", Time: "decided_at"},
	{Header: sealTable{Table: "inspection_switch"}, Key: "switch_id", Time: "switched_at", Lines: []sealTable{{Table: "inspection_switch_lot", Order: []string{"lot_id"}}}},
	{Header: sealTable{Table: "hold_action"}, Key: "entry_id", Time: "entered_at"},
	{Header: sealTable{Table: "concession"}, Key: "concession_id", Time: "opened_at"},
	{Header: sealTable{Table: "drawing_list"}, Key: "list_id", Time: "made_at", Lines: []sealTable{{Table: "drawing_requirement", Order: []string{"seq"}}}},
	{Header: sealTable{Table: "first_article"}, Key: "article_id", Time: "named_at"},
	{Header: sealTable{Table: "first_article_approval"}, Key: "approval_id", Time: "approved_at"},
	{Header: sealTable{Table: "first_article_decline"}, Key: "decline_id", Time: "declined_at"},
	{Header: sealTable{Table: "first_article_decline_void"}, Key: "decline_id", Time: "voided_at"},
	{Header: sealTable{Table: "file"}, Key: "file_id", Time: "added_at"},
	{Header: sealTable{Table: "sheet_withdrawal"}, Key: "file_id", Time: "withdrawn_at"},
	{Header: sealTable{Table: "disposition"}, Key: "disposition_id", Time: "decided_at"},
	{Header: sealTable{Table: "release"}, Key: "release_id", Time: "released_at"},
	{Header: sealTable{Table: "release_void"}, Key: "release_id", Time: "voided_at"},
	{Header: sealTable{Table: "shipment"}, Key: "shipment_id", Time: "shipped_at", Lines: []sealTable{{Table: "shipment_part", Order: []string{"part_id"}}}},
	{Header: sealTable{Table: "shipment_return"}, Key: "return_id", Time: "taken_at"},
	{Header: sealTable{Table: "certificate"}, Key: "certificate_id", Time: "signed_at", Lines: []sealTable{
		{Table: "certificate_part", Order: []string{"part_id"}}, {Table: "certificate_record", Order: []string{"record_id"}}}},
	{Header: sealTable{Table: "day_review"}, Key: "review_id", Time: "reviewed_at"},
	{Header: sealTable{Table: "bath_control"}, Key: "control_id", Time: "set_at"},
	{Header: sealTable{Table: "caution_review"}, Key: "review_id", Time: "recorded_at"},
	{Header: sealTable{Table: "measurement_study"}, Key: "study_id", Time: "added_at"},
	{Header: sealTable{Table: "recall_review"}, Key: "review_id", Time: "opened_at", Lines: []sealTable{{Table: "recall_line", Order: []string{"part_id"}}}},
	{Header: sealTable{Table: "recall_record"}, Key: "entry_id", Time: "listed_at"},
	{Header: sealTable{Table: "recall_decision"}, Key: "decision_id", Time: "decided_at"},
	{Header: sealTable{Table: "recall_closing"}, Key: "review_id", Time: "closed_at"},
	{Header: sealTable{Table: "event"}, Key: "event_id", Time: "at"},
}

// unsealed are the insert-only tables that no seal covers, each with the reason.
var unsealed = map[string]string{
	"caution_acknowledgement": "has no id of its own; each is an event, which is sealed",
	"seal":                    "is the chain itself",
	"file_content":            "is vouched for by the hash in file, which verify makes again",
	"logger_file_part":        "is vouched for by the hash in logger_file",
	"seal_page":               "repeats the leaves of a seal",
	"seal_key":                "is what the signatures are checked with; verify takes the key from outside",
}

// currentLayout is sealed with the columns that the schema has now and the server cannot update.
func currentLayout(ctx context.Context, q querier) ([]sealGroup, error) {
	type row struct {
		Table  string `db:"table_name"`
		Column string `db:"column_name"`
	}
	rows, err := list[row](ctx, q, `SELECT c.relname::text AS table_name, a.attname::text AS column_name
		FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
		AND NOT has_column_privilege('coatbook_app', c.oid, a.attnum, 'UPDATE') ORDER BY a.attname::text COLLATE "C"`, sqlArgs{})
	if err != nil {
		return nil, fmt.Errorf("reading the schema for a seal: %w", err)
	}
	columns := map[string][]string{}
	for _, r := range rows {
		columns[r.Table] = append(columns[r.Table], r.Column)
	}
	fill := func(t *sealTable) error {
		if t.Columns == nil {
			t.Columns = columns[t.Table]
		}
		if len(t.Columns) == 0 {
			return fmt.Errorf("the server may change every column of %s; nothing of it could be sealed", t.Table)
		}
		return nil
	}
	layout := slices.Clone(sealed)
	for i := range layout {
		layout[i].Lines = slices.Clone(layout[i].Lines)
		if err := fill(&layout[i].Header); err != nil {
			return nil, err
		}
		for k := range layout[i].Lines {
			if err := fill(&layout[i].Lines[k]); err != nil {
				return nil, err
			}
		}
	}
	return layout, nil
}

func readLayout(text string) (layout []sealGroup, err error) {
	if err := json.Unmarshal([]byte(text), &layout); err != nil {
		return nil, fmt.Errorf("reading the layout of a seal: %w", err)
	}
	return layout, nil
}

// A leaf is one header row with its lines, as a seal holds it.
type leaf struct {
	id   uuid.UUID
	hash [32]byte
}

// leafBatch is how many groups are read at once: enough to make round trips cheap, little enough for any memory.
const leafBatch = 500

// eachLeaf calls leafOf for every group recorded from begins up to and not including ends, kind by kind in the order of
// the layout, each kind in the order of time and id. It keeps one batch in memory.
func eachLeaf(ctx context.Context, q querier, site uuid.UUID, layout []sealGroup, begins, ends time.Time, leafOf func(group int, l leaf) error) (rows int64, err error) {
	for i, g := range layout {
		after, afterID := begins, uuid.Nil
		for {
			read, n, last, err := leavesOf(ctx, q, site, g, after, afterID, ends)
			if err != nil {
				return rows, fmt.Errorf("reading %s for a seal: %w", g.Header.Table, err)
			}
			rows += n
			for _, l := range read {
				if err := leafOf(i, l); err != nil {
					return rows, err
				}
			}
			if len(read) < leafBatch {
				break
			}
			after, afterID = last, read[len(read)-1].id
		}
	}
	return rows, nil
}

// leavesOf reads and hashes one batch of a kind, behind a time and id.
func leavesOf(ctx context.Context, q querier, site uuid.UUID, g sealGroup, after time.Time, afterID uuid.UUID, ends time.Time) (leaves []leaf, rows int64, last time.Time, err error) {
	index := map[uuid.UUID]int{}
	var sums []hash.Hash
	found, err := q.Query(ctx, headerStatement(g), sqlArgs{"site": site, "after": after, "id": afterID, "ends": ends, "limit": leafBatch})
	if err != nil {
		return nil, 0, last, err
	}
	var buf []byte
	for found.Next() {
		raw := found.RawValues()
		id, err := uuid.ParseBytes(raw[0])
		if err != nil {
			found.Close()
			return nil, 0, last, err
		}
		if last, err = time.Parse(time.RFC3339Nano, string(raw[1])); err != nil {
			found.Close()
			return nil, 0, last, err
		}
		sum := sha256.New()
		buf = appendRow(append(buf[:0], 0x00), g.Header, raw[2:])
		sum.Write(buf)
		index[id] = len(leaves)
		leaves, sums = append(leaves, leaf{id: id}), append(sums, sum)
		rows++
	}
	if err := found.Err(); err != nil || len(leaves) == 0 {
		return nil, 0, last, err
	}
	ids := make([]uuid.UUID, len(leaves))
	for i, l := range leaves {
		ids[i] = l.id
	}
	b := &pgx.Batch{}
	for _, t := range g.Lines {
		b.Queue(linesStatement(g, t), sqlArgs{"site": site, "ids": ids}).Query(func(lines pgx.Rows) error {
			for lines.Next() {
				raw := lines.RawValues()
				id, err := uuid.ParseBytes(raw[0])
				if err != nil {
					return err
				}
				buf = appendRow(buf[:0], t, raw[1:])
				sums[index[id]].Write(buf)
				rows++
			}
			return lines.Err()
		})
	}
	if err := send(ctx, q, b); err != nil {
		return nil, 0, last, err
	}
	for i := range leaves {
		sums[i].Sum(leaves[i].hash[:0])
	}
	return leaves, rows, last, nil
}

// appendRow writes one row: the table's name, then each column as its name and its value. Names and values are netstrings
// (length in bytes, a colon, the bytes, a comma); null is a minus sign. A row is closed by a line feed.
func appendRow(buf []byte, t sealTable, raw [][]byte) []byte {
	buf = appendNetstring(buf, t.Table)
	for i, c := range t.Columns {
		buf = appendNetstring(buf, c)
		if raw[i] == nil {
			buf = append(buf, '-')
		} else {
			buf = appendNetstring(buf, string(raw[i]))
		}
	}
	return append(buf, '\n')
}

func appendNetstring(buf []byte, s string) []byte {
	buf = strconv.AppendInt(buf, int64(len(s)), 10)
	buf = append(buf, ':')
	buf = append(buf, s...)
	return append(buf, ',')
}

func quoted(name string) string { return pgx.Identifier{name}.Sanitize() }

// writeColumns lists a table's columns, each cast to text by PostgreSQL: the value as a seal has it.
func writeColumns(s *strings.Builder, t sealTable) {
	for i, c := range t.Columns {
		if i > 0 {
			s.WriteString(", ")
		}
		s.WriteString("t." + quoted(c) + "::text")
	}
}

// headerStatement reads headers behind a time and id. Names come from the layout, quoted; values are arguments.
func headerStatement(g sealGroup) string {
	var s strings.Builder
	key, at := "t."+quoted(g.Key), "t."+quoted(g.Time)
	s.WriteString("SELECT ")
	s.WriteString(key + "::text, to_char(" + at + ` AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'), `)
	writeColumns(&s, g.Header)
	s.WriteString(" FROM " + quoted(g.Header.Table) + " t WHERE t.site_id = @site AND (" + at + ", " + key + ") > (@after, @id) AND " + at + " < @ends ORDER BY " +
		at + ", " + key + " LIMIT @limit")
	return s.String()
}

func linesStatement(g sealGroup, t sealTable) string {
	var s strings.Builder
	key := "t." + quoted(g.Key)
	s.WriteString("SELECT ")
	s.WriteString(key + "::text, ")
	writeColumns(&s, t)
	s.WriteString(" FROM " + quoted(t.Table) + " t WHERE t.site_id = @site AND " + key + " = ANY(@ids) ORDER BY " + key)
	for _, c := range t.Order {
		s.WriteString(", t." + quoted(c))
	}
	return s.String()
}

// A merkle is the tree of RFC 6962, section 2.1, built leaf by leaf: it keeps the roots of the complete subtrees so far, one
// for each bit of the count.
type merkle struct {
	n     uint64
	roots [][32]byte
}

func (m *merkle) add(h [32]byte) {
	for range bits.TrailingZeros64(^m.n) {
		h = node(m.roots[len(m.roots)-1], h)
		m.roots = m.roots[:len(m.roots)-1]
	}
	m.roots = append(m.roots, h)
	m.n++
}

// root is the hash of the tree; that of no leaves is the hash of nothing.
func (m *merkle) root() [32]byte {
	if m.n == 0 {
		return sha256.Sum256(nil)
	}
	h := m.roots[len(m.roots)-1]
	for i := len(m.roots) - 2; i >= 0; i-- {
		h = node(m.roots[i], h)
	}
	return h
}

func node(left, right [32]byte) [32]byte {
	var b [65]byte
	b[0] = 0x01
	copy(b[1:], left[:])
	copy(b[33:], right[:])
	return sha256.Sum256(b[:])
}
