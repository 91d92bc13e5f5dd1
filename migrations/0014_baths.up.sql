-- How each bath of the wash line is watched: its volume, what is read in it and how often, and when it is made up anew.
ALTER TABLE bath
    ADD COLUMN volume_l double precision,
    -- After how many days it is dumped and made up anew; 0 does not ask.
    ADD COLUMN dump_days integer NOT NULL DEFAULT 0,
    ADD CONSTRAINT bath_volume_l_range CHECK (volume_l IS NULL OR (volume_l > 0 AND volume_l <= 1000000)),
    ADD CONSTRAINT bath_dump_days_range CHECK (dump_days BETWEEN 0 AND 1000);

-- One thing that is watched in a bath, from set_at on until a later row of the same characteristic: a reading is judged by
-- the limits of its time. Columns of a method that the row does not use are null.
CREATE TABLE bath_control (
    site_id    uuid NOT NULL,
    control_id uuid NOT NULL,
    bath_id    uuid NOT NULL,
    characteristic text NOT NULL,
    method     text NOT NULL,
    unit       text NOT NULL,
    nominal    double precision,
    minimum    double precision,
    maximum    double precision,
    -- Titration: percent for each mL, or normality of the titrant, equivalent weight and sample.
    factor     double precision,
    normality  double precision,
    equivalent_weight double precision,
    sample_ml  double precision,
    -- Conductivity: the temperature it is given at, and its share for each K.
    reference_c double precision,
    per_degree double precision,
    rhythm     text NOT NULL,
    every_hours double precision,
    source     text NOT NULL,
    active     boolean NOT NULL,
    set_by     uuid NOT NULL,
    set_at     timestamptz NOT NULL,
    CONSTRAINT bath_control_pkey PRIMARY KEY (site_id, control_id),
    CONSTRAINT bath_control_bath_fkey FOREIGN KEY (site_id, bath_id) REFERENCES bath,
    CONSTRAINT bath_control_person_fkey FOREIGN KEY (site_id, set_by) REFERENCES person,
    CONSTRAINT bath_control_method_known CHECK (method IN ('direct', 'titration', 'titration_gl', 'two_end_points', 'corrected', 'weighing')),
    CONSTRAINT bath_control_limits_ordered CHECK (num_nonnulls(minimum, maximum) > 0 AND (minimum IS NULL OR maximum IS NULL OR minimum <= maximum)),
    CONSTRAINT bath_control_rhythm_known CHECK (rhythm IN ('hours', 'shift', 'day', 'week')),
    CONSTRAINT bath_control_every_hours_range CHECK ((rhythm = 'hours') = (every_hours IS NOT NULL) AND (every_hours IS NULL OR (every_hours > 0 AND every_hours <= 1000))),
    CONSTRAINT bath_control_source_present CHECK (btrim(source) <> '')
);

CREATE INDEX bath_control_by_bath ON bath_control (site_id, bath_id, characteristic, set_at);

GRANT SELECT, INSERT ON bath_control TO coatbook_app;
GRANT SELECT ON bath_control TO coatbook_read;
