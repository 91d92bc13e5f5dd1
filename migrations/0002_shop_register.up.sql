-- What exists in the shop. Identity columns never change; attributes change with an event; nothing is deleted.

CREATE TABLE station (
    site_id        uuid NOT NULL REFERENCES site,
    station_id     uuid NOT NULL,
    code           text NOT NULL,
    name           text NOT NULL,
    kind           text NOT NULL,
    active         boolean NOT NULL DEFAULT true,
    CONSTRAINT station_pkey PRIMARY KEY (site_id, station_id),
    CONSTRAINT station_code_unique UNIQUE (site_id, code),
    CONSTRAINT station_code_form CHECK (code ~ '^[A-Z0-9][A-Z0-9-]{0,19}$'),
    CONSTRAINT station_name_present CHECK (btrim(name) <> ''),
    CONSTRAINT station_kind_known CHECK (kind IN ('weld', 'wash', 'booth', 'oven', 'final', 'desk'))
);

-- A tablet or desk browser that an administrator has enrolled. Its credential is stored hashed and can be revoked.
CREATE TABLE device (
    site_id        uuid NOT NULL REFERENCES site,
    device_id      uuid NOT NULL,
    name           text NOT NULL,
    station_id     uuid,
    -- Where it is used. A tablet is not a rated device: it stays outside the classified spray area.
    location_class text NOT NULL,
    css_px_per_inch integer NOT NULL DEFAULT 132,
    credential_hash text,
    enrolled_by    uuid NOT NULL,
    enrolled_at    timestamptz,
    revoked_at     timestamptz,
    CONSTRAINT device_pkey PRIMARY KEY (site_id, device_id),
    CONSTRAINT device_name_unique UNIQUE (site_id, name),
    CONSTRAINT device_credential_unique UNIQUE (site_id, credential_hash),
    CONSTRAINT device_station_fkey FOREIGN KEY (site_id, station_id) REFERENCES station,
    CONSTRAINT device_enroller_fkey FOREIGN KEY (site_id, enrolled_by) REFERENCES person,
    CONSTRAINT device_name_present CHECK (btrim(name) <> ''),
    CONSTRAINT device_location_outside CHECK (location_class IN ('unclassified', 'rated')),
    CONSTRAINT device_scale_range CHECK (css_px_per_inch BETWEEN 90 AND 220)
);

CREATE TABLE finish_spec (
    site_id uuid NOT NULL REFERENCES site,
    spec_id uuid NOT NULL,
    code    text NOT NULL,
    title   text NOT NULL,
    CONSTRAINT finish_spec_pkey PRIMARY KEY (site_id, spec_id),
    CONSTRAINT finish_spec_code_unique UNIQUE (site_id, code),
    CONSTRAINT finish_spec_code_form CHECK (code ~ '^[A-Z0-9][A-Z0-9.-]{0,29}$'),
    CONSTRAINT finish_spec_title_present CHECK (btrim(title) <> '')
);

-- A draft may change; an approved revision never does. The body is typed (quality.FinishSpec) and hashed on approval.
CREATE TABLE finish_spec_revision (
    site_id       uuid NOT NULL,
    revision_id   uuid NOT NULL,
    spec_id       uuid NOT NULL,
    revision      text NOT NULL,
    state         text NOT NULL DEFAULT 'draft',
    body          jsonb NOT NULL,
    body_hash     text,
    drafted_by    uuid NOT NULL,
    approved_by   uuid,
    effective_at  timestamptz,
    obsolete_at   timestamptz,
    CONSTRAINT finish_spec_revision_pkey PRIMARY KEY (site_id, revision_id),
    CONSTRAINT finish_spec_revision_unique UNIQUE (site_id, spec_id, revision),
    CONSTRAINT finish_spec_revision_spec_fkey FOREIGN KEY (site_id, spec_id) REFERENCES finish_spec,
    CONSTRAINT finish_spec_revision_state_known CHECK (state IN ('draft', 'approved', 'obsolete')),
    CONSTRAINT finish_spec_revision_approval CHECK (state = 'draft' OR (approved_by IS NOT NULL AND effective_at IS NOT NULL AND body_hash IS NOT NULL))
);

CREATE TABLE part_number (
    site_id        uuid NOT NULL REFERENCES site,
    part_number_id uuid NOT NULL,
    code           text NOT NULL,
    name           text NOT NULL,
    spec_id        uuid NOT NULL,
    alloy          text NOT NULL,
    base_form      text NOT NULL,
    wall_mm        double precision NOT NULL,
    welds          integer NOT NULL,
    -- Which of the shop's outline sketches carries the measuring spots.
    sketch         text NOT NULL,
    active         boolean NOT NULL DEFAULT true,
    CONSTRAINT part_number_pkey PRIMARY KEY (site_id, part_number_id),
    CONSTRAINT part_number_code_unique UNIQUE (site_id, code),
    CONSTRAINT part_number_spec_fkey FOREIGN KEY (site_id, spec_id) REFERENCES finish_spec,
    CONSTRAINT part_number_code_form CHECK (code ~ '^[A-Za-z0-9][A-Za-z0-9 ./_-]{0,39}$'),
    CONSTRAINT part_number_name_present CHECK (btrim(name) <> ''),
    CONSTRAINT part_number_wall_range CHECK (wall_mm > 0.5 AND wall_mm <= 50),
    CONSTRAINT part_number_welds_range CHECK (welds BETWEEN 0 AND 60),
    CONSTRAINT part_number_sketch_known CHECK (sketch IN ('frame', 'rail', 'bracket', 'panel', 'post'))
);

-- A measuring plan is never edited: a change is the next revision, so that old checks keep theirs.
CREATE TABLE measuring_plan (
    site_id        uuid NOT NULL,
    plan_id        uuid NOT NULL,
    part_number_id uuid NOT NULL,
    revision       integer NOT NULL,
    readings_per_spot integer NOT NULL,
    made_at        timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT measuring_plan_pkey PRIMARY KEY (site_id, plan_id),
    CONSTRAINT measuring_plan_revision_unique UNIQUE (site_id, part_number_id, revision),
    CONSTRAINT measuring_plan_part_number_fkey FOREIGN KEY (site_id, part_number_id) REFERENCES part_number,
    CONSTRAINT measuring_plan_readings_range CHECK (readings_per_spot BETWEEN 1 AND 9)
);

CREATE TABLE measuring_spot (
    site_id  uuid NOT NULL,
    plan_id  uuid NOT NULL,
    spot     integer NOT NULL,
    area     text NOT NULL,
    place    text NOT NULL,
    sketch_x integer NOT NULL,
    sketch_y integer NOT NULL,
    CONSTRAINT measuring_spot_pkey PRIMARY KEY (site_id, plan_id, spot),
    CONSTRAINT measuring_spot_plan_fkey FOREIGN KEY (site_id, plan_id) REFERENCES measuring_plan,
    CONSTRAINT measuring_spot_number_range CHECK (spot BETWEEN 1 AND 99),
    CONSTRAINT measuring_spot_place_present CHECK (btrim(place) <> ''),
    CONSTRAINT measuring_spot_area_present CHECK (btrim(area) <> '')
);

CREATE TABLE job (
    site_id     uuid NOT NULL REFERENCES site,
    job_id      uuid NOT NULL,
    number      text NOT NULL,
    customer    text NOT NULL,
    order_ref   text NOT NULL DEFAULT '',
    received_at timestamptz NOT NULL,
    due_on      date,
    CONSTRAINT job_pkey PRIMARY KEY (site_id, job_id),
    CONSTRAINT job_number_unique UNIQUE (site_id, number),
    CONSTRAINT job_number_form CHECK (number ~ '^[A-Za-z0-9][A-Za-z0-9-]{0,29}$'),
    CONSTRAINT job_customer_present CHECK (btrim(customer) <> '')
);

-- A part's serial is on its hangtag and is never given out twice, not even after scrapping.
CREATE TABLE part (
    site_id        uuid NOT NULL,
    part_id        uuid NOT NULL,
    serial         text NOT NULL,
    job_id         uuid NOT NULL,
    part_number_id uuid NOT NULL,
    received_at    timestamptz NOT NULL,
    CONSTRAINT part_pkey PRIMARY KEY (site_id, part_id),
    CONSTRAINT part_serial_unique UNIQUE (site_id, serial),
    CONSTRAINT part_job_fkey FOREIGN KEY (site_id, job_id) REFERENCES job,
    CONSTRAINT part_part_number_fkey FOREIGN KEY (site_id, part_number_id) REFERENCES part_number,
    CONSTRAINT part_serial_form CHECK (serial ~ '^[A-Za-z0-9][A-Za-z0-9./_-]{0,39}$')
);
CREATE INDEX part_by_job ON part (site_id, job_id);
CREATE INDEX part_by_part_number ON part (site_id, part_number_id);

-- One hanging of parts. The tag on the steel is used again; the rack's number is not.
CREATE TABLE rack (
    site_id    uuid NOT NULL REFERENCES site,
    rack_id    uuid NOT NULL,
    number     text NOT NULL,
    tag        text NOT NULL,
    hung_by    uuid NOT NULL,
    hung_at    timestamptz NOT NULL,
    unloaded_at timestamptz,
    CONSTRAINT rack_pkey PRIMARY KEY (site_id, rack_id),
    CONSTRAINT rack_number_unique UNIQUE (site_id, number),
    CONSTRAINT rack_hanger_fkey FOREIGN KEY (site_id, hung_by) REFERENCES person,
    CONSTRAINT rack_tag_form CHECK (tag ~ '^[A-Z0-9][A-Z0-9-]{0,19}$'),
    CONSTRAINT rack_times_ordered CHECK (unloaded_at IS NULL OR unloaded_at >= hung_at)
);
CREATE UNIQUE INDEX rack_tag_open_once ON rack (site_id, tag) WHERE unloaded_at IS NULL;

CREATE TABLE oven_load (
    site_id    uuid NOT NULL,
    load_id    uuid NOT NULL,
    number     text NOT NULL,
    oven_id    uuid NOT NULL,
    opened_by  uuid NOT NULL,
    opened_at  timestamptz NOT NULL,
    closed_at  timestamptz,
    CONSTRAINT oven_load_pkey PRIMARY KEY (site_id, load_id),
    CONSTRAINT oven_load_number_unique UNIQUE (site_id, number),
    CONSTRAINT oven_load_oven_fkey FOREIGN KEY (site_id, oven_id) REFERENCES station,
    CONSTRAINT oven_load_opener_fkey FOREIGN KEY (site_id, opened_by) REFERENCES person,
    CONSTRAINT oven_load_times_ordered CHECK (closed_at IS NULL OR closed_at >= opened_at)
);

-- A powder as the maker sells it. Shelf life, storage limit and cure window belong to the product, never to the code.
CREATE TABLE powder (
    site_id       uuid NOT NULL REFERENCES site,
    powder_id     uuid NOT NULL,
    code          text NOT NULL,
    name          text NOT NULL,
    maker         text NOT NULL,
    colour        text NOT NULL,
    storage_max_c double precision NOT NULL,
    source        text NOT NULL DEFAULT '',
    CONSTRAINT powder_pkey PRIMARY KEY (site_id, powder_id),
    CONSTRAINT powder_code_unique UNIQUE (site_id, code),
    CONSTRAINT powder_code_form CHECK (code ~ '^[A-Z0-9][A-Z0-9.-]{0,29}$'),
    CONSTRAINT powder_name_present CHECK (btrim(name) <> ''),
    CONSTRAINT powder_maker_present CHECK (btrim(maker) <> ''),
    CONSTRAINT powder_storage_range CHECK (storage_max_c BETWEEN 0 AND 50)
);

-- Points of the powder's cure window: at this metal temperature, at least and at most this long.
CREATE TABLE powder_cure_point (
    site_id     uuid NOT NULL,
    powder_id   uuid NOT NULL,
    metal_c     double precision NOT NULL,
    minutes_min double precision NOT NULL,
    minutes_max double precision NOT NULL,
    CONSTRAINT powder_cure_point_pkey PRIMARY KEY (site_id, powder_id, metal_c),
    CONSTRAINT powder_cure_point_powder_fkey FOREIGN KEY (site_id, powder_id) REFERENCES powder,
    CONSTRAINT powder_cure_point_temperature_range CHECK (metal_c BETWEEN 50 AND 300),
    CONSTRAINT powder_cure_point_minutes_ordered CHECK (minutes_min > 0 AND minutes_max > minutes_min AND minutes_max <= 240)
);

CREATE TABLE powder_lot (
    site_id     uuid NOT NULL,
    lot_id      uuid NOT NULL,
    powder_id   uuid NOT NULL,
    lot_number  text NOT NULL,
    made_on     date NOT NULL,
    received_on date NOT NULL,
    expires_on  date NOT NULL,
    quantity_kg double precision NOT NULL,
    certificate text NOT NULL DEFAULT '',
    status      text NOT NULL DEFAULT 'accepted',
    CONSTRAINT powder_lot_pkey PRIMARY KEY (site_id, lot_id),
    CONSTRAINT powder_lot_number_unique UNIQUE (site_id, lot_number),
    CONSTRAINT powder_lot_powder_fkey FOREIGN KEY (site_id, powder_id) REFERENCES powder,
    CONSTRAINT powder_lot_number_form CHECK (lot_number ~ '^[A-Za-z0-9][A-Za-z0-9./_-]{0,39}$'),
    CONSTRAINT powder_lot_dates_ordered CHECK (expires_on > made_on AND received_on >= made_on),
    CONSTRAINT powder_lot_quantity_range CHECK (quantity_kg > 0 AND quantity_kg <= 20000),
    CONSTRAINT powder_lot_status_known CHECK (status IN ('accepted', 'held', 'rejected'))
);

-- One vessel of the wash line.
CREATE TABLE bath (
    site_id uuid NOT NULL REFERENCES site,
    bath_id uuid NOT NULL,
    code    text NOT NULL,
    name    text NOT NULL,
    stage   text NOT NULL,
    active  boolean NOT NULL DEFAULT true,
    CONSTRAINT bath_pkey PRIMARY KEY (site_id, bath_id),
    CONSTRAINT bath_code_unique UNIQUE (site_id, code),
    CONSTRAINT bath_code_form CHECK (code ~ '^[A-Z0-9][A-Z0-9-]{0,19}$'),
    CONSTRAINT bath_name_present CHECK (btrim(name) <> ''),
    CONSTRAINT bath_stage_known CHECK (stage IN ('clean', 'rinse', 'etch', 'convert', 'final_rinse', 'dry_off'))
);

-- Measuring devices and certified shims, whoever owns them.
CREATE TABLE instrument (
    site_id        uuid NOT NULL REFERENCES site,
    instrument_id  uuid NOT NULL,
    code           text NOT NULL,
    kind           text NOT NULL,
    maker_serial   text NOT NULL,
    owner          text NOT NULL DEFAULT 'company',
    unit           text NOT NULL DEFAULT 'um',
    range_low      double precision,
    range_high     double precision,
    resolution     double precision,
    -- Permitted error of a gauge: plus or minus this many units and this share of the nominal value, added.
    tolerance_abs  double precision NOT NULL DEFAULT 0,
    tolerance_share double precision NOT NULL DEFAULT 0,
    -- A shim's certified value and tolerance; null for a gauge.
    nominal        double precision,
    interval_days  integer NOT NULL,
    due_on         date NOT NULL,
    certificate    text NOT NULL DEFAULT '',
    status         text NOT NULL DEFAULT 'in_use',
    CONSTRAINT instrument_pkey PRIMARY KEY (site_id, instrument_id),
    CONSTRAINT instrument_code_unique UNIQUE (site_id, code),
    CONSTRAINT instrument_code_form CHECK (code ~ '^[A-Z0-9][A-Z0-9-]{0,19}$'),
    CONSTRAINT instrument_kind_known CHECK (kind IN ('film_gauge', 'shim', 'zero_plate', 'gloss_meter', 'weld_gauge', 'thermometer', 'conductivity_meter', 'ph_meter', 'other')),
    CONSTRAINT instrument_serial_present CHECK (btrim(maker_serial) <> ''),
    CONSTRAINT instrument_owner_known CHECK (owner IN ('company', 'customer', 'employee')),
    CONSTRAINT instrument_interval_range CHECK (interval_days BETWEEN 1 AND 1830),
    CONSTRAINT instrument_tolerance_range CHECK (tolerance_abs >= 0 AND tolerance_share >= 0 AND tolerance_share < 1),
    CONSTRAINT instrument_range_ordered CHECK (range_low IS NULL OR range_high IS NULL OR range_high > range_low),
    CONSTRAINT instrument_nominal_of_shim CHECK (kind <> 'shim' OR nominal > 0),
    CONSTRAINT instrument_status_known CHECK (status IN ('in_use', 'failed', 'withdrawn'))
);
