-- Values left out of the statistics of a characteristic: whose they are, which reading or all of the record, why and by whom.
-- The record, its readings and its verdict stay as they are. Taking an exclusion back is a row of its own.
CREATE TABLE exclusion (
    site_id      uuid NOT NULL,
    exclusion_id uuid NOT NULL,
    record_id    uuid NOT NULL,
    -- The reading by its place in the record; null leaves out all of them.
    seq          integer,
    reason_code  text NOT NULL,
    reason       text NOT NULL,
    signature_id uuid NOT NULL,
    excluded_by  uuid NOT NULL,
    excluded_at  timestamptz NOT NULL,
    CONSTRAINT exclusion_pkey PRIMARY KEY (site_id, exclusion_id),
    CONSTRAINT exclusion_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT exclusion_reading_fkey FOREIGN KEY (site_id, record_id, seq) REFERENCES reading,
    CONSTRAINT exclusion_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT exclusion_person_fkey FOREIGN KEY (site_id, excluded_by) REFERENCES person,
    CONSTRAINT exclusion_code_known CHECK (reason_code IN ('device_fault', 'wrong_spot', 'wrong_part', 'typing_error', 'special_cause', 'other')),
    CONSTRAINT exclusion_reason_given CHECK (length(btrim(reason)) >= 5)
);
CREATE INDEX exclusion_by_record ON exclusion (site_id, record_id);

CREATE TABLE exclusion_end (
    site_id      uuid NOT NULL,
    end_id       uuid NOT NULL,
    exclusion_id uuid NOT NULL,
    reason       text NOT NULL,
    signature_id uuid NOT NULL,
    ended_by     uuid NOT NULL,
    ended_at     timestamptz NOT NULL,
    CONSTRAINT exclusion_end_pkey PRIMARY KEY (site_id, end_id),
    CONSTRAINT exclusion_end_once UNIQUE (site_id, exclusion_id),
    CONSTRAINT exclusion_end_exclusion_fkey FOREIGN KEY (site_id, exclusion_id) REFERENCES exclusion,
    CONSTRAINT exclusion_end_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT exclusion_end_person_fkey FOREIGN KEY (site_id, ended_by) REFERENCES person,
    CONSTRAINT exclusion_end_reason_given CHECK (length(btrim(reason)) >= 5)
);

GRANT SELECT, INSERT ON exclusion, exclusion_end TO coatbook_app;
GRANT SELECT ON exclusion, exclusion_end TO coatbook_read;
