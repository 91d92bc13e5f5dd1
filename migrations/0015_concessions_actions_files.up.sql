-- What a customer allows beyond the spec, what the shop does about a cause, and the pictures that show it.

-- A concession of a customer holds until a day or for a number of parts. quantity_left is status; each change of it stands in
-- a disposition.
CREATE TABLE concession (
    site_id       uuid NOT NULL REFERENCES site,
    concession_id uuid NOT NULL,
    customer      text NOT NULL,
    reference     text NOT NULL,
    ends          date,
    quantity      integer,
    quantity_left integer,
    opened_by     uuid NOT NULL,
    opened_at     timestamptz NOT NULL,
    CONSTRAINT concession_pkey PRIMARY KEY (site_id, concession_id),
    CONSTRAINT concession_reference_once UNIQUE (site_id, customer, reference),
    CONSTRAINT concession_person_fkey FOREIGN KEY (site_id, opened_by) REFERENCES person,
    CONSTRAINT concession_reference_length CHECK (length(btrim(reference)) BETWEEN 1 AND 60),
    CONSTRAINT concession_limited CHECK (ends IS NOT NULL OR quantity IS NOT NULL),
    CONSTRAINT concession_quantity_range CHECK (quantity IS NULL OR quantity BETWEEN 1 AND 100000),
    CONSTRAINT concession_quantity_left CHECK ((quantity IS NULL) = (quantity_left IS NULL) AND (quantity_left IS NULL OR quantity_left BETWEEN 0 AND quantity))
);

-- Earlier dispositions have only the reference and the day.
ALTER TABLE disposition
    ADD COLUMN concession_id uuid,
    DROP CONSTRAINT disposition_concession_complete,
    ADD CONSTRAINT disposition_concession_complete CHECK (code <> 'concession' OR (btrim(concession_ref) <> '' AND (concession_ends IS NOT NULL OR concession_id IS NOT NULL))),
    ADD CONSTRAINT disposition_concession_fkey FOREIGN KEY (site_id, concession_id) REFERENCES concession;
CREATE INDEX disposition_by_concession ON disposition (site_id, concession_id) WHERE concession_id IS NOT NULL;

-- What is done about the cause of a hold. Each change is a row with the next version; the latest counts.
CREATE TABLE hold_action (
    site_id   uuid NOT NULL,
    entry_id  uuid NOT NULL,
    hold_id   uuid NOT NULL,
    version   integer NOT NULL,
    cause     text NOT NULL,
    action    text NOT NULL,
    owner_id  uuid NOT NULL,
    due       date NOT NULL,
    effective text NOT NULL,
    evidence  text NOT NULL DEFAULT '',
    closed    boolean NOT NULL DEFAULT false,
    entered_by uuid NOT NULL,
    entered_at timestamptz NOT NULL,
    CONSTRAINT hold_action_pkey PRIMARY KEY (site_id, entry_id),
    CONSTRAINT hold_action_version_once UNIQUE (site_id, hold_id, version),
    CONSTRAINT hold_action_hold_fkey FOREIGN KEY (site_id, hold_id) REFERENCES hold,
    CONSTRAINT hold_action_owner_fkey FOREIGN KEY (site_id, owner_id) REFERENCES person,
    CONSTRAINT hold_action_person_fkey FOREIGN KEY (site_id, entered_by) REFERENCES person,
    CONSTRAINT hold_action_cause_given CHECK (length(btrim(cause)) >= 5),
    CONSTRAINT hold_action_action_given CHECK (length(btrim(action)) >= 5),
    CONSTRAINT hold_action_effective_known CHECK (effective IN ('pending', 'yes', 'no')),
    CONSTRAINT hold_action_evidence_given CHECK (effective = 'pending' OR length(btrim(evidence)) >= 5),
    CONSTRAINT hold_action_closed_effective CHECK (NOT closed OR effective = 'yes')
);

-- A picture or certificate under an id that the server made. Pictures are kept as they were drawn anew here, without what the
-- camera wrote beside them.
CREATE TABLE file (
    site_id    uuid NOT NULL REFERENCES site,
    file_id    uuid NOT NULL,
    sha256     bytea NOT NULL,
    kind       text NOT NULL,
    size_bytes bigint NOT NULL,
    width      integer,
    height     integer,
    caption    text NOT NULL DEFAULT '',
    -- One of these is what it shows.
    hold_id       uuid,
    record_id     uuid,
    lot_id        uuid,
    instrument_id uuid,
    added_by   uuid NOT NULL,
    added_at   timestamptz NOT NULL,
    CONSTRAINT file_pkey PRIMARY KEY (site_id, file_id),
    CONSTRAINT file_hold_fkey FOREIGN KEY (site_id, hold_id) REFERENCES hold,
    CONSTRAINT file_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT file_lot_fkey FOREIGN KEY (site_id, lot_id) REFERENCES material_lot,
    CONSTRAINT file_instrument_fkey FOREIGN KEY (site_id, instrument_id) REFERENCES instrument,
    CONSTRAINT file_person_fkey FOREIGN KEY (site_id, added_by) REFERENCES person,
    CONSTRAINT file_one_subject CHECK (num_nonnulls(hold_id, record_id, lot_id, instrument_id) = 1),
    CONSTRAINT file_kind_known CHECK (kind IN ('jpeg', 'pdf')),
    CONSTRAINT file_size_range CHECK (size_bytes BETWEEN 1 AND 12582912),
    CONSTRAINT file_hash_length CHECK (octet_length(sha256) = 32),
    CONSTRAINT file_picture_measured CHECK ((kind = 'jpeg') = (width IS NOT NULL AND height IS NOT NULL)),
    CONSTRAINT file_caption_length CHECK (length(caption) <= 200)
);
CREATE INDEX file_by_hold ON file (site_id, hold_id) WHERE hold_id IS NOT NULL;
CREATE INDEX file_by_record ON file (site_id, record_id) WHERE record_id IS NOT NULL;
CREATE INDEX file_by_lot ON file (site_id, lot_id) WHERE lot_id IS NOT NULL;
CREATE INDEX file_by_instrument ON file (site_id, instrument_id) WHERE instrument_id IS NOT NULL;

CREATE TABLE file_content (
    site_id   uuid NOT NULL,
    file_id   uuid NOT NULL,
    bytes     bytea NOT NULL,
    thumbnail bytea,
    CONSTRAINT file_content_pkey PRIMARY KEY (site_id, file_id),
    CONSTRAINT file_content_file_fkey FOREIGN KEY (site_id, file_id) REFERENCES file
);
-- Pictures and certificates are compressed already.
ALTER TABLE file_content ALTER COLUMN bytes SET STORAGE EXTERNAL;

GRANT SELECT, INSERT ON concession, hold_action, file, file_content TO coatbook_app;
GRANT UPDATE (quantity_left) ON concession TO coatbook_app;
GRANT SELECT ON concession, hold_action, file, file_content TO coatbook_read;
