-- The register of measuring devices, studies of how far they can be trusted, and what follows when one is found wrong.

ALTER TABLE instrument
    -- Expanded uncertainty on the certificate, in the device's unit, and the coverage factor it was stated with.
    ADD COLUMN uncertainty double precision,
    ADD COLUMN coverage_k double precision,
    -- Where it is kept, and whose it is when it is not the company's.
    ADD COLUMN location text NOT NULL DEFAULT '',
    ADD COLUMN owner_name text NOT NULL DEFAULT '',
    -- What a zero plate is made of.
    ADD COLUMN alloy text NOT NULL DEFAULT '',
    ADD CONSTRAINT instrument_uncertainty_range CHECK (uncertainty IS NULL OR uncertainty > 0),
    ADD CONSTRAINT instrument_coverage_k_range CHECK (coverage_k IS NULL OR (coverage_k >= 1 AND coverage_k <= 10)),
    DROP CONSTRAINT instrument_kind_known,
    ADD CONSTRAINT instrument_kind_known CHECK (kind IN ('film_gauge', 'shim', 'zero_plate', 'gloss_meter', 'weld_gauge', 'thermometer', 'logger', 'conductivity_meter', 'ph_meter',
        'light_meter', 'climate_meter', 'resistance_meter', 'reference', 'other')),
    DROP CONSTRAINT instrument_status_known,
    -- doubtful: dropped, or a reading that nobody believes. It is blocked until it is verified.
    ADD CONSTRAINT instrument_status_known CHECK (status IN ('in_use', 'doubtful', 'failed', 'withdrawn'));

-- Since when it is doubtful and what happened; null when it is not.
ALTER TABLE instrument_status
    ADD COLUMN doubted_at timestamptz,
    ADD COLUMN doubt text NOT NULL DEFAULT '';

CREATE TABLE measurement_study (
    site_id       uuid NOT NULL,
    study_id      uuid NOT NULL,
    instrument_id uuid NOT NULL,
    method        text NOT NULL,
    -- Spread of the gauge and the people in percent: of the tolerance, or of the study's own variation.
    grr_pct       double precision NOT NULL,
    grr_of        text NOT NULL,
    -- How many groups of parts it can tell apart; null where the study does not say.
    ndc           integer,
    made_on       date NOT NULL,
    valid_to      date NOT NULL,
    report        text NOT NULL DEFAULT '',
    -- The table it was computed from, as it came; empty when the result was entered.
    source_data   text NOT NULL DEFAULT '',
    added_by      uuid NOT NULL,
    added_at      timestamptz NOT NULL,
    CONSTRAINT measurement_study_pkey PRIMARY KEY (site_id, study_id),
    CONSTRAINT measurement_study_instrument_fkey FOREIGN KEY (site_id, instrument_id) REFERENCES instrument,
    CONSTRAINT measurement_study_person_fkey FOREIGN KEY (site_id, added_by) REFERENCES person,
    CONSTRAINT measurement_study_method_known CHECK (method IN ('entered', 'anova', 'range')),
    CONSTRAINT measurement_study_grr_range CHECK (grr_pct >= 0 AND grr_pct <= 1000),
    CONSTRAINT measurement_study_grr_of_known CHECK (grr_of IN ('tolerance', 'study')),
    CONSTRAINT measurement_study_ndc_range CHECK (ndc IS NULL OR ndc BETWEEN 0 AND 1000),
    CONSTRAINT measurement_study_valid_to_ordered CHECK (valid_to >= made_on)
);
CREATE INDEX measurement_study_by_instrument ON measurement_study (site_id, instrument_id, made_on);

-- One review for each device found wrong: everything made with it since it was last good, for a decision on each part.
CREATE TABLE recall_review (
    site_id       uuid NOT NULL REFERENCES site,
    review_id     uuid NOT NULL,
    number        text NOT NULL,
    instrument_id uuid NOT NULL,
    -- The verification or calibration that failed; null when the device was marked failed by hand.
    record_id     uuid,
    -- The last good one before it; null when there is none, and then everything ever made with the device is in doubt.
    good_id       uuid,
    suspect_from  timestamptz,
    suspect_to    timestamptz NOT NULL,
    cause         text NOT NULL,
    hold_id       uuid,
    opened_by     uuid NOT NULL,
    opened_at     timestamptz NOT NULL,
    shop_day      date NOT NULL,
    CONSTRAINT recall_review_pkey PRIMARY KEY (site_id, review_id),
    CONSTRAINT recall_review_number_unique UNIQUE (site_id, number),
    CONSTRAINT recall_review_instrument_fkey FOREIGN KEY (site_id, instrument_id) REFERENCES instrument,
    CONSTRAINT recall_review_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT recall_review_good_fkey FOREIGN KEY (site_id, good_id) REFERENCES record,
    CONSTRAINT recall_review_hold_fkey FOREIGN KEY (site_id, hold_id) REFERENCES hold,
    CONSTRAINT recall_review_person_fkey FOREIGN KEY (site_id, opened_by) REFERENCES person,
    CONSTRAINT recall_review_cause_present CHECK (btrim(cause) <> '')
);

-- A record that was made with the device. The correction of one joins it: its readings are still those of the device.
CREATE TABLE recall_record (
    site_id   uuid NOT NULL,
    entry_id  uuid NOT NULL,
    review_id uuid NOT NULL,
    record_id uuid NOT NULL,
    listed_at timestamptz NOT NULL,
    CONSTRAINT recall_record_pkey PRIMARY KEY (site_id, entry_id),
    CONSTRAINT recall_record_once UNIQUE (site_id, review_id, record_id),
    CONSTRAINT recall_record_review_fkey FOREIGN KEY (site_id, review_id) REFERENCES recall_review,
    CONSTRAINT recall_record_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record
);
CREATE INDEX recall_record_by_record ON recall_record (site_id, record_id);

-- A part behind the records, and how it stood when the device was found wrong.
CREATE TABLE recall_line (
    site_id    uuid NOT NULL,
    review_id  uuid NOT NULL,
    part_id    uuid NOT NULL,
    status     text NOT NULL,
    release_id uuid,
    held       boolean NOT NULL,
    CONSTRAINT recall_line_pkey PRIMARY KEY (site_id, review_id, part_id),
    CONSTRAINT recall_line_review_fkey FOREIGN KEY (site_id, review_id) REFERENCES recall_review,
    CONSTRAINT recall_line_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT recall_line_release_fkey FOREIGN KEY (site_id, release_id) REFERENCES release
);

CREATE TABLE recall_decision (
    site_id      uuid NOT NULL,
    decision_id  uuid NOT NULL,
    review_id    uuid NOT NULL,
    part_id      uuid NOT NULL,
    code         text NOT NULL,
    reason       text NOT NULL,
    signature_id uuid NOT NULL,
    decided_by   uuid NOT NULL,
    decided_at   timestamptz NOT NULL,
    CONSTRAINT recall_decision_pkey PRIMARY KEY (site_id, decision_id),
    CONSTRAINT recall_decision_once UNIQUE (site_id, review_id, part_id),
    CONSTRAINT recall_decision_line_fkey FOREIGN KEY (site_id, review_id, part_id) REFERENCES recall_line,
    CONSTRAINT recall_decision_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT recall_decision_person_fkey FOREIGN KEY (site_id, decided_by) REFERENCES person,
    CONSTRAINT recall_decision_code_known CHECK (code IN ('no_effect', 're_measure', 'hold', 'notify_customer')),
    CONSTRAINT recall_decision_reason_given CHECK (length(btrim(reason)) >= 5)
);

CREATE TABLE recall_closing (
    site_id      uuid NOT NULL,
    review_id    uuid NOT NULL,
    conclusion   text NOT NULL,
    signature_id uuid NOT NULL,
    closed_by    uuid NOT NULL,
    closed_at    timestamptz NOT NULL,
    CONSTRAINT recall_closing_pkey PRIMARY KEY (site_id, review_id),
    CONSTRAINT recall_closing_review_fkey FOREIGN KEY (site_id, review_id) REFERENCES recall_review,
    CONSTRAINT recall_closing_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT recall_closing_person_fkey FOREIGN KEY (site_id, closed_by) REFERENCES person,
    CONSTRAINT recall_closing_conclusion_given CHECK (length(btrim(conclusion)) >= 5)
);

CREATE INDEX recall_review_by_instrument ON recall_review (site_id, instrument_id, opened_at);

GRANT SELECT, INSERT ON measurement_study, recall_review, recall_record, recall_line, recall_decision, recall_closing TO coatbook_app;
GRANT SELECT ON measurement_study, recall_review, recall_record, recall_line, recall_decision, recall_closing TO coatbook_read;
