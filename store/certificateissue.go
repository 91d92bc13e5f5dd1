package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// CertificateReasons are the codes for which a certificate is reissued, in the order of the screens.
var CertificateReasons = []string{"record_corrected", "wrong_order", "wrong_parts", "part_returned", "other"}

// A NewCertificate is what is to be certified. ID is made where it is entered; sending the same one again is the same
// certificate.
type NewCertificate struct {
	ID uuid.UUID
	// Shipment is set when the certificate goes with a shipment; then Parts may be left out for all of it.
	Shipment uuid.UUID
	Parts    []uuid.UUID
	OrderRef string // empty takes that of the shipment, or of the jobs
	// Supersedes, Code and Reason are set for a reissue.
	Supersedes uuid.UUID
	Code       string
	Reason     string
}

// DraftCertificate states what a certificate would say now, without a number, or refuses it by the rules of Certify.
func (db *DB) DraftCertificate(ctx context.Context, a Actor, n NewCertificate) (content CertificateContent, err error) {
	err = pgx.BeginTxFunc(ctx, db.pool, pgx.TxOptions{AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		d, _, err := db.prepareCertificate(ctx, tx, a, &n)
		if err == nil {
			content = d.content
		}
		return err
	})
	return content, err
}

// Certify issues a certificate by signature, with the next number of the site's year. Every part of it must be released and
// free of holds and undecided recalls, all must be one customer's, and none may stand on a certificate already. A reissue
// names the certificate whose place it takes, with a code and a reason.
func (db *DB) Certify(ctx context.Context, a Actor, n NewCertificate, proof Proof) (Certificate, error) {
	if err := mayCertify(a, "signs certificates"); err != nil {
		return Certificate{}, err
	}
	n.Reason = strings.TrimSpace(n.Reason)
	if n.ID == uuid.Nil {
		n.ID = NewID()
	}
	if n.Supersedes != uuid.Nil {
		switch {
		case !slices.Contains(CertificateReasons, n.Code):
			return Certificate{}, refuse("certificate_reason_code_known", constraintSentences["certificate_reason_code_known"])
		case len([]rune(n.Reason)) < 5:
			return Certificate{}, refuse("certificate_reissue_reason", constraintSentences["certificate_reissue_reason"])
		}
	}
	var number string
	err := db.inTx(ctx, a.Site, func(tx querier) (err error) {
		number, err = db.certify(ctx, tx, a, n, proof)
		return err
	})
	if err != nil {
		return Certificate{}, err
	}
	c, _, _, err := db.CertificateByNumber(ctx, a.Site, number)
	return c, err
}

func (db *DB) certify(ctx context.Context, tx querier, a Actor, n NewCertificate, proof Proof) (string, error) {
	before, err := value[string](ctx, tx, `SELECT number FROM certificate WHERE site_id = @site AND certificate_id = @id`, sqlArgs{"site": a.Site, "id": n.ID})
	if err == nil || !errors.Is(err, ErrNotFound) {
		return before, err
	}
	if err := n.choose(ctx, tx, a.Site); err != nil {
		return "", err
	}
	if err := lockParts(ctx, tx, a.Site, n.Parts); err != nil {
		return "", err
	}
	d, parts, err := db.prepareCertificate(ctx, tx, a, &n)
	if err != nil {
		return "", err
	}
	now := db.Clock()
	year := now.In(d.st.Location()).Year()
	// The counter's row is locked to the end of the transaction, and a number is taken back with it: there is no gap.
	seq, err := nextNumber(ctx, tx, a.Site, fmt.Sprintf("certificate %d", year))
	if err != nil {
		return "", err
	}
	d.content.Number, d.content.IssuedAt = fmt.Sprintf("C-%d-%04d", year, seq), d.at(now)
	body, err := json.Marshal(d.content)
	if err != nil {
		return "", fmt.Errorf("content of certificate %s: %w", d.content.Number, err)
	}
	b := &pgx.Batch{}
	hash := hashOf(string(body))
	statement := fmt.Sprintf("Approved certificate %s for %s, order %s: it states what the book holds of its %d parts.", d.content.Number, d.content.Customer, d.content.OrderRef, len(parts))
	signature, err := db.sign(b, a, proof, "approved", statement, certificateContent(n.ID, d.content.Number, hash))
	if err != nil {
		return "", err
	}
	day, _ := d.st.ShopDay(now)
	b.Queue(`INSERT INTO certificate (site_id, certificate_id, year, seq, number, shipment_id, customer, order_ref, content, content_hash, supersedes_id, reason_code, reason, signature_id, signed_by, signed_at, shop_day)
		VALUES (@site, @id, @year, @seq, @number, @shipment, @customer, @order, @content, @hash, @supersedes, @code, @reason, @signature, @by, @at, @day)`,
		sqlArgs{"site": a.Site, "id": n.ID, "year": year, "seq": seq, "number": d.content.Number, "shipment": null(n.Shipment), "customer": d.content.Customer,
			"order": d.content.OrderRef, "content": string(body), "hash": hash, "supersedes": null(n.Supersedes), "code": n.Code, "reason": n.Reason, "signature": signature,
			"by": a.Person, "at": now, "day": day})
	return d.content.Number, db.queueBehind(ctx, tx, b, a, n, d)
}

// queueBehind writes which parts and records a certificate stands on, and its event.
func (db *DB) queueBehind(ctx context.Context, tx querier, b *pgx.Batch, a Actor, n NewCertificate, d *draft) error {
	ids, releases, serials := make([]uuid.UUID, len(d.parts)), make([]uuid.UUID, len(d.parts)), make([]string, len(d.parts))
	for i, p := range d.parts {
		ids[i], releases[i], serials[i] = p.PartID, p.Release, p.Serial
	}
	b.Queue(`INSERT INTO certificate_part (site_id, certificate_id, part_id, release_id) SELECT @site, @id, part, release FROM unnest(@parts::uuid[], @releases::uuid[]) AS n(part, release)`,
		sqlArgs{"site": a.Site, "id": n.ID, "parts": ids, "releases": releases})
	b.Queue(`INSERT INTO certificate_record (site_id, certificate_id, record_id) SELECT @site, @id, unnest(@records::uuid[])`,
		sqlArgs{"site": a.Site, "id": n.ID, "records": d.records})
	e := Event{Verb: "certificate issued", SubjectKind: "certificate", Subject: n.ID, After: map[string]any{"number": d.content.Number, "parts": serials, "changes": len(d.content.Changes)}, Reason: n.Reason}
	if n.Supersedes != uuid.Nil {
		e.Verb, e.Before = "certificate reissued", map[string]string{"number": d.content.Supersedes.Number, "code": n.Code}
	}
	if err := db.queueEvent(b, a, e); err != nil {
		return err
	}
	if err := send(ctx, tx, b); err != nil {
		return fmt.Errorf("issuing %s: %w", d.content.Number, err)
	}
	return nil
}

// choose fills in the parts where a shipment or a certificate to be reissued stands for them.
func (n *NewCertificate) choose(ctx context.Context, q querier, site uuid.UUID) (err error) {
	args := sqlArgs{"site": site, "shipment": n.Shipment, "old": n.Supersedes}
	switch {
	case len(n.Parts) > 0:
	case n.Supersedes != uuid.Nil:
		delete(args, "shipment")
		n.Parts, err = column[uuid.UUID](ctx, q, `SELECT part_id FROM certificate_part WHERE site_id = @site AND certificate_id = @old ORDER BY part_id`, args)
	case n.Shipment != uuid.Nil:
		delete(args, "old")
		n.Parts, err = column[uuid.UUID](ctx, q, `SELECT sp.part_id FROM shipment_part sp WHERE sp.site_id = @site AND sp.shipment_id = @shipment AND `+notReturned+` ORDER BY sp.part_id`, args)
	}
	if err == nil && len(n.Parts) == 0 {
		return refuse(RuleNoParts, "Choose at least one part.")
	}
	return err
}

// prepareCertificate checks that the parts may be certified, and states what there is to state but the number.
func (db *DB) prepareCertificate(ctx context.Context, tx querier, a Actor, n *NewCertificate) (*draft, []leaving, error) {
	if err := n.choose(ctx, tx, a.Site); err != nil {
		return nil, nil, err
	}
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return nil, nil, err
	}
	var old *Certificate
	if n.Supersedes != uuid.Nil {
		if old, err = n.replaces(ctx, tx, a.Site); err != nil {
			return nil, nil, err
		}
	}
	parts, err := list[leaving](ctx, tx, leavingSQL, sqlArgs{"site": a.Site, "parts": n.Parts})
	if err != nil {
		return nil, nil, fmt.Errorf("parts of a certificate: %w", err)
	}
	if len(parts) != len(n.Parts) {
		return nil, nil, fmt.Errorf("a part of the certificate: %w", ErrNotFound)
	}
	for _, p := range parts {
		if err := p.sound("certified"); err != nil {
			return nil, nil, err
		}
	}
	var shipment *Shipment
	if n.Shipment != uuid.Nil {
		s, err := one[Shipment](ctx, tx, shipmentSQL+` AND s.shipment_id = @shipment`, sqlArgs{"site": a.Site, "shipment": n.Shipment})
		if err != nil {
			return nil, nil, err
		}
		if shipment = &s; n.OrderRef == "" {
			n.OrderRef = s.OrderRef
		}
		for _, p := range parts {
			if p.Shipment != s.Number {
				return nil, nil, refuse(RuleInvalid, fmt.Sprintf("Part %s is not out with %s. Leave it out, or certify it by itself.", p.Serial, s.Number))
			}
		}
	}
	if err := n.alone(ctx, tx, a.Site); err != nil {
		return nil, nil, err
	}
	customer, order, err := oneCustomer(parts, n.OrderRef)
	if err != nil {
		return nil, nil, err
	}
	d, err := db.build(ctx, tx, st, n.Parts)
	if err != nil {
		return nil, nil, err
	}
	d.content.Customer, d.content.OrderRef = customer, order
	if shipment != nil {
		d.content.Shipment = &CertificateShipment{Number: shipment.Number, DeliveryNote: shipment.DeliveryNote, ShippedAt: d.at(shipment.ShippedAt)}
	}
	if old != nil {
		d.content.Supersedes = &CertificateSuperseded{Number: old.Number, Code: n.Code, Reason: n.Reason}
	}
	return d, parts, nil
}

// replaces reads the certificate that is to be reissued.
func (n *NewCertificate) replaces(ctx context.Context, q querier, site uuid.UUID) (*Certificate, error) {
	args := sqlArgs{"site": site, "id": n.Supersedes}
	old, err := one[Certificate](ctx, q, certificateSQL+` AND c.certificate_id = @id`, args)
	if err != nil {
		return nil, err
	}
	if old.SupersededBy != "" {
		return nil, refuse("certificate_superseded_once", fmt.Sprintf("%s was superseded by %s meanwhile. Reissue that one, if it needs it.", old.Number, old.SupersededBy))
	}
	if n.OrderRef == "" {
		n.OrderRef = old.OrderRef
	}
	if n.Shipment == uuid.Nil {
		id, err := value[uuid.NullUUID](ctx, q, `SELECT shipment_id FROM certificate WHERE site_id = @site AND certificate_id = @id`, args)
		if err != nil {
			return nil, err
		}
		n.Shipment = id.UUID
	}
	return &old, nil
}

// alone refuses a part that stands on another certificate for the same release: two that count could say different things.
func (n *NewCertificate) alone(ctx context.Context, q querier, site uuid.UUID) error {
	type other struct {
		Serial string `db:"serial"`
		Number string `db:"number"`
	}
	others, err := list[other](ctx, q, `SELECT p.serial, c.number FROM certificate_part cp JOIN certificate c ON c.site_id = cp.site_id AND c.certificate_id = cp.certificate_id
		JOIN part p ON p.site_id = cp.site_id AND p.part_id = cp.part_id
		WHERE cp.site_id = @site AND cp.part_id = ANY(@parts) AND c.certificate_id <> @old AND `+notReplaced+`
		AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = cp.site_id AND v.release_id = cp.release_id) ORDER BY p.serial LIMIT 1`,
		sqlArgs{"site": site, "parts": n.Parts, "old": n.Supersedes})
	if err != nil || len(others) == 0 {
		return err
	}
	return refuse(RuleInvalid, fmt.Sprintf("Part %s stands on certificate %s already. Reissue that one instead.", others[0].Serial, others[0].Number))
}

// Certifiable returns the released parts of a shipment, or of a job when shipment is empty, that stand on no certificate yet.
func (db *DB) Certifiable(ctx context.Context, site uuid.UUID, shipment uuid.UUID, job string) ([]PartRow, error) {
	return list[PartRow](ctx, db.pool, partRowSQL+` AND ps.status IN ('released', 'shipped')
		AND (@job <> '' AND j.number = @job OR p.part_id IN (SELECT sp.part_id FROM shipment_part sp WHERE sp.site_id = @site AND sp.shipment_id = @shipment AND `+notReturned+`))
		AND EXISTS (SELECT 1 FROM release rl WHERE rl.site_id = p.site_id AND rl.part_id = p.part_id
			AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)
			AND NOT EXISTS (SELECT 1 FROM certificate_part cp JOIN certificate c ON c.site_id = cp.site_id AND c.certificate_id = cp.certificate_id
				WHERE cp.site_id = rl.site_id AND cp.release_id = rl.release_id AND `+notReplaced+`)) ORDER BY p.serial`,
		sqlArgs{"site": site, "shipment": shipment, "job": job})
}
