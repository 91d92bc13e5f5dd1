-- What happened. These tables are insert only; the server's role cannot update or delete them.

-- One header for every kind, so that timeline, gate, trace and export are each one query.
CREATE TABLE record (
    site_id          uuid NOT NULL REFERENCES site,
    record_id        uuid NOT NULL,
    kind             text NOT NULL,
    part_id          uuid,
    rack_id          uuid,
    load_id          uuid,
    instrument_id    uuid,
    cycle            integer NOT NULL DEFAULT 1,
    round            integer NOT NULL DEFAULT 1,
    -- First entry of its kind for its subject in cycle 1: what first-pass yield counts.
    first_pass       boolean NOT NULL,
    spec_revision_id uuid,
    station_id       uuid,
    device_id        uuid,
    person_id        uuid NOT NULL,
    observed_at      timestamptz NOT NULL,
    utc_offset_s     integer NOT NULL,
    clock_offset_ms  bigint NOT NULL DEFAULT 0,
    recorded_at      timestamptz NOT NULL DEFAULT now(),
    shop_day         date NOT NULL,
    shift            text NOT NULL,
    late_reason      text NOT NULL DEFAULT '',
    note             text NOT NULL DEFAULT '',
    supersedes_id    uuid,
    reason           text NOT NULL DEFAULT '',
    rule             text NOT NULL DEFAULT '',
    verdict          text NOT NULL,
    content_hash     text NOT NULL,
    CONSTRAINT record_pkey PRIMARY KEY (site_id, record_id),
    CONSTRAINT record_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT record_rack_fkey FOREIGN KEY (site_id, rack_id) REFERENCES rack,
    CONSTRAINT record_load_fkey FOREIGN KEY (site_id, load_id) REFERENCES oven_load,
    CONSTRAINT record_instrument_fkey FOREIGN KEY (site_id, instrument_id) REFERENCES instrument,
    CONSTRAINT record_person_fkey FOREIGN KEY (site_id, person_id) REFERENCES person,
    CONSTRAINT record_device_fkey FOREIGN KEY (site_id, device_id) REFERENCES device,
    CONSTRAINT record_station_fkey FOREIGN KEY (site_id, station_id) REFERENCES station,
    CONSTRAINT record_spec_fkey FOREIGN KEY (site_id, spec_revision_id) REFERENCES finish_spec_revision,
    CONSTRAINT record_supersedes_fkey FOREIGN KEY (site_id, supersedes_id) REFERENCES record,
    CONSTRAINT record_kind_known CHECK (kind IN ('weld', 'pretreatment', 'coating', 'cure', 'cure_test', 'finish', 'film', 'verification')),
    CONSTRAINT record_one_subject CHECK (num_nonnulls(part_id, rack_id, load_id, instrument_id) = 1),
    CONSTRAINT record_spec_named CHECK (kind = 'verification' OR spec_revision_id IS NOT NULL),
    CONSTRAINT record_cycle_positive CHECK (cycle >= 1 AND round >= 1),
    CONSTRAINT record_verdict_known CHECK (verdict IN ('pass', 'fail', 'guard_band', 'incomplete')),
    CONSTRAINT record_amendment_reason CHECK (supersedes_id IS NULL OR length(btrim(reason)) >= 5)
);
CREATE UNIQUE INDEX record_superseded_once ON record (site_id, supersedes_id) WHERE supersedes_id IS NOT NULL;
CREATE INDEX record_by_part ON record (site_id, part_id, cycle) WHERE part_id IS NOT NULL;
CREATE INDEX record_by_rack ON record (site_id, rack_id) WHERE rack_id IS NOT NULL;
CREATE INDEX record_by_load ON record (site_id, load_id) WHERE load_id IS NOT NULL;
CREATE INDEX record_by_instrument ON record (site_id, instrument_id, observed_at) WHERE instrument_id IS NOT NULL;
CREATE INDEX record_by_day ON record (site_id, shop_day, kind);

-- Measured. The text is what was entered; the value is the same in the characteristic's canonical unit.
CREATE TABLE reading (
    site_id        uuid NOT NULL,
    record_id      uuid NOT NULL,
    seq            integer NOT NULL,
    characteristic text NOT NULL,
    location       text NOT NULL DEFAULT '',
    spot           integer NOT NULL DEFAULT 0,
    rep            integer NOT NULL DEFAULT 0,
    value          double precision,
    value_text     text NOT NULL DEFAULT '',
    unit           text NOT NULL,
    source         text NOT NULL,
    raw_text       text NOT NULL DEFAULT '',
    absence        text NOT NULL DEFAULT '',
    flag           text NOT NULL DEFAULT '',
    CONSTRAINT reading_pkey PRIMARY KEY (site_id, record_id, seq),
    CONSTRAINT reading_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT reading_source_known CHECK (source IN ('typed', 'wedge', 'scan', 'file', 'computed')),
    CONSTRAINT reading_absence_known CHECK (absence IN ('', 'not_measured', 'not_applicable', 'below_range', 'above_range', 'pending')),
    CONSTRAINT reading_value_or_absence CHECK ((value IS NULL) = (absence <> '')),
    CONSTRAINT reading_value_finite CHECK (value IS NULL OR (value > '-Infinity' AND value < 'Infinity')),
    CONSTRAINT reading_flag_known CHECK (flag IN ('', 'in', 'low', 'high', 'short', 'guard'))
);

-- Rated by eye or hand on a scale of codes: water break, solvent rub, adhesion. A rank is a code, never a decimal.
CREATE TABLE rating (
    site_id        uuid NOT NULL,
    record_id      uuid NOT NULL,
    seq            integer NOT NULL,
    characteristic text NOT NULL,
    location       text NOT NULL DEFAULT '',
    code           text NOT NULL,
    CONSTRAINT rating_pkey PRIMARY KEY (site_id, record_id, seq),
    CONSTRAINT rating_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record
);

-- Seen. "None found" is a result of its own: a line with code 'none'.
CREATE TABLE defect (
    site_id    uuid NOT NULL,
    record_id  uuid NOT NULL,
    seq        integer NOT NULL,
    code       text NOT NULL,
    place      text NOT NULL DEFAULT '',
    size_mm    double precision,
    size_text  text NOT NULL DEFAULT '',
    length_mm  double precision,
    length_text text NOT NULL DEFAULT '',
    count      integer NOT NULL DEFAULT 1,
    flag       text NOT NULL DEFAULT '',
    CONSTRAINT defect_pkey PRIMARY KEY (site_id, record_id, seq),
    CONSTRAINT defect_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT defect_sizes_positive CHECK ((size_mm IS NULL OR size_mm >= 0) AND (length_mm IS NULL OR length_mm >= 0)),
    CONSTRAINT defect_count_range CHECK (count BETWEEN 0 AND 999)
);

-- What the verdict was decided by, written once.
CREATE TABLE finding (
    site_id    uuid NOT NULL,
    record_id  uuid NOT NULL,
    seq        integer NOT NULL,
    shop_day   date NOT NULL,
    rule       text NOT NULL,
    place      text NOT NULL DEFAULT '',
    limit_text text NOT NULL DEFAULT '',
    value      double precision,
    unit       text NOT NULL DEFAULT '',
    verdict    text NOT NULL,
    -- The trade's word for what is wrong (thin film, inclusion, undercut), for counting.
    fault      text NOT NULL DEFAULT '',
    sentence   text NOT NULL,
    CONSTRAINT finding_pkey PRIMARY KEY (site_id, record_id, seq),
    CONSTRAINT finding_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT finding_verdict_known CHECK (verdict IN ('pass', 'fail', 'guard_band', 'incomplete'))
);
CREATE INDEX finding_by_day ON finding (site_id, shop_day) WHERE fault <> '';

-- What went into the act: gauge, powder lot, welder, booth, bath, oven, the part a load's test was made on. Trace is this table.
CREATE TABLE record_use (
    site_id       uuid NOT NULL,
    record_id     uuid NOT NULL,
    seq           integer NOT NULL,
    role          text NOT NULL,
    instrument_id uuid,
    lot_id        uuid,
    person_id     uuid,
    station_id    uuid,
    bath_id       uuid,
    part_id       uuid,
    -- Gauge checks are tied to the verification that vouched for the gauge.
    verification_id uuid,
    CONSTRAINT record_use_pkey PRIMARY KEY (site_id, record_id, seq),
    CONSTRAINT record_use_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT record_use_instrument_fkey FOREIGN KEY (site_id, instrument_id) REFERENCES instrument,
    CONSTRAINT record_use_lot_fkey FOREIGN KEY (site_id, lot_id) REFERENCES powder_lot,
    CONSTRAINT record_use_person_fkey FOREIGN KEY (site_id, person_id) REFERENCES person,
    CONSTRAINT record_use_station_fkey FOREIGN KEY (site_id, station_id) REFERENCES station,
    CONSTRAINT record_use_bath_fkey FOREIGN KEY (site_id, bath_id) REFERENCES bath,
    CONSTRAINT record_use_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT record_use_verification_fkey FOREIGN KEY (site_id, verification_id) REFERENCES record,
    CONSTRAINT record_use_one_thing CHECK (num_nonnulls(instrument_id, lot_id, person_id, station_id, bath_id, part_id) = 1),
    CONSTRAINT record_use_role_known CHECK (role IN ('gauge', 'shim', 'powder', 'welder', 'booth', 'oven', 'bath', 'tested_part'))
);
CREATE INDEX record_use_by_instrument ON record_use (site_id, instrument_id) WHERE instrument_id IS NOT NULL;
CREATE INDEX record_use_by_lot ON record_use (site_id, lot_id) WHERE lot_id IS NOT NULL;
CREATE INDEX record_use_by_person ON record_use (site_id, person_id) WHERE person_id IS NOT NULL;
CREATE INDEX record_use_by_station ON record_use (site_id, station_id) WHERE station_id IS NOT NULL;
CREATE INDEX record_use_by_bath ON record_use (site_id, bath_id) WHERE bath_id IS NOT NULL;

-- Per check, so that statistics over a year read one row per part; summaries merge exactly.
CREATE TABLE film_summary (
    site_id     uuid NOT NULL,
    record_id   uuid NOT NULL,
    shop_day    date NOT NULL,
    observed_at timestamptz NOT NULL,
    part_id     uuid NOT NULL,
    n           integer NOT NULL,
    mean_um     double precision NOT NULL,
    m2_um2      double precision NOT NULL,
    min_um      double precision NOT NULL,
    max_um      double precision NOT NULL,
    lowest_spot_um double precision NOT NULL,
    CONSTRAINT film_summary_pkey PRIMARY KEY (site_id, record_id),
    CONSTRAINT film_summary_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT film_summary_counts CHECK (n >= 1 AND m2_um2 >= 0)
);
CREATE INDEX film_summary_by_day ON film_summary (site_id, shop_day, observed_at);

-- A signature names its signer as printed then, what it means, and the exact content signed.
CREATE TABLE signature (
    site_id      uuid NOT NULL,
    signature_id uuid NOT NULL,
    person_id    uuid NOT NULL,
    printed_name text NOT NULL,
    meaning      text NOT NULL,
    statement    text NOT NULL,
    signed_at    timestamptz NOT NULL DEFAULT now(),
    content_hash text NOT NULL,
    auth_used    text NOT NULL,
    CONSTRAINT signature_pkey PRIMARY KEY (site_id, signature_id),
    CONSTRAINT signature_person_fkey FOREIGN KEY (site_id, person_id) REFERENCES person,
    CONSTRAINT signature_meaning_known CHECK (meaning IN ('performed', 'reviewed', 'approved', 'released', 'disposed', 'authorised'))
);

CREATE TABLE hold (
    site_id     uuid NOT NULL REFERENCES site,
    hold_id     uuid NOT NULL,
    number      text NOT NULL,
    cause       text NOT NULL,
    record_id   uuid,
    requirement text NOT NULL,
    opened_by   uuid NOT NULL,
    opened_at   timestamptz NOT NULL DEFAULT now(),
    shop_day    date NOT NULL,
    CONSTRAINT hold_pkey PRIMARY KEY (site_id, hold_id),
    CONSTRAINT hold_number_unique UNIQUE (site_id, number),
    CONSTRAINT hold_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT hold_opener_fkey FOREIGN KEY (site_id, opened_by) REFERENCES person,
    CONSTRAINT hold_cause_present CHECK (btrim(cause) <> '')
);
CREATE INDEX hold_by_record ON hold (site_id, record_id);

CREATE TABLE disposition (
    site_id         uuid NOT NULL,
    disposition_id  uuid NOT NULL,
    hold_id         uuid NOT NULL,
    part_id         uuid NOT NULL,
    code            text NOT NULL,
    reason          text NOT NULL,
    concession_ref  text NOT NULL DEFAULT '',
    concession_ends date,
    signature_id    uuid NOT NULL,
    decided_by      uuid NOT NULL,
    decided_at      timestamptz NOT NULL DEFAULT now(),
    shop_day        date NOT NULL,
    CONSTRAINT disposition_pkey PRIMARY KEY (site_id, disposition_id),
    CONSTRAINT disposition_once UNIQUE (site_id, hold_id, part_id),
    CONSTRAINT disposition_hold_fkey FOREIGN KEY (site_id, hold_id) REFERENCES hold,
    CONSTRAINT disposition_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT disposition_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT disposition_person_fkey FOREIGN KEY (site_id, decided_by) REFERENCES person,
    CONSTRAINT disposition_code_known CHECK (code IN ('rework', 'strip_recoat', 'concession', 'regrade', 'return', 'scrap')),
    CONSTRAINT disposition_reason_given CHECK (length(btrim(reason)) >= 5),
    CONSTRAINT disposition_concession_complete CHECK (code <> 'concession' OR (btrim(concession_ref) <> '' AND concession_ends IS NOT NULL))
);

CREATE TABLE release (
    site_id      uuid NOT NULL,
    release_id   uuid NOT NULL,
    part_id      uuid NOT NULL,
    cycle        integer NOT NULL,
    signature_id uuid NOT NULL,
    released_by  uuid NOT NULL,
    released_at  timestamptz NOT NULL DEFAULT now(),
    shop_day     date NOT NULL,
    shift        text NOT NULL,
    gate         jsonb NOT NULL,
    CONSTRAINT release_pkey PRIMARY KEY (site_id, release_id),
    CONSTRAINT release_part_once UNIQUE (site_id, part_id),
    CONSTRAINT release_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT release_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT release_person_fkey FOREIGN KEY (site_id, released_by) REFERENCES person
);
CREATE INDEX release_by_day ON release (site_id, shop_day);

-- An authorised exception: who allowed which rule to be passed over, for which record, and why. It shows on the part.
CREATE TABLE override (
    site_id      uuid NOT NULL,
    override_id  uuid NOT NULL,
    record_id    uuid NOT NULL,
    rule         text NOT NULL,
    sentence     text NOT NULL,
    reason       text NOT NULL,
    signature_id uuid NOT NULL,
    CONSTRAINT override_pkey PRIMARY KEY (site_id, override_id),
    CONSTRAINT override_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT override_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT override_reason_given CHECK (length(btrim(reason)) >= 5)
);
CREATE INDEX override_by_record ON override (site_id, record_id);

-- Every change, in the same transaction as the change.
CREATE TABLE event (
    site_id      uuid NOT NULL REFERENCES site,
    event_id     uuid NOT NULL,
    at           timestamptz NOT NULL DEFAULT now(),
    person_id    uuid,
    device_id    uuid,
    verb         text NOT NULL,
    subject_kind text NOT NULL,
    subject_id   uuid,
    record_id    uuid,
    before       jsonb,
    after        jsonb,
    reason       text NOT NULL DEFAULT '',
    CONSTRAINT event_pkey PRIMARY KEY (site_id, event_id),
    CONSTRAINT event_verb_present CHECK (btrim(verb) <> '')
);
CREATE INDEX event_by_subject ON event (site_id, subject_id, at);
CREATE INDEX event_by_time ON event (site_id, at);
