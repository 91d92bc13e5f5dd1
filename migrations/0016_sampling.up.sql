-- Parts that stand on a sample: the lot with its plan and its draw, what became of it, and how strictly the next one is inspected.

-- The plan is stored as it was when the lot was made; a later revision of the spec does not change it.
CREATE TABLE inspection_lot (
    site_id          uuid NOT NULL REFERENCES site,
    lot_id           uuid NOT NULL,
    number           text NOT NULL,
    spec_id          uuid NOT NULL,
    spec_revision_id uuid NOT NULL,
    kind             text NOT NULL,
    -- What the parts have in common: offered together by a person, one rack, one oven load.
    basis            text NOT NULL,
    job_id           uuid,
    rack_id          uuid,
    load_id          uuid,
    -- False when a part of it was in a lot that was rejected before: such a lot does not count for switching.
    first_offered    boolean NOT NULL,
    plan             text NOT NULL,
    standard         text NOT NULL,
    level            text NOT NULL DEFAULT '',
    aql              double precision,
    severity         text NOT NULL DEFAULT '',
    code_letter      text NOT NULL DEFAULT '',
    plan_letter      text NOT NULL DEFAULT '',
    lot_size         integer NOT NULL,
    sample_size      integer NOT NULL,
    accept           integer NOT NULL,
    reject           integer NOT NULL,
    -- What the sample was drawn with: the same seed gives the same draw.
    seed             bytea NOT NULL,
    made_by          uuid NOT NULL,
    made_at          timestamptz NOT NULL,
    shop_day         date NOT NULL,
    CONSTRAINT inspection_lot_pkey PRIMARY KEY (site_id, lot_id),
    CONSTRAINT inspection_lot_number_unique UNIQUE (site_id, number),
    CONSTRAINT inspection_lot_spec_fkey FOREIGN KEY (site_id, spec_id) REFERENCES finish_spec,
    CONSTRAINT inspection_lot_revision_fkey FOREIGN KEY (site_id, spec_revision_id) REFERENCES finish_spec_revision,
    CONSTRAINT inspection_lot_job_fkey FOREIGN KEY (site_id, job_id) REFERENCES job,
    CONSTRAINT inspection_lot_rack_fkey FOREIGN KEY (site_id, rack_id) REFERENCES rack,
    CONSTRAINT inspection_lot_load_fkey FOREIGN KEY (site_id, load_id) REFERENCES oven_load,
    CONSTRAINT inspection_lot_person_fkey FOREIGN KEY (site_id, made_by) REFERENCES person,
    CONSTRAINT inspection_lot_kind_known CHECK (kind IN ('weld', 'cure_test', 'finish', 'film')),
    CONSTRAINT inspection_lot_basis_known CHECK (basis IN ('lot', 'rack', 'load')),
    CONSTRAINT inspection_lot_source_named CHECK ((basis = 'lot' AND num_nonnulls(job_id, load_id) = 1 AND rack_id IS NULL)
        OR (basis = 'rack' AND rack_id IS NOT NULL AND num_nonnulls(job_id, load_id) = 0) OR (basis = 'load' AND load_id IS NOT NULL AND num_nonnulls(job_id, rack_id) = 0)),
    CONSTRAINT inspection_lot_plan_known CHECK (plan IN ('aql', 'coating', 'zero', 'number')),
    CONSTRAINT inspection_lot_severity_known CHECK (severity IN ('', 'normal', 'tightened', 'reduced')),
    CONSTRAINT inspection_lot_sizes CHECK (sample_size BETWEEN 1 AND lot_size),
    CONSTRAINT inspection_lot_numbers_ordered CHECK (accept >= 0 AND reject > accept),
    CONSTRAINT inspection_lot_seed_length CHECK (octet_length(seed) = 32)
);
CREATE INDEX inspection_lot_by_spec ON inspection_lot (site_id, spec_id, kind, made_at);

-- A part is in one lot for each kind of check, cycle and round; its position is its place in the list that was drawn from.
CREATE TABLE inspection_lot_part (
    site_id  uuid NOT NULL,
    lot_id   uuid NOT NULL,
    part_id  uuid NOT NULL,
    kind     text NOT NULL,
    cycle    integer NOT NULL,
    round    integer NOT NULL,
    position integer NOT NULL,
    CONSTRAINT inspection_lot_part_pkey PRIMARY KEY (site_id, lot_id, part_id),
    CONSTRAINT inspection_lot_part_position_once UNIQUE (site_id, lot_id, position),
    CONSTRAINT inspection_lot_part_once UNIQUE (site_id, part_id, kind, cycle, round),
    CONSTRAINT inspection_lot_part_lot_fkey FOREIGN KEY (site_id, lot_id) REFERENCES inspection_lot,
    CONSTRAINT inspection_lot_part_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part
);

-- The sample: version 1 was drawn, a later one took its place. A part that was in the sample once does not come back.
CREATE TABLE inspection_sample (
    site_id   uuid NOT NULL,
    sample_id uuid NOT NULL,
    lot_id    uuid NOT NULL,
    seq       integer NOT NULL,
    version   integer NOT NULL,
    part_id   uuid NOT NULL,
    reason    text NOT NULL DEFAULT '',
    drawn_by  uuid NOT NULL,
    drawn_at  timestamptz NOT NULL,
    CONSTRAINT inspection_sample_pkey PRIMARY KEY (site_id, sample_id),
    CONSTRAINT inspection_sample_version_once UNIQUE (site_id, lot_id, seq, version),
    CONSTRAINT inspection_sample_part_once UNIQUE (site_id, lot_id, part_id),
    CONSTRAINT inspection_sample_lot_part_fkey FOREIGN KEY (site_id, lot_id, part_id) REFERENCES inspection_lot_part,
    CONSTRAINT inspection_sample_person_fkey FOREIGN KEY (site_id, drawn_by) REFERENCES person,
    CONSTRAINT inspection_sample_numbers CHECK (seq >= 1 AND version >= 1),
    CONSTRAINT inspection_sample_reason_given CHECK (version = 1 OR length(btrim(reason)) >= 5)
);

-- Each verdict on a lot. A correction of a sample's record may bring another one.
CREATE TABLE inspection_verdict (
    site_id    uuid NOT NULL,
    verdict_id uuid NOT NULL,
    lot_id     uuid NOT NULL,
    version    integer NOT NULL,
    verdict    text NOT NULL,
    checked    integer NOT NULL,
    failed     integer NOT NULL,
    record_id  uuid NOT NULL,
    decided_by uuid NOT NULL,
    decided_at timestamptz NOT NULL,
    CONSTRAINT inspection_verdict_pkey PRIMARY KEY (site_id, verdict_id),
    CONSTRAINT inspection_verdict_version_once UNIQUE (site_id, lot_id, version),
    CONSTRAINT inspection_verdict_lot_fkey FOREIGN KEY (site_id, lot_id) REFERENCES inspection_lot,
    CONSTRAINT inspection_verdict_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT inspection_verdict_person_fkey FOREIGN KEY (site_id, decided_by) REFERENCES person,
    CONSTRAINT inspection_verdict_known CHECK (verdict IN ('open', 'accepted', 'between', 'rejected')),
    CONSTRAINT inspection_verdict_counts CHECK (failed BETWEEN 0 AND checked)
);

-- The hold that keeps what a rejected lot stood for.
CREATE TABLE inspection_hold (
    site_id uuid NOT NULL,
    hold_id uuid NOT NULL,
    lot_id  uuid NOT NULL,
    CONSTRAINT inspection_hold_pkey PRIMARY KEY (site_id, hold_id),
    CONSTRAINT inspection_hold_hold_fkey FOREIGN KEY (site_id, hold_id) REFERENCES hold,
    CONSTRAINT inspection_hold_lot_fkey FOREIGN KEY (site_id, lot_id) REFERENCES inspection_lot
);
CREATE INDEX inspection_hold_by_lot ON inspection_hold (site_id, lot_id);

-- Each change between normal, tightened and reduced inspection, of a spec and kind of check, with the lots behind it.
CREATE TABLE inspection_switch (
    site_id       uuid NOT NULL,
    switch_id     uuid NOT NULL,
    spec_id       uuid NOT NULL,
    kind          text NOT NULL,
    version       integer NOT NULL,
    from_severity text NOT NULL,
    to_severity   text NOT NULL,
    reason        text NOT NULL,
    -- Set when an engineer let inspection begin again after it had stopped.
    signature_id  uuid,
    switched_by   uuid NOT NULL,
    switched_at   timestamptz NOT NULL,
    CONSTRAINT inspection_switch_pkey PRIMARY KEY (site_id, switch_id),
    CONSTRAINT inspection_switch_version_once UNIQUE (site_id, spec_id, kind, version),
    CONSTRAINT inspection_switch_spec_fkey FOREIGN KEY (site_id, spec_id) REFERENCES finish_spec,
    CONSTRAINT inspection_switch_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT inspection_switch_person_fkey FOREIGN KEY (site_id, switched_by) REFERENCES person,
    CONSTRAINT inspection_switch_severity_known CHECK (from_severity IN ('normal', 'tightened', 'reduced', 'discontinued')
        AND to_severity IN ('normal', 'tightened', 'reduced', 'discontinued') AND from_severity <> to_severity),
    CONSTRAINT inspection_switch_reason_given CHECK (length(btrim(reason)) >= 5)
);

CREATE TABLE inspection_switch_lot (
    site_id   uuid NOT NULL,
    switch_id uuid NOT NULL,
    lot_id    uuid NOT NULL,
    CONSTRAINT inspection_switch_lot_pkey PRIMARY KEY (site_id, switch_id, lot_id),
    CONSTRAINT inspection_switch_lot_switch_fkey FOREIGN KEY (site_id, switch_id) REFERENCES inspection_switch,
    CONSTRAINT inspection_switch_lot_lot_fkey FOREIGN KEY (site_id, lot_id) REFERENCES inspection_lot
);

-- Where a lot stands now: a projection of the records of its sample.
CREATE TABLE inspection_lot_status (
    site_id uuid NOT NULL,
    lot_id  uuid NOT NULL,
    state   text NOT NULL DEFAULT 'open',
    checked integer NOT NULL DEFAULT 0,
    failed  integer NOT NULL DEFAULT 0,
    CONSTRAINT inspection_lot_status_pkey PRIMARY KEY (site_id, lot_id),
    CONSTRAINT inspection_lot_status_lot_fkey FOREIGN KEY (site_id, lot_id) REFERENCES inspection_lot,
    CONSTRAINT inspection_lot_status_known CHECK (state IN ('open', 'accepted', 'between', 'rejected'))
);

-- How the next lot of a spec and kind is inspected: a projection of the verdicts.
CREATE TABLE inspection_severity (
    site_id  uuid NOT NULL,
    spec_id  uuid NOT NULL,
    kind     text NOT NULL,
    severity text NOT NULL DEFAULT 'normal',
    CONSTRAINT inspection_severity_pkey PRIMARY KEY (site_id, spec_id, kind),
    CONSTRAINT inspection_severity_spec_fkey FOREIGN KEY (site_id, spec_id) REFERENCES finish_spec,
    CONSTRAINT inspection_severity_known CHECK (severity IN ('normal', 'tightened', 'reduced', 'discontinued'))
);

GRANT SELECT, INSERT ON inspection_lot, inspection_lot_part, inspection_sample, inspection_verdict, inspection_hold, inspection_switch, inspection_switch_lot,
    inspection_lot_status, inspection_severity TO coatbook_app;
GRANT UPDATE ON inspection_lot_status, inspection_severity TO coatbook_app;
GRANT SELECT ON inspection_lot, inspection_lot_part, inspection_sample, inspection_verdict, inspection_hold, inspection_switch, inspection_switch_lot,
    inspection_lot_status, inspection_severity TO coatbook_read;
