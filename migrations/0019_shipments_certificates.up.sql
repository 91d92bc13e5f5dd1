-- What left the house and what the shop stated of it: shipments, parts that came back, certificates of conformity.

CREATE TABLE shipment (
    site_id       uuid NOT NULL REFERENCES site,
    shipment_id   uuid NOT NULL,
    number        text NOT NULL,
    customer      text NOT NULL,
    order_ref     text NOT NULL,
    delivery_note text NOT NULL,
    carrier       text NOT NULL DEFAULT '',
    shipped_by    uuid NOT NULL,
    shipped_at    timestamptz NOT NULL,
    shop_day      date NOT NULL,
    CONSTRAINT shipment_pkey PRIMARY KEY (site_id, shipment_id),
    CONSTRAINT shipment_number_unique UNIQUE (site_id, number),
    CONSTRAINT shipment_note_once UNIQUE (site_id, delivery_note),
    CONSTRAINT shipment_person_fkey FOREIGN KEY (site_id, shipped_by) REFERENCES person,
    CONSTRAINT shipment_note_length CHECK (length(btrim(delivery_note)) BETWEEN 1 AND 40),
    CONSTRAINT shipment_order_length CHECK (length(btrim(order_ref)) BETWEEN 1 AND 60),
    CONSTRAINT shipment_carrier_length CHECK (length(carrier) <= 80)
);
CREATE INDEX shipment_by_time ON shipment (site_id, shipped_at);

-- A part leaves the house again only after it came back: trip counts how often it left.
CREATE TABLE shipment_part (
    site_id     uuid NOT NULL,
    shipment_id uuid NOT NULL,
    part_id     uuid NOT NULL,
    trip        integer NOT NULL,
    release_id  uuid NOT NULL,
    CONSTRAINT shipment_part_pkey PRIMARY KEY (site_id, shipment_id, part_id),
    CONSTRAINT shipment_part_trip_once UNIQUE (site_id, part_id, trip),
    CONSTRAINT shipment_part_shipment_fkey FOREIGN KEY (site_id, shipment_id) REFERENCES shipment,
    CONSTRAINT shipment_part_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT shipment_part_release_fkey FOREIGN KEY (site_id, release_id) REFERENCES release,
    CONSTRAINT shipment_part_trip_positive CHECK (trip >= 1)
);

-- What a customer sent back. The part is in house again, on hold.
CREATE TABLE shipment_return (
    site_id      uuid NOT NULL,
    return_id    uuid NOT NULL,
    shipment_id  uuid NOT NULL,
    part_id      uuid NOT NULL,
    reason       text NOT NULL,
    hold_id      uuid NOT NULL,
    signature_id uuid NOT NULL,
    taken_by     uuid NOT NULL,
    taken_at     timestamptz NOT NULL,
    shop_day     date NOT NULL,
    CONSTRAINT shipment_return_pkey PRIMARY KEY (site_id, return_id),
    CONSTRAINT shipment_return_once UNIQUE (site_id, shipment_id, part_id),
    CONSTRAINT shipment_return_part_fkey FOREIGN KEY (site_id, shipment_id, part_id) REFERENCES shipment_part,
    CONSTRAINT shipment_return_hold_fkey FOREIGN KEY (site_id, hold_id) REFERENCES hold,
    CONSTRAINT shipment_return_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT shipment_return_person_fkey FOREIGN KEY (site_id, taken_by) REFERENCES person,
    CONSTRAINT shipment_return_reason_given CHECK (length(btrim(reason)) >= 5)
);

-- A release ends also when its part comes back; then no record is behind it.
ALTER TABLE release_void
    ALTER COLUMN record_id DROP NOT NULL,
    ADD COLUMN return_id uuid,
    ADD CONSTRAINT release_void_return_fkey FOREIGN KEY (site_id, return_id) REFERENCES shipment_return,
    ADD CONSTRAINT release_void_one_cause CHECK (num_nonnulls(record_id, return_id) = 1);

ALTER TABLE part_status
    DROP CONSTRAINT part_status_known,
    ADD CONSTRAINT part_status_known CHECK (status IN ('open', 'in_progress', 'on_hold', 'accepted', 'under_concession', 'released', 'shipped', 'scrapped', 'returned', 'regraded'));

-- A certificate states what the book held when it was signed. content is that statement, word for word what was hashed and
-- signed; the print is made from it alone, so that it says the same in ten years.
CREATE TABLE certificate (
    site_id        uuid NOT NULL REFERENCES site,
    certificate_id uuid NOT NULL,
    year           integer NOT NULL,
    seq            integer NOT NULL,
    number         text NOT NULL,
    shipment_id    uuid,
    customer       text NOT NULL,
    order_ref      text NOT NULL,
    content        text NOT NULL,
    content_hash   text NOT NULL,
    supersedes_id  uuid,
    reason_code    text NOT NULL DEFAULT '',
    reason         text NOT NULL DEFAULT '',
    signature_id   uuid NOT NULL,
    signed_by      uuid NOT NULL,
    signed_at      timestamptz NOT NULL,
    shop_day       date NOT NULL,
    CONSTRAINT certificate_pkey PRIMARY KEY (site_id, certificate_id),
    CONSTRAINT certificate_number_unique UNIQUE (site_id, number),
    CONSTRAINT certificate_seq_once UNIQUE (site_id, year, seq),
    CONSTRAINT certificate_shipment_fkey FOREIGN KEY (site_id, shipment_id) REFERENCES shipment,
    CONSTRAINT certificate_supersedes_fkey FOREIGN KEY (site_id, supersedes_id) REFERENCES certificate,
    CONSTRAINT certificate_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT certificate_person_fkey FOREIGN KEY (site_id, signed_by) REFERENCES person,
    CONSTRAINT certificate_order_length CHECK (length(btrim(order_ref)) BETWEEN 1 AND 60),
    CONSTRAINT certificate_content_whole CHECK (content_hash = encode(sha256(convert_to(content, 'UTF8')), 'hex')),
    CONSTRAINT certificate_reason_code_known CHECK (reason_code IN ('', 'record_corrected', 'wrong_order', 'wrong_parts', 'part_returned', 'other')),
    CONSTRAINT certificate_reissue_coded CHECK ((supersedes_id IS NULL) = (reason_code = '')),
    CONSTRAINT certificate_reissue_reason CHECK (supersedes_id IS NULL OR length(btrim(reason)) >= 5)
);
CREATE UNIQUE INDEX certificate_superseded_once ON certificate (site_id, supersedes_id) WHERE supersedes_id IS NOT NULL;
CREATE INDEX certificate_by_time ON certificate (site_id, signed_at);
CREATE INDEX certificate_by_shipment ON certificate (site_id, shipment_id) WHERE shipment_id IS NOT NULL;

CREATE TABLE certificate_part (
    site_id        uuid NOT NULL,
    certificate_id uuid NOT NULL,
    part_id        uuid NOT NULL,
    release_id     uuid NOT NULL,
    CONSTRAINT certificate_part_pkey PRIMARY KEY (site_id, certificate_id, part_id),
    CONSTRAINT certificate_part_certificate_fkey FOREIGN KEY (site_id, certificate_id) REFERENCES certificate,
    CONSTRAINT certificate_part_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT certificate_part_release_fkey FOREIGN KEY (site_id, release_id) REFERENCES release
);
CREATE INDEX certificate_part_by_part ON certificate_part (site_id, part_id);

-- The records that a certificate rests on: when one of them is corrected, its page says so.
CREATE TABLE certificate_record (
    site_id        uuid NOT NULL,
    certificate_id uuid NOT NULL,
    record_id      uuid NOT NULL,
    CONSTRAINT certificate_record_pkey PRIMARY KEY (site_id, certificate_id, record_id),
    CONSTRAINT certificate_record_certificate_fkey FOREIGN KEY (site_id, certificate_id) REFERENCES certificate,
    CONSTRAINT certificate_record_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record
);

GRANT SELECT, INSERT ON shipment, shipment_part, shipment_return, certificate, certificate_part, certificate_record TO coatbook_app;
GRANT SELECT ON shipment, shipment_part, shipment_return, certificate, certificate_part, certificate_record TO coatbook_read;
