-- Records about baths, ovens and witness panels, beside those about parts, racks, loads and instruments.

-- A panel goes through wash, booth and oven with the parts of a rack or load; destructive tests are made on it.
CREATE TABLE panel (
    site_id   uuid NOT NULL,
    panel_id  uuid NOT NULL,
    code      text NOT NULL,
    rack_id   uuid,
    load_id   uuid,
    alloy     text NOT NULL,
    pretreated_with text NOT NULL,
    position  text NOT NULL,
    added_by  uuid NOT NULL,
    added_at  timestamptz NOT NULL,
    CONSTRAINT panel_pkey PRIMARY KEY (site_id, panel_id),
    CONSTRAINT panel_code_unique UNIQUE (site_id, code),
    CONSTRAINT panel_rack_fkey FOREIGN KEY (site_id, rack_id) REFERENCES rack,
    CONSTRAINT panel_load_fkey FOREIGN KEY (site_id, load_id) REFERENCES oven_load,
    CONSTRAINT panel_person_fkey FOREIGN KEY (site_id, added_by) REFERENCES person,
    CONSTRAINT panel_code_form CHECK (code ~ '^[A-Za-z0-9][A-Za-z0-9./_-]{0,39}$'),
    CONSTRAINT panel_tied CHECK (num_nonnulls(rack_id, load_id) = 1),
    CONSTRAINT panel_alloy_present CHECK (btrim(alloy) <> ''),
    CONSTRAINT panel_pretreatment_present CHECK (btrim(pretreated_with) <> ''),
    CONSTRAINT panel_position_present CHECK (btrim(position) <> '')
);
CREATE INDEX panel_by_rack ON panel (site_id, rack_id) WHERE rack_id IS NOT NULL;
CREATE INDEX panel_by_load ON panel (site_id, load_id) WHERE load_id IS NOT NULL;

ALTER TABLE record
    ADD COLUMN bath_id uuid,
    ADD COLUMN oven_id uuid,
    ADD COLUMN panel_id uuid,
    ADD CONSTRAINT record_bath_fkey FOREIGN KEY (site_id, bath_id) REFERENCES bath,
    ADD CONSTRAINT record_oven_fkey FOREIGN KEY (site_id, oven_id) REFERENCES station,
    ADD CONSTRAINT record_panel_fkey FOREIGN KEY (site_id, panel_id) REFERENCES panel,
    DROP CONSTRAINT record_one_subject,
    ADD CONSTRAINT record_one_subject CHECK (num_nonnulls(part_id, rack_id, load_id, instrument_id, bath_id, oven_id, panel_id) = 1),
    DROP CONSTRAINT record_kind_known,
    ADD CONSTRAINT record_kind_known CHECK (kind IN ('weld', 'pretreatment', 'coating', 'cure', 'cure_test', 'panel_test', 'finish', 'film',
        'first_article', 'verification', 'calibration', 'bath_reading', 'bath_addition', 'oven_survey')),
    DROP CONSTRAINT record_spec_named,
    ADD CONSTRAINT record_spec_named CHECK (num_nonnulls(instrument_id, bath_id, oven_id) = 1 OR spec_revision_id IS NOT NULL);
CREATE INDEX record_by_bath ON record (site_id, bath_id, observed_at) WHERE bath_id IS NOT NULL;
CREATE INDEX record_by_oven ON record (site_id, oven_id, observed_at) WHERE oven_id IS NOT NULL;
CREATE INDEX record_by_panel ON record (site_id, panel_id) WHERE panel_id IS NOT NULL;

ALTER TABLE record_use
    ADD COLUMN panel_id uuid,
    ADD CONSTRAINT record_use_panel_fkey FOREIGN KEY (site_id, panel_id) REFERENCES panel,
    DROP CONSTRAINT record_use_one_thing,
    ADD CONSTRAINT record_use_one_thing CHECK (num_nonnulls(instrument_id, lot_id, person_id, station_id, bath_id, part_id, panel_id) = 1),
    DROP CONSTRAINT record_use_role_known,
    ADD CONSTRAINT record_use_role_known CHECK (role IN ('gauge', 'shim', 'powder', 'welder', 'booth', 'oven', 'bath', 'tested_part',
        'chemical', 'titrant', 'solvent', 'filler', 'heat', 'tape', 'meter', 'logger', 'standard', 'panel'));

GRANT SELECT, INSERT ON panel TO coatbook_app;
GRANT SELECT ON panel TO coatbook_read;
