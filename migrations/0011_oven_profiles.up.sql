-- What a data logger recorded on its way through the oven: the file as it came, the profile that was read from it, and how
-- often each oven has to be measured.
ALTER TABLE instrument
    DROP CONSTRAINT instrument_kind_known,
    ADD CONSTRAINT instrument_kind_known CHECK (kind IN ('film_gauge', 'shim', 'zero_plate', 'gloss_meter', 'weld_gauge', 'thermometer', 'logger',
        'conductivity_meter', 'ph_meter', 'other'));

-- A file as it was received. Its bytes stand in logger_file_part, in order, and give its hash.
CREATE TABLE logger_file (
    site_id     uuid NOT NULL REFERENCES site,
    file_id     uuid NOT NULL,
    sha256      bytea NOT NULL,
    size_bytes  bigint NOT NULL,
    -- What the file was called where it came from, for people; nothing is stored or served under it.
    name        text NOT NULL,
    logger_id   uuid,
    received_by uuid NOT NULL,
    received_at timestamptz NOT NULL,
    CONSTRAINT logger_file_pkey PRIMARY KEY (site_id, file_id),
    CONSTRAINT logger_file_once UNIQUE (site_id, sha256),
    CONSTRAINT logger_file_logger_fkey FOREIGN KEY (site_id, logger_id) REFERENCES instrument,
    CONSTRAINT logger_file_person_fkey FOREIGN KEY (site_id, received_by) REFERENCES person,
    CONSTRAINT logger_file_hash_length CHECK (octet_length(sha256) = 32),
    CONSTRAINT logger_file_size_range CHECK (size_bytes BETWEEN 1 AND 20971520),
    CONSTRAINT logger_file_name_length CHECK (length(name) BETWEEN 1 AND 120)
);
CREATE INDEX logger_file_by_time ON logger_file (site_id, received_at, file_id);

CREATE TABLE logger_file_part (
    site_id uuid NOT NULL,
    file_id uuid NOT NULL,
    part    integer NOT NULL,
    bytes   bytea NOT NULL,
    CONSTRAINT logger_file_part_pkey PRIMARY KEY (site_id, file_id, part),
    CONSTRAINT logger_file_part_file_fkey FOREIGN KEY (site_id, file_id) REFERENCES logger_file,
    CONSTRAINT logger_file_part_size CHECK (octet_length(bytes) BETWEEN 1 AND 1048576)
);

-- The powder's window that a cure run was judged by, typed or from a file: the powder's own points may change later.
CREATE TABLE cure_window (
    site_id     uuid NOT NULL,
    record_id   uuid NOT NULL,
    metal_c     double precision NOT NULL,
    minutes_min double precision NOT NULL,
    minutes_max double precision NOT NULL,
    CONSTRAINT cure_window_pkey PRIMARY KEY (site_id, record_id, metal_c),
    CONSTRAINT cure_window_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record
);

-- Which stretch of which file a cure run is, read in which layout (a list of columns and marks, no measurements).
CREATE TABLE cure_profile (
    site_id    uuid NOT NULL,
    record_id  uuid NOT NULL,
    file_id    uuid NOT NULL,
    from_s     double precision NOT NULL,
    to_s       double precision NOT NULL,
    layout     jsonb NOT NULL,
    -- The clock of the logger at the first sample of the file, where it has one.
    started_at timestamptz,
    above_c    double precision NOT NULL,
    samples    integer NOT NULL,
    -- Seconds of the samples from the start of the stretch.
    seconds    real[] NOT NULL,
    CONSTRAINT cure_profile_pkey PRIMARY KEY (site_id, record_id),
    CONSTRAINT cure_profile_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT cure_profile_file_fkey FOREIGN KEY (site_id, file_id) REFERENCES logger_file,
    CONSTRAINT cure_profile_stretch CHECK (from_s >= 0 AND to_s > from_s),
    CONSTRAINT cure_profile_samples_whole CHECK (samples >= 2 AND cardinality(seconds) = samples)
);
CREATE INDEX cure_profile_by_file ON cure_profile (site_id, file_id);

-- One thermocouple of a profile. A sample in which it was open is NaN.
CREATE TABLE cure_channel (
    site_id   uuid NOT NULL,
    record_id uuid NOT NULL,
    channel   integer NOT NULL,
    role      text NOT NULL,
    place     text NOT NULL,
    column_number integer NOT NULL,
    celsius   real[] NOT NULL,
    CONSTRAINT cure_channel_pkey PRIMARY KEY (site_id, record_id, channel),
    CONSTRAINT cure_channel_profile_fkey FOREIGN KEY (site_id, record_id) REFERENCES cure_profile,
    CONSTRAINT cure_channel_role_known CHECK (role IN ('metal', 'air')),
    CONSTRAINT cure_channel_place_present CHECK (btrim(place) <> '')
);

-- How often an oven is measured, as the quality label or the customer asks. 0 does not ask.
CREATE TABLE oven_rhythm (
    site_id           uuid NOT NULL,
    oven_id           uuid NOT NULL,
    profiles_per_week integer NOT NULL DEFAULT 0,
    air_each_shift    boolean NOT NULL DEFAULT false,
    survey_days       integer NOT NULL DEFAULT 0,
    max_spread_c      double precision NOT NULL DEFAULT 10,
    CONSTRAINT oven_rhythm_pkey PRIMARY KEY (site_id, oven_id),
    CONSTRAINT oven_rhythm_oven_fkey FOREIGN KEY (site_id, oven_id) REFERENCES station,
    CONSTRAINT oven_rhythm_profiles_range CHECK (profiles_per_week BETWEEN 0 AND 50),
    CONSTRAINT oven_rhythm_survey_range CHECK (survey_days BETWEEN 0 AND 400),
    CONSTRAINT oven_rhythm_spread_range CHECK (max_spread_c > 0 AND max_spread_c <= 50)
);

GRANT SELECT, INSERT ON logger_file, logger_file_part, cure_window, cure_profile, cure_channel, oven_rhythm TO coatbook_app;
GRANT UPDATE ON oven_rhythm TO coatbook_app;
GRANT SELECT ON logger_file, logger_file_part, cure_window, cure_profile, cure_channel, oven_rhythm TO coatbook_read;
