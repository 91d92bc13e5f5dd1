-- A value that decides much and that one person typed or allowed alone waits for a second person. What waits is a line of
-- the record; the answer is a row of its own, signed over the exact content of the record.
CREATE TABLE critical_entry (
    site_id   uuid NOT NULL,
    record_id uuid NOT NULL,
    rule      text NOT NULL,
    sentence  text NOT NULL,
    CONSTRAINT critical_entry_pkey PRIMARY KEY (site_id, record_id, rule),
    CONSTRAINT critical_entry_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT critical_entry_sentence_present CHECK (btrim(sentence) <> '')
);

CREATE TABLE confirmation (
    site_id         uuid NOT NULL,
    confirmation_id uuid NOT NULL,
    record_id       uuid NOT NULL,
    outcome         text NOT NULL,
    reason          text NOT NULL DEFAULT '',
    signature_id    uuid NOT NULL,
    decided_by      uuid NOT NULL,
    decided_at      timestamptz NOT NULL,
    CONSTRAINT confirmation_pkey PRIMARY KEY (site_id, confirmation_id),
    CONSTRAINT confirmation_once UNIQUE (site_id, record_id),
    CONSTRAINT confirmation_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT confirmation_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT confirmation_person_fkey FOREIGN KEY (site_id, decided_by) REFERENCES person,
    CONSTRAINT confirmation_outcome_known CHECK (outcome IN ('confirmed', 'declined')),
    CONSTRAINT confirmation_reason_given CHECK (outcome = 'confirmed' OR length(btrim(reason)) >= 5)
);

GRANT SELECT, INSERT ON critical_entry, confirmation TO coatbook_app;
GRANT SELECT ON critical_entry, confirmation TO coatbook_read;
