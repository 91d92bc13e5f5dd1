package store

import (
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
)

// notReplaced says of a certificate c that no later one took its place.
const notReplaced = `NOT EXISTS (SELECT 1 FROM certificate cn WHERE cn.site_id = c.site_id AND cn.supersedes_id = c.certificate_id)`

// A Certificate is a certificate of conformity as lists show it.
type Certificate struct {
	ID           uuid.UUID `db:"certificate_id"`
	Number       string    `db:"number"`
	Customer     string    `db:"customer"`
	OrderRef     string    `db:"order_ref"`
	Shipment     string    `db:"shipment"`
	DeliveryNote string    `db:"delivery_note"`
	Jobs         string    `db:"jobs"`
	Parts        int       `db:"parts"`
	ContentHash  string    `db:"content_hash"`
	SignedBy     string    `db:"signed_by"` // as printed then
	SignedAt     time.Time `db:"signed_at"`
	Meaning      string    `db:"meaning"`
	Statement    string    `db:"statement"`
	Supersedes   string    `db:"supersedes"`
	Reason       string    `db:"reason"`
	ReasonCode   string    `db:"reason_code"`
	SupersededBy string    `db:"superseded_by"`
	// Changed is set when something behind it was changed after it was signed.
	Changed bool `db:"changed"`
}

const certificateSQL = `SELECT c.certificate_id, c.number, c.customer, c.order_ref, coalesce(s.number, '') AS shipment, coalesce(s.delivery_note, '') AS delivery_note,
	coalesce((SELECT string_agg(DISTINCT j.number, ', ' ORDER BY j.number) FROM certificate_part cp JOIN part p ON p.site_id = cp.site_id AND p.part_id = cp.part_id
		JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id WHERE cp.site_id = c.site_id AND cp.certificate_id = c.certificate_id), '') AS jobs,
	(SELECT count(*) FROM certificate_part cp WHERE cp.site_id = c.site_id AND cp.certificate_id = c.certificate_id)::int AS parts,
	c.content_hash, sg.printed_name AS signed_by, c.signed_at, sg.meaning, sg.statement, coalesce(o.number, '') AS supersedes, c.reason, c.reason_code,
	coalesce((SELECT n.number FROM certificate n WHERE n.site_id = c.site_id AND n.supersedes_id = c.certificate_id), '') AS superseded_by,
	EXISTS (SELECT 1 FROM certificate_record cr JOIN record r ON r.site_id = cr.site_id AND r.supersedes_id = cr.record_id WHERE cr.site_id = c.site_id AND cr.certificate_id = c.certificate_id)
		OR EXISTS (SELECT 1 FROM certificate_part cp JOIN release_void v ON v.site_id = cp.site_id AND v.release_id = cp.release_id
			WHERE cp.site_id = c.site_id AND cp.certificate_id = c.certificate_id) AS changed
	FROM certificate c JOIN signature sg ON sg.site_id = c.site_id AND sg.signature_id = c.signature_id
	LEFT JOIN shipment s ON s.site_id = c.site_id AND s.shipment_id = c.shipment_id
	LEFT JOIN certificate o ON o.site_id = c.site_id AND o.certificate_id = c.supersedes_id
	WHERE c.site_id = @site`

// Certificates returns the latest certificates that text names by number, order, customer, job, part, shipment or delivery
// note; all for an empty text. Superseded ones are among them.
func (db *DB) Certificates(ctx context.Context, site uuid.UUID, text string, limit int) ([]Certificate, error) {
	return list[Certificate](ctx, db.pool, certificateSQL+` AND (@text = '' OR c.number = upper(@text) OR c.order_ref = @text OR lower(c.customer) LIKE lower(@like)
		OR s.number = upper(@text) OR s.delivery_note = @text
		OR EXISTS (SELECT 1 FROM certificate_part cp JOIN part p ON p.site_id = cp.site_id AND p.part_id = cp.part_id JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
			WHERE cp.site_id = c.site_id AND cp.certificate_id = c.certificate_id AND (p.serial = @text OR j.number = @text)))
		ORDER BY c.signed_at DESC, c.number DESC LIMIT @limit`, sqlArgs{"site": site, "text": text, "like": likeWithin(text), "limit": limit})
}

// CertificatesOf returns the certificates on which a part stands, the newest first.
func (db *DB) CertificatesOf(ctx context.Context, site, part uuid.UUID) ([]Certificate, error) {
	return list[Certificate](ctx, db.pool, certificateSQL+` AND c.certificate_id IN (SELECT cp.certificate_id FROM certificate_part cp WHERE cp.site_id = @site AND cp.part_id = @part)
		ORDER BY c.signed_at DESC, c.number DESC`, sqlArgs{"site": site, "part": part})
}

// PapersOf returns what a part left the house with.
func (db *DB) PapersOf(ctx context.Context, site, part uuid.UUID) (Papers, error) {
	return one[Papers](ctx, db.pool, `SELECT `+papersColumns+` FROM part p`+papersOf+` WHERE p.site_id = @site AND p.part_id = @part`, sqlArgs{"site": site, "part": part})
}

// CertificateByNumber returns a certificate with what it states. Whole is false when the statement is not the one that was
// hashed and signed.
func (db *DB) CertificateByNumber(ctx context.Context, site uuid.UUID, number string) (c Certificate, content CertificateContent, whole bool, err error) {
	args := sqlArgs{"site": site, "number": number}
	if c, err = one[Certificate](ctx, db.pool, certificateSQL+` AND c.number = @number`, args); err != nil {
		return c, content, false, fmt.Errorf("certificate %q: %w", number, err)
	}
	type frozen struct {
		Content string `db:"content"`
		Signed  string `db:"signed"`
	}
	f, err := one[frozen](ctx, db.pool, `SELECT c.content, sg.content_hash AS signed FROM certificate c JOIN signature sg ON sg.site_id = c.site_id AND sg.signature_id = c.signature_id
		WHERE c.site_id = @site AND c.number = @number`, args)
	if err != nil {
		return c, content, false, err
	}
	if err := json.Unmarshal([]byte(f.Content), &content); err != nil {
		return c, content, false, fmt.Errorf("content of certificate %s: %w", number, err)
	}
	want, err := ContentHash(certificateContent(c.ID, c.Number, c.ContentHash))
	return c, content, want == f.Signed && hashOf(f.Content) == c.ContentHash, err
}

// hashOf is the SHA-256 of text, in hex.
func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// CertificateParts returns the parts of a certificate by serial, with where each is now.
func (db *DB) CertificateParts(ctx context.Context, site, certificate uuid.UUID) ([]PartRow, error) {
	return list[PartRow](ctx, db.pool, partRowSQL+` AND p.part_id IN (SELECT cp.part_id FROM certificate_part cp WHERE cp.site_id = @site AND cp.certificate_id = @certificate) ORDER BY p.serial`,
		sqlArgs{"site": site, "certificate": certificate})
}

// A CertificateNotice is something behind a certificate that was changed after it was signed.
type CertificateNotice struct {
	What   string    `db:"what"` // changed, returned or recalled
	Kind   string    `db:"kind"` // of the record that was changed
	Serial string    `db:"serial"`
	At     time.Time `db:"at"`
	By     string    `db:"by"`
	Reason string    `db:"reason"`
	Record uuid.UUID `db:"record_id"`
}

// CertificateNotices returns what was changed behind a certificate since it was signed, oldest first: records corrected or
// voided, parts that came back, parts that a recall asks to measure again.
func (db *DB) CertificateNotices(ctx context.Context, site, certificate uuid.UUID) ([]CertificateNotice, error) {
	return list[CertificateNotice](ctx, db.pool, `SELECT 'changed' AS what, r.kind, coalesce(p.serial, '') AS serial, r.recorded_at AS at, pe.name AS by, r.reason, r.record_id
		FROM certificate_record cr JOIN record r ON r.site_id = cr.site_id AND r.supersedes_id = cr.record_id
		JOIN person pe ON pe.site_id = r.site_id AND pe.person_id = r.person_id LEFT JOIN part p ON p.site_id = r.site_id AND p.part_id = r.part_id
		WHERE cr.site_id = @site AND cr.certificate_id = @certificate
		UNION ALL SELECT 'returned', '', p.serial, b.taken_at, sg.printed_name, b.reason, b.return_id
		FROM certificate_part cp JOIN release_void v ON v.site_id = cp.site_id AND v.release_id = cp.release_id JOIN shipment_return b ON b.site_id = v.site_id AND b.return_id = v.return_id
		JOIN part p ON p.site_id = cp.site_id AND p.part_id = cp.part_id JOIN signature sg ON sg.site_id = b.site_id AND sg.signature_id = b.signature_id
		WHERE cp.site_id = @site AND cp.certificate_id = @certificate
		UNION ALL SELECT 'recalled', '', p.serial, d.decided_at, sg.printed_name, rv.number || ': ' || d.reason, d.decision_id
		FROM certificate_part cp JOIN certificate c ON c.site_id = cp.site_id AND c.certificate_id = cp.certificate_id
		JOIN recall_decision d ON d.site_id = cp.site_id AND d.part_id = cp.part_id AND d.code <> 'no_effect' AND d.decided_at >= c.signed_at
		JOIN recall_review rv ON rv.site_id = d.site_id AND rv.review_id = d.review_id
		JOIN part p ON p.site_id = cp.site_id AND p.part_id = cp.part_id JOIN signature sg ON sg.site_id = d.site_id AND sg.signature_id = d.signature_id
		WHERE cp.site_id = @site AND cp.certificate_id = @certificate ORDER BY at, serial`, sqlArgs{"site": site, "certificate": certificate})
}

// WriteCertificateResults writes the results that a certificate states as CSV (RFC 4180, UTF-8, CRLF), one line a figure.
func WriteCertificateResults(w io.Writer, c CertificateContent) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	head := []string{"certificate", "customer", "order_ref", "part_serials", "kind", "subject", "what", "place", "n", "value", "unit", "limit", "verdict", "device", "observed_at", "observed_by", "amended"}
	lines := [][]string{head}
	add := func(parts, kind, subject, what, place, n, value, unit, limit, verdict, device, at, by string, amended bool) {
		lines = append(lines, []string{c.Number, harmless(c.Customer), harmless(c.OrderRef), parts, kind, subject, what, harmless(place), n, value, unit, harmless(limit), verdict, device, at, harmless(by), strconv.FormatBool(amended)})
	}
	for _, f := range c.Film {
		for _, figure := range [][2]string{{"mean", f.Mean}, {"min", f.Min}, {"max", f.Max}} {
			add(f.Serial, "film", "part "+f.Serial, figure[0], "", strconv.Itoa(f.N), figure[1], f.Unit, f.Limit, f.Verdict, f.Device, f.At, f.By, f.Amended)
		}
		for _, a := range f.Areas {
			add(f.Serial, "film", "part "+f.Serial, "area mean", a.Name, strconv.Itoa(a.N), a.Mean, f.Unit, f.Limit, f.Verdict, f.Device, f.At, f.By, f.Amended)
			add(f.Serial, "film", "part "+f.Serial, "area minimum", a.Name, strconv.Itoa(a.N), a.Min, f.Unit, f.Limit, f.Verdict, f.Device, f.At, f.By, f.Amended)
		}
	}
	for _, r := range c.Results {
		parts := strings.Join(r.Parts, ";")
		if len(r.Lines) == 0 {
			add(parts, string(r.Kind), r.On, r.Rule, "", "", "", "", "", r.Verdict, "", r.At, r.By, r.Amended)
		}
		for _, l := range r.Lines {
			limit := l.Limit
			if l.Value == "" {
				limit = l.Text
			}
			add(parts, string(r.Kind), r.On, l.What, l.Place, "", l.Value, l.Unit, limit, l.Verdict, "", r.At, r.By, r.Amended)
		}
	}
	if err := out.WriteAll(lines); err != nil {
		return fmt.Errorf("results of %s: %w", c.Number, err)
	}
	return nil
}
