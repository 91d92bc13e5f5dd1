-- Where things stand now: projections, written in the same transaction as the record that moved them.

CREATE TABLE part_status (
    site_id    uuid NOT NULL,
    part_id    uuid NOT NULL,
    cycle      integer NOT NULL DEFAULT 1,
    round      integer NOT NULL DEFAULT 1,
    status     text NOT NULL DEFAULT 'open',
    -- The next record the gate asks for, empty when it asks for nothing.
    next_kind  text NOT NULL DEFAULT 'weld',
    -- A record on a rack or load counts for this round when it was made after the round began.
    round_started_at timestamptz NOT NULL,
    rack_id    uuid,
    concession boolean NOT NULL DEFAULT false,
    changed_at timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT part_status_pkey PRIMARY KEY (site_id, part_id),
    CONSTRAINT part_status_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT part_status_rack_fkey FOREIGN KEY (site_id, rack_id) REFERENCES rack,
    CONSTRAINT part_status_known CHECK (status IN ('open', 'in_progress', 'on_hold', 'accepted', 'under_concession', 'released', 'scrapped', 'returned', 'regraded'))
);
CREATE INDEX part_status_by_status ON part_status (site_id, status, next_kind);

CREATE TABLE rack_part (
    site_id  uuid NOT NULL,
    rack_id  uuid NOT NULL,
    part_id  uuid NOT NULL,
    cycle    integer NOT NULL,
    position integer NOT NULL,
    CONSTRAINT rack_part_pkey PRIMARY KEY (site_id, rack_id, part_id),
    CONSTRAINT rack_part_cycle_once UNIQUE (site_id, part_id, cycle),
    CONSTRAINT rack_part_rack_fkey FOREIGN KEY (site_id, rack_id) REFERENCES rack,
    CONSTRAINT rack_part_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part
);

CREATE TABLE load_rack (
    site_id uuid NOT NULL,
    load_id uuid NOT NULL,
    rack_id uuid NOT NULL,
    CONSTRAINT load_rack_pkey PRIMARY KEY (site_id, load_id, rack_id),
    CONSTRAINT load_rack_once UNIQUE (site_id, rack_id),
    CONSTRAINT load_rack_load_fkey FOREIGN KEY (site_id, load_id) REFERENCES oven_load,
    CONSTRAINT load_rack_rack_fkey FOREIGN KEY (site_id, rack_id) REFERENCES rack
);

CREATE TABLE hold_part (
    site_id  uuid NOT NULL,
    hold_id  uuid NOT NULL,
    part_id  uuid NOT NULL,
    cycle    integer NOT NULL,
    open     boolean NOT NULL DEFAULT true,
    CONSTRAINT hold_part_pkey PRIMARY KEY (site_id, hold_id, part_id),
    CONSTRAINT hold_part_hold_fkey FOREIGN KEY (site_id, hold_id) REFERENCES hold,
    CONSTRAINT hold_part_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part
);
CREATE INDEX hold_part_open ON hold_part (site_id, part_id) WHERE open;

CREATE TABLE instrument_status (
    site_id             uuid NOT NULL,
    instrument_id       uuid NOT NULL,
    verification_id     uuid,
    verdict             text NOT NULL DEFAULT '',
    verified_at         timestamptz,
    shop_day            date,
    shift               text NOT NULL DEFAULT '',
    last_good_at        timestamptz,
    CONSTRAINT instrument_status_pkey PRIMARY KEY (site_id, instrument_id),
    CONSTRAINT instrument_status_instrument_fkey FOREIGN KEY (site_id, instrument_id) REFERENCES instrument,
    CONSTRAINT instrument_status_record_fkey FOREIGN KEY (site_id, verification_id) REFERENCES record
);

-- Numbers people read (H-2026-0412), given by the server and never reused.
CREATE TABLE counter (
    site_id uuid NOT NULL REFERENCES site,
    name    text NOT NULL,
    value   bigint NOT NULL,
    CONSTRAINT counter_pkey PRIMARY KEY (site_id, name)
);

-- Limits copied from a bought standard: rows with their source and edition, edited by the shop, never constants in code.
CREATE TABLE weld_limit (
    site_id    uuid NOT NULL REFERENCES site,
    level      text NOT NULL,
    code       text NOT NULL,
    permitted  boolean NOT NULL,
    per_wall   double precision NOT NULL DEFAULT 0,
    plus_mm    double precision NOT NULL DEFAULT 0,
    max_mm     double precision,
    source     text NOT NULL,
    CONSTRAINT weld_limit_pkey PRIMARY KEY (site_id, level, code),
    CONSTRAINT weld_limit_level_known CHECK (level IN ('B', 'C', 'D')),
    CONSTRAINT weld_limit_source_present CHECK (btrim(source) <> ''),
    CONSTRAINT weld_limit_sizes CHECK (per_wall >= 0 AND plus_mm >= 0 AND (max_mm IS NULL OR max_mm > 0))
);
