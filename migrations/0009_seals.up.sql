-- Each closed shop day is sealed: a Merkle root over everything recorded since the seal before, chained to that seal and
-- signed. store/seal.go describes the bytes, so that another program can make them again.

-- The public halves of the keys that seals are signed with. The private half never comes into the database.
CREATE TABLE seal_key (
    site_id    uuid NOT NULL REFERENCES site,
    key_id     text NOT NULL,
    public_key bytea NOT NULL,
    made_at    timestamptz NOT NULL,
    CONSTRAINT seal_key_pkey PRIMARY KEY (site_id, key_id),
    CONSTRAINT seal_key_length CHECK (octet_length(public_key) = 32)
);

-- Seals number 1, 2, 3 … in each site. A seal covers what was recorded from begins up to and not including ends.
CREATE TABLE seal (
    site_id   uuid NOT NULL,
    number    bigint NOT NULL,
    shop_day  date NOT NULL,
    begins    timestamptz NOT NULL,
    ends      timestamptz NOT NULL,
    sealed_at timestamptz NOT NULL,
    -- Which columns of which tables were read, in which order: columns that a later version adds do not break old seals.
    layout    text NOT NULL,
    leaves    bigint NOT NULL,
    root      bytea NOT NULL,
    previous  bytea NOT NULL,
    head      bytea NOT NULL,
    key_id    text NOT NULL,
    signature bytea NOT NULL,
    CONSTRAINT seal_pkey PRIMARY KEY (site_id, number),
    CONSTRAINT seal_day_once UNIQUE (site_id, shop_day),
    CONSTRAINT seal_key_fkey FOREIGN KEY (site_id, key_id) REFERENCES seal_key,
    CONSTRAINT seal_number_positive CHECK (number >= 1),
    CONSTRAINT seal_times_ordered CHECK (ends > begins),
    CONSTRAINT seal_lengths CHECK (octet_length(root) = 32 AND octet_length(previous) = 32 AND octet_length(head) = 32 AND octet_length(signature) = 64)
);

-- The leaves of a seal, 49 bytes each (place of its kind in the layout, id of the row, hash), so that the first row that does
-- not match can be named. The root is made of the rows themselves and does not need them.
CREATE TABLE seal_page (
    site_id uuid NOT NULL,
    number  bigint NOT NULL,
    page    integer NOT NULL,
    leaves  bytea NOT NULL,
    CONSTRAINT seal_page_pkey PRIMARY KEY (site_id, number, page),
    CONSTRAINT seal_page_seal_fkey FOREIGN KEY (site_id, number) REFERENCES seal,
    CONSTRAINT seal_page_whole CHECK (octet_length(leaves) > 0 AND octet_length(leaves) % 49 = 0)
);

-- A supervisor has looked at what a sealed day changed, and signs it. Never somebody who made one of the changes.
CREATE TABLE day_review (
    site_id      uuid NOT NULL,
    review_id    uuid NOT NULL,
    number       bigint NOT NULL,
    signature_id uuid NOT NULL,
    reviewed_by  uuid NOT NULL,
    reviewed_at  timestamptz NOT NULL,
    -- The changes that were shown, each as its kind and id.
    listed       text[] NOT NULL,
    note         text NOT NULL DEFAULT '',
    CONSTRAINT day_review_pkey PRIMARY KEY (site_id, review_id),
    CONSTRAINT day_review_once UNIQUE (site_id, number),
    CONSTRAINT day_review_seal_fkey FOREIGN KEY (site_id, number) REFERENCES seal,
    CONSTRAINT day_review_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT day_review_person_fkey FOREIGN KEY (site_id, reviewed_by) REFERENCES person
);

-- What is sealed is read in the order in which it was recorded.
CREATE INDEX record_by_recorded ON record (site_id, recorded_at, record_id);
CREATE INDEX part_by_received ON part (site_id, received_at, part_id);
CREATE INDEX signature_by_time ON signature (site_id, signed_at, signature_id);
CREATE INDEX hold_by_time ON hold (site_id, opened_at, hold_id);
CREATE INDEX disposition_by_time ON disposition (site_id, decided_at, disposition_id);
CREATE INDEX release_by_time ON release (site_id, released_at, release_id);
DROP INDEX event_by_time;
CREATE INDEX event_by_time ON event (site_id, at, event_id);
-- How many parts a job received, also when one of them is no longer in the list of parts.
CREATE INDEX event_received_by_job ON event (site_id, (after ->> 'Job')) WHERE verb = 'part received';

GRANT SELECT, INSERT ON seal_key, seal, seal_page, day_review TO coatbook_app;
GRANT SELECT ON seal_key, seal, seal_page, day_review TO coatbook_read;
