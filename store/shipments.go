package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// notReturned says of a shipment_part sp that the part has not come back.
const notReturned = `NOT EXISTS (SELECT 1 FROM shipment_return sr WHERE sr.site_id = sp.site_id AND sr.shipment_id = sp.shipment_id AND sr.part_id = sp.part_id)`

// papersOf joins to a query whose p is a part the papers it left with: sh is the shipment it is out with, ce the certificate
// that counts for it now.
const papersOf = `
	LEFT JOIN LATERAL (SELECT s.number, s.delivery_note, s.shipped_at, s.shop_day FROM shipment_part sp JOIN shipment s ON s.site_id = sp.site_id AND s.shipment_id = sp.shipment_id
		WHERE sp.site_id = p.site_id AND sp.part_id = p.part_id AND ` + notReturned + ` ORDER BY sp.trip DESC LIMIT 1) sh ON true
	LEFT JOIN LATERAL (SELECT c.number FROM certificate_part cp JOIN certificate c ON c.site_id = cp.site_id AND c.certificate_id = cp.certificate_id
		WHERE cp.site_id = p.site_id AND cp.part_id = p.part_id AND ` + notReplaced + ` ORDER BY c.signed_at DESC, c.number DESC LIMIT 1) ce ON true`

// papersColumns are the columns of Papers out of papersOf.
const papersColumns = `coalesce(sh.number, '') AS shipment, coalesce(sh.delivery_note, '') AS delivery_note, sh.shipped_at, coalesce(ce.number, '') AS certificate`

// Papers are what a part left the house with; all empty for one that is in house and has no certificate.
type Papers struct {
	Shipment     string     `db:"shipment"`
	DeliveryNote string     `db:"delivery_note"`
	ShippedAt    *time.Time `db:"shipped_at"`
	Certificate  string     `db:"certificate"`
}

// A Shipment is what left the house in one act, to one customer.
type Shipment struct {
	ID           uuid.UUID `db:"shipment_id"`
	Number       string    `db:"number"`
	Customer     string    `db:"customer"`
	OrderRef     string    `db:"order_ref"`
	DeliveryNote string    `db:"delivery_note"`
	Carrier      string    `db:"carrier"`
	ShippedBy    string    `db:"shipped_by"`
	ShippedAt    time.Time `db:"shipped_at"`
	Parts        int       `db:"parts"`
	Returned     int       `db:"returned"`
	Jobs         string    `db:"jobs"`
	Certificates string    `db:"certificates"` // the numbers that count now
}

const shipmentSQL = `SELECT s.shipment_id, s.number, s.customer, s.order_ref, s.delivery_note, s.carrier, pe.name AS shipped_by, s.shipped_at,
	(SELECT count(*) FROM shipment_part sp WHERE sp.site_id = s.site_id AND sp.shipment_id = s.shipment_id)::int AS parts,
	(SELECT count(*) FROM shipment_return sr WHERE sr.site_id = s.site_id AND sr.shipment_id = s.shipment_id)::int AS returned,
	coalesce((SELECT string_agg(DISTINCT j.number, ', ' ORDER BY j.number) FROM shipment_part sp JOIN part p ON p.site_id = sp.site_id AND p.part_id = sp.part_id
		JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id WHERE sp.site_id = s.site_id AND sp.shipment_id = s.shipment_id), '') AS jobs,
	coalesce((SELECT string_agg(c.number, ', ' ORDER BY c.number) FROM certificate c WHERE c.site_id = s.site_id AND c.shipment_id = s.shipment_id AND ` + notReplaced + `), '') AS certificates
	FROM shipment s JOIN person pe ON pe.site_id = s.site_id AND pe.person_id = s.shipped_by WHERE s.site_id = @site`

// Shipments returns the latest shipments that text names by number, delivery note, order, customer, job or part; all for an
// empty text.
func (db *DB) Shipments(ctx context.Context, site uuid.UUID, text string, limit int) ([]Shipment, error) {
	return list[Shipment](ctx, db.pool, shipmentSQL+` AND (@text = '' OR s.number = upper(@text) OR s.delivery_note = @text OR s.order_ref = @text OR lower(s.customer) LIKE lower(@like)
		OR EXISTS (SELECT 1 FROM shipment_part sp JOIN part p ON p.site_id = sp.site_id AND p.part_id = sp.part_id JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
			WHERE sp.site_id = s.site_id AND sp.shipment_id = s.shipment_id AND (p.serial = @text OR j.number = @text)))
		ORDER BY s.shipped_at DESC, s.number DESC LIMIT @limit`, sqlArgs{"site": site, "text": text, "like": likeWithin(text), "limit": limit})
}

// likeWithin is a pattern that finds text anywhere, with nothing in it taken as a wildcard.
func likeWithin(text string) string {
	return "%" + strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(text) + "%"
}

// ShipmentByNumber returns one shipment.
func (db *DB) ShipmentByNumber(ctx context.Context, site uuid.UUID, number string) (Shipment, error) {
	s, err := one[Shipment](ctx, db.pool, shipmentSQL+` AND s.number = @number`, sqlArgs{"site": site, "number": number})
	if err != nil {
		return s, fmt.Errorf("shipment %q: %w", number, err)
	}
	return s, nil
}

// A ShippedPart is a part of a shipment, and what became of it.
type ShippedPart struct {
	PartID     uuid.UUID `db:"part_id"`
	Serial     string    `db:"serial"`
	PartNumber string    `db:"part_number"`
	Job        string    `db:"job"`
	Status     string    `db:"status"`
	Papers
	ReturnedAt *time.Time `db:"returned_at"`
	ReturnedBy string     `db:"returned_by"` // as printed on the signature
	Why        string     `db:"why"`
	Hold       string     `db:"hold"`
}

// ShippedParts returns the parts of a shipment by serial.
func (db *DB) ShippedParts(ctx context.Context, site, shipment uuid.UUID) ([]ShippedPart, error) {
	return list[ShippedPart](ctx, db.pool, `SELECT p.part_id, p.serial, pn.code AS part_number, j.number AS job, ps.status, `+papersColumns+`,
			b.taken_at AS returned_at, coalesce(sg.printed_name, '') AS returned_by, coalesce(b.reason, '') AS why, coalesce(h.number, '') AS hold
		FROM shipment_part x JOIN part p ON p.site_id = x.site_id AND p.part_id = x.part_id
		JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id
		JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
		JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id`+papersOf+`
		LEFT JOIN shipment_return b ON b.site_id = x.site_id AND b.shipment_id = x.shipment_id AND b.part_id = x.part_id
		LEFT JOIN signature sg ON sg.site_id = b.site_id AND sg.signature_id = b.signature_id
		LEFT JOIN hold h ON h.site_id = b.site_id AND h.hold_id = b.hold_id
		WHERE x.site_id = @site AND x.shipment_id = @shipment ORDER BY p.serial`, sqlArgs{"site": site, "shipment": shipment})
}

// A Shippable is a released part that has not left, with what keeps it in house.
type Shippable struct {
	PartID     uuid.UUID `db:"part_id"`
	Serial     string    `db:"serial"`
	PartNumber string    `db:"part_number"`
	Job        string    `db:"job"`
	Customer   string    `db:"customer"`
	OrderRef   string    `db:"order_ref"`
	Recall     string    `db:"recall"` // undecided recall it is in
	Concession string    `db:"concession"`
}

// ReadyToShip returns the released parts in house of one job, or of all jobs of its customer, by job and serial.
func (db *DB) ReadyToShip(ctx context.Context, site uuid.UUID, job string, allOfCustomer bool) ([]Shippable, error) {
	return list[Shippable](ctx, db.pool, `SELECT p.part_id, p.serial, pn.code AS part_number, j.number AS job, j.customer, j.order_ref, `+undecidedRecall+` AS recall,
			coalesce((SELECT string_agg(DISTINCT d.concession_ref, ', ') FROM disposition d WHERE d.site_id = p.site_id AND d.part_id = p.part_id AND d.code = 'concession' AND ps.concession), '') AS concession
		FROM part p JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id
		JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
		JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
		WHERE p.site_id = @site AND ps.status = 'released' AND (j.number = @job OR @all AND j.customer = (SELECT o.customer FROM job o WHERE o.site_id = @site AND o.number = @job))
		ORDER BY j.number, p.serial`, sqlArgs{"site": site, "job": job, "all": allOfCustomer})
}

// undecidedRecall is the number of an open recall that holds the part p without a decision, empty if none.
const undecidedRecall = `coalesce((SELECT v.number FROM recall_line l JOIN recall_review v ON v.site_id = l.site_id AND v.review_id = l.review_id
	WHERE l.site_id = p.site_id AND l.part_id = p.part_id AND NOT EXISTS (SELECT 1 FROM recall_decision d WHERE d.site_id = l.site_id AND d.review_id = l.review_id AND d.part_id = l.part_id)
	ORDER BY v.number LIMIT 1), '')`

// A NewShipment is what is to leave. ID is made where it is entered; sending the same shipment again is the same shipment.
type NewShipment struct {
	ID           uuid.UUID
	Parts        []uuid.UUID
	DeliveryNote string
	OrderRef     string // the customer's order; empty takes the one of the jobs
	Carrier      string
}

// leaving is what decides whether one part may leave or be certified.
type leaving struct {
	PartID   uuid.UUID     `db:"part_id"`
	Serial   string        `db:"serial"`
	Customer string        `db:"customer"`
	OrderRef string        `db:"order_ref"`
	Status   string        `db:"status"`
	Release  uuid.NullUUID `db:"release_id"`
	Holds    string        `db:"holds"`
	Recall   string        `db:"recall"`
	Trips    int           `db:"trips"`
	Shipment string        `db:"shipment"`
}

const leavingSQL = `SELECT p.part_id, p.serial, j.customer, j.order_ref, ps.status, rl.release_id, ` + undecidedRecall + ` AS recall,
		coalesce((SELECT string_agg(h.number, ', ' ORDER BY h.number) FROM hold_part hp JOIN hold h ON h.site_id = hp.site_id AND h.hold_id = hp.hold_id
			WHERE hp.site_id = p.site_id AND hp.part_id = p.part_id AND hp.open), '') AS holds,
		(SELECT count(*) FROM shipment_part sp WHERE sp.site_id = p.site_id AND sp.part_id = p.part_id)::int AS trips,
		coalesce((SELECT s.number FROM shipment_part sp JOIN shipment s ON s.site_id = sp.site_id AND s.shipment_id = sp.shipment_id
			WHERE sp.site_id = p.site_id AND sp.part_id = p.part_id AND ` + notReturned + ` LIMIT 1), '') AS shipment
	FROM part p JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id
	JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
	LEFT JOIN release rl ON rl.site_id = p.site_id AND rl.part_id = p.part_id
		AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)
	WHERE p.site_id = @site AND p.part_id = ANY(@parts) ORDER BY p.serial`

// sound refuses a part that nobody may vouch for now; verb says what is refused.
func (l leaving) sound(verb string) error {
	switch {
	case l.Holds != "":
		return refuse(RuleOnHold, fmt.Sprintf("Part %s is on hold %s and cannot be %s. Decide on the hold first.", l.Serial, l.Holds, verb))
	case l.Recall != "":
		return refuse(RuleUndecided, fmt.Sprintf("Part %s is in recall %s without a decision and cannot be %s. Decide on it on the Recalls page first.", l.Serial, l.Recall, verb))
	case !l.Release.Valid:
		return refuse(RuleGateClosed, fmt.Sprintf("Part %s is not released and cannot be %s. Release it first, or leave it out.", l.Serial, verb))
	}
	return nil
}

// oneCustomer returns the customer and order of parts, or refuses a mixture.
func oneCustomer(parts []leaving, order string) (customer, orderRef string, err error) {
	var customers, orders []string
	for _, p := range parts {
		if !slices.Contains(customers, p.Customer) {
			customers = append(customers, p.Customer)
		}
		if p.OrderRef != "" && !slices.Contains(orders, p.OrderRef) {
			orders = append(orders, p.OrderRef)
		}
	}
	if len(customers) > 1 {
		return "", "", refuse(RuleMixed, fmt.Sprintf("These parts are for %s. Take each customer's parts apart.", strings.Join(customers, " and ")))
	}
	if order = strings.TrimSpace(order); order == "" {
		slices.Sort(orders)
		order = strings.Join(orders, ", ")
	}
	if order == "" {
		return "", "", refuse("shipment_order_length", constraintSentences["shipment_order_length"])
	}
	return customers[0], order, nil
}

// mayCertify says who ships, takes back and signs certificates.
func mayCertify(a Actor, what string) error {
	if !a.Has(Supervisor, Engineer) {
		return refuse(RuleNoRight, "A supervisor or an engineer "+what+".")
	}
	return nil
}

// Ship sends released parts of one customer out of the house, wholly or not at all. A part that is not released, on hold,
// shipped already, in an undecided recall or under a concession that has ended is refused by name.
func (db *DB) Ship(ctx context.Context, a Actor, n NewShipment) (Shipment, error) {
	n.DeliveryNote, n.Carrier = strings.TrimSpace(n.DeliveryNote), strings.TrimSpace(n.Carrier)
	if err := mayCertify(a, "ships parts"); err != nil {
		return Shipment{}, err
	}
	switch {
	case len(n.Parts) == 0:
		return Shipment{}, refuse(RuleNoParts, "Choose at least one part.")
	case n.DeliveryNote == "":
		return Shipment{}, refuse("shipment_note_length", constraintSentences["shipment_note_length"])
	case n.ID == uuid.Nil:
		n.ID = NewID()
	}
	slices.SortFunc(n.Parts, func(a, b uuid.UUID) int { return strings.Compare(a.String(), b.String()) })
	n.Parts = slices.Compact(n.Parts)
	var number string
	err := db.inTx(ctx, a.Site, func(tx querier) (err error) {
		number, err = db.ship(ctx, tx, a, n)
		return err
	})
	if err != nil {
		return Shipment{}, err
	}
	return db.ShipmentByNumber(ctx, a.Site, number)
}

func (db *DB) ship(ctx context.Context, tx querier, a Actor, n NewShipment) (string, error) {
	if err := lockParts(ctx, tx, a.Site, n.Parts); err != nil {
		return "", err
	}
	if before, err := shippedBefore(ctx, tx, a.Site, n); before != "" || err != nil {
		return before, err
	}
	b := &pgx.Batch{}
	args := sqlArgs{"site": a.Site, "parts": n.Parts}
	sites, parts := ask[Site](b, selectSite, sqlArgs{"site": a.Site}), ask[leaving](b, leavingSQL, args)
	concessions, standing := askWaivers(b, a.Site, n.Parts), db.askStandings(b, a.Site, n.Parts)
	if err := send(ctx, tx, b); err != nil {
		return "", fmt.Errorf("reading what is to be shipped: %w", err)
	}
	if len(*parts) != len(n.Parts) || len(*sites) == 0 {
		return "", fmt.Errorf("a part of the shipment: %w", ErrNotFound)
	}
	st, now := (*sites)[0], db.Clock()
	for _, p := range *parts {
		if p.Shipment != "" {
			return "", refuse(RuleFinished, fmt.Sprintf("Part %s is shipped already, with %s. Leave it out.", p.Serial, p.Shipment))
		}
		if err := p.sound("shipped"); err != nil {
			return "", err
		}
	}
	if err := stillAllowed(*concessions, now.In(st.Location()).Format(time.DateOnly)); err != nil {
		return "", err
	}
	customer, order, err := oneCustomer(*parts, n.OrderRef)
	if err != nil {
		return "", err
	}
	year := now.In(st.Location()).Year()
	seq, err := nextNumber(ctx, tx, a.Site, fmt.Sprintf("shipment %d", year))
	if err != nil {
		return "", err
	}
	number := fmt.Sprintf("S-%d-%04d", year, seq)
	day, _ := st.ShopDay(now)
	b.Queue(`INSERT INTO shipment (site_id, shipment_id, number, customer, order_ref, delivery_note, carrier, shipped_by, shipped_at, shop_day)
		VALUES (@site, @id, @number, @customer, @order, @note, @carrier, @by, @at, @day)`, sqlArgs{"site": a.Site, "id": n.ID, "number": number, "customer": customer,
		"order": order, "note": n.DeliveryNote, "carrier": n.Carrier, "by": a.Person, "at": now, "day": day})
	if err := db.queueLeaving(b, a, n, number, *parts); err != nil {
		return "", err
	}
	all := standing()
	for _, s := range all {
		s.Shipped = true
	}
	specs, err := db.specsOf(ctx, tx, a.Site, all)
	if err != nil {
		return "", err
	}
	db.queueSettle(b, a.Site, all, specs)
	return number, send(ctx, tx, b)
}

// shippedBefore returns the number of a shipment that was sent in before under the same id.
func shippedBefore(ctx context.Context, tx querier, site uuid.UUID, n NewShipment) (string, error) {
	type row struct {
		Number string      `db:"number"`
		Note   string      `db:"delivery_note"`
		Parts  []uuid.UUID `db:"parts"`
	}
	before, err := one[row](ctx, tx, `SELECT s.number, s.delivery_note, ARRAY(SELECT part_id FROM shipment_part sp WHERE sp.site_id = s.site_id AND sp.shipment_id = s.shipment_id ORDER BY part_id) AS parts
		FROM shipment s WHERE s.site_id = @site AND s.shipment_id = @id`, sqlArgs{"site": site, "id": n.ID})
	switch {
	case errors.Is(err, ErrNotFound):
		return "", nil
	case err != nil:
		return "", err
	case before.Note != n.DeliveryNote || !slices.Equal(before.Parts, n.Parts):
		return "", refuse(RuleSameID, fmt.Sprintf("This form was sent before and became %s, with other parts or another delivery note. Open the page anew.", before.Number))
	}
	return before.Number, nil
}

func (db *DB) queueLeaving(b *pgx.Batch, a Actor, n NewShipment, number string, parts []leaving) error {
	ids, releases, trips, serials := make([]uuid.UUID, len(parts)), make([]uuid.UUID, len(parts)), make([]int, len(parts)), make([]string, len(parts))
	for i, p := range parts {
		ids[i], releases[i], trips[i], serials[i] = p.PartID, p.Release.UUID, p.Trips+1, p.Serial
	}
	b.Queue(`INSERT INTO shipment_part (site_id, shipment_id, part_id, trip, release_id)
		SELECT @site, @id, part, trip, release FROM unnest(@parts::uuid[], @trips::int[], @releases::uuid[]) AS n(part, trip, release)`,
		sqlArgs{"site": a.Site, "id": n.ID, "parts": ids, "trips": trips, "releases": releases})
	events := []Event{{Verb: "shipped", SubjectKind: "shipment", Subject: n.ID, After: map[string]any{"number": number, "delivery_note": n.DeliveryNote, "parts": serials}}}
	for _, p := range parts {
		events = append(events, Event{Verb: "shipped", SubjectKind: "part", Subject: p.PartID, Before: map[string]string{"status": p.Status},
			After: map[string]string{"status": StatusShipped, "shipment": number}})
	}
	return db.queueEvent(b, a, events...)
}

// A JobToShip is a job with released parts in house.
type JobToShip struct {
	Number   string `db:"number"`
	Customer string `db:"customer"`
	Parts    int    `db:"parts"`
}

// JobsToShip returns the jobs with released parts in house, the oldest first, up to 100 of them.
func (db *DB) JobsToShip(ctx context.Context, site uuid.UUID) ([]JobToShip, error) {
	return list[JobToShip](ctx, db.pool, `SELECT j.number, j.customer, count(*)::int AS parts FROM part_status ps
		JOIN part p ON p.site_id = ps.site_id AND p.part_id = ps.part_id JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
		WHERE ps.site_id = @site AND ps.status = 'released' GROUP BY j.job_id, j.number, j.customer, j.received_at ORDER BY j.received_at, j.number LIMIT 100`, sqlArgs{"site": site})
}
