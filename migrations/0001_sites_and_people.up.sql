-- A site is one plant. Its id leads every key below, so that the same schema runs on one PostgreSQL or sharded by site.
CREATE TABLE site (
    site_id            uuid PRIMARY KEY,
    code               text NOT NULL,
    name               text NOT NULL,
    time_zone          text NOT NULL,
    -- Shifts in order of their start; the first one opens the shop day.
    shift_names        text[] NOT NULL,
    shift_starts       time[] NOT NULL,
    film_unit          text NOT NULL DEFAULT 'um',
    temperature_unit   text NOT NULL DEFAULT 'degC',
    late_after_minutes integer NOT NULL DEFAULT 60,
    clock_limit_seconds integer NOT NULL DEFAULT 300,
    idle_minutes       integer NOT NULL DEFAULT 10,
    -- A grace use of an overdue gauge and the like needs a supervisor; the site may forbid it altogether.
    overrides_allowed  boolean NOT NULL DEFAULT true,
    CONSTRAINT site_code_unique UNIQUE (code),
    CONSTRAINT site_code_form CHECK (code ~ '^[A-Z0-9]{2,8}$'),
    CONSTRAINT site_name_present CHECK (btrim(name) <> ''),
    CONSTRAINT site_shifts_paired CHECK (cardinality(shift_names) = cardinality(shift_starts) AND cardinality(shift_names) BETWEEN 1 AND 6),
    CONSTRAINT site_film_unit_known CHECK (film_unit IN ('um', 'mil')),
    CONSTRAINT site_temperature_unit_known CHECK (temperature_unit IN ('degC', 'degF')),
    CONSTRAINT site_late_after_range CHECK (late_after_minutes BETWEEN 1 AND 10080),
    CONSTRAINT site_clock_limit_range CHECK (clock_limit_seconds BETWEEN 5 AND 3600),
    CONSTRAINT site_idle_range CHECK (idle_minutes BETWEEN 1 AND 480)
);

-- People are personal and for ever: a leaver is deactivated, never renamed away or reused.
CREATE TABLE person (
    site_id       uuid NOT NULL REFERENCES site,
    person_id     uuid NOT NULL,
    name          text NOT NULL,
    sign_on_name  text NOT NULL,
    roles         text[] NOT NULL,
    badge_hash    text,
    pin_hash      text,
    password_hash text,
    totp_secret   text,
    -- The time step of the last code used, so that no code works twice.
    totp_last_step bigint NOT NULL DEFAULT 0,
    language      text NOT NULL DEFAULT 'en',
    film_unit     text,
    active        boolean NOT NULL DEFAULT true,
    created_at    timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT person_pkey PRIMARY KEY (site_id, person_id),
    CONSTRAINT person_sign_on_name_unique UNIQUE (site_id, sign_on_name),
    CONSTRAINT person_badge_unique UNIQUE (site_id, badge_hash),
    CONSTRAINT person_name_present CHECK (btrim(name) <> '' AND length(name) <= 80),
    CONSTRAINT person_sign_on_name_form CHECK (sign_on_name ~ '^[a-z0-9][a-z0-9._-]{1,39}$'),
    CONSTRAINT person_language_known CHECK (language IN ('en', 'es')),
    CONSTRAINT person_film_unit_known CHECK (film_unit IN ('um', 'mil')),
    CONSTRAINT person_roles_known CHECK (cardinality(roles) >= 1 AND roles <@ ARRAY['inspector','operator','supervisor','engineer','administrator','auditor'])
);

-- What a person may check, and from when to when. Ending one early is a new end date with an event, never a deletion.
CREATE TABLE qualification (
    site_id          uuid NOT NULL,
    qualification_id uuid NOT NULL,
    person_id        uuid NOT NULL,
    record_kind      text NOT NULL,
    certificate      text NOT NULL DEFAULT '',
    valid_from       date NOT NULL,
    valid_to         date NOT NULL,
    CONSTRAINT qualification_pkey PRIMARY KEY (site_id, qualification_id),
    CONSTRAINT qualification_person_fkey FOREIGN KEY (site_id, person_id) REFERENCES person,
    CONSTRAINT qualification_dates_ordered CHECK (valid_to >= valid_from)
);
CREATE INDEX qualification_by_person ON qualification (site_id, person_id, record_kind);

-- A single-use secret that lets its holder set a password and PIN, or enrol a tablet. Only its hash is stored.
CREATE TABLE invitation (
    site_id      uuid NOT NULL,
    secret_hash  text NOT NULL,
    purpose      text NOT NULL,
    person_id    uuid,
    device_id    uuid,
    expires_at   timestamptz NOT NULL,
    used_at      timestamptz,
    CONSTRAINT invitation_pkey PRIMARY KEY (site_id, secret_hash),
    CONSTRAINT invitation_person_fkey FOREIGN KEY (site_id, person_id) REFERENCES person,
    CONSTRAINT invitation_purpose_known CHECK ((purpose = 'person' AND person_id IS NOT NULL) OR (purpose = 'device' AND device_id IS NOT NULL))
);

-- Failed sign-ons per account and way in, so that a nuisance cannot lock the whole shift out.
CREATE TABLE sign_on_guard (
    site_id      uuid NOT NULL,
    person_id    uuid NOT NULL,
    way          text NOT NULL,
    failures     integer NOT NULL DEFAULT 0,
    locked_until timestamptz,
    CONSTRAINT sign_on_guard_pkey PRIMARY KEY (site_id, person_id, way),
    CONSTRAINT sign_on_guard_person_fkey FOREIGN KEY (site_id, person_id) REFERENCES person,
    CONSTRAINT sign_on_guard_way_known CHECK (way IN ('pin', 'password'))
);

-- Browser sessions. They hold no shop data; the session library fixes the columns.
CREATE TABLE sessions (
    token  text PRIMARY KEY,
    data   bytea NOT NULL,
    expiry timestamptz NOT NULL
);
CREATE INDEX sessions_by_expiry ON sessions (expiry);
