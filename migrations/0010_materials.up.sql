-- Powders become one kind of material beside the wash line's chemicals, titrants, solvents, filler metal, aluminium and
-- tape: each comes in lots, each lot can be refused, held and traced in the same way.
ALTER TABLE powder RENAME TO material;
ALTER TABLE material RENAME COLUMN powder_id TO material_id;
ALTER TABLE material RENAME CONSTRAINT powder_pkey TO material_pkey;
ALTER TABLE material RENAME CONSTRAINT powder_code_unique TO material_code_unique;
ALTER TABLE material RENAME CONSTRAINT powder_code_form TO material_code_form;
ALTER TABLE material RENAME CONSTRAINT powder_name_present TO material_name_present;
ALTER TABLE material RENAME CONSTRAINT powder_maker_present TO material_maker_present;

ALTER TABLE material
    ADD COLUMN kind text NOT NULL DEFAULT 'powder',
    ADD COLUMN storage_min_c double precision,
    ADD COLUMN storage_note text NOT NULL DEFAULT '',
    -- What the powder's maker gives for the coat: its thickness, and how cure is tested with solvent.
    ADD COLUMN film_min_um double precision,
    ADD COLUMN film_max_um double precision,
    ADD COLUMN rub_method text NOT NULL DEFAULT '',
    -- What the safety data sheet warns of, and where the sheet is.
    ADD COLUMN hazards text[] NOT NULL DEFAULT '{}',
    ADD COLUMN sheet_link text NOT NULL DEFAULT '',
    ADD COLUMN sheet_issued_on date,
    ADD COLUMN sheet_paper_at text NOT NULL DEFAULT '',
    ADD COLUMN active boolean NOT NULL DEFAULT true,
    ALTER COLUMN storage_max_c DROP NOT NULL,
    ALTER COLUMN colour SET DEFAULT '',
    DROP CONSTRAINT powder_storage_range,
    ADD CONSTRAINT material_kind_unique UNIQUE (site_id, material_id, kind),
    ADD CONSTRAINT material_kind_known CHECK (kind IN ('powder', 'cleaner', 'conversion', 'titrant', 'solvent', 'filler', 'heat', 'tape')),
    ADD CONSTRAINT material_storage_range CHECK ((storage_max_c IS NULL OR storage_max_c BETWEEN 0 AND 60) AND (storage_min_c IS NULL OR storage_min_c BETWEEN -20 AND 30)
        AND (storage_min_c IS NULL OR storage_max_c IS NULL OR storage_min_c < storage_max_c)),
    ADD CONSTRAINT material_storage_of_powder CHECK (kind <> 'powder' OR storage_max_c IS NOT NULL),
    ADD CONSTRAINT material_film_ordered CHECK ((film_min_um IS NULL) = (film_max_um IS NULL) AND (film_min_um IS NULL OR (film_min_um > 0 AND film_max_um > film_min_um AND film_max_um <= 2000))),
    ADD CONSTRAINT material_coat_of_powder CHECK (kind = 'powder' OR (colour = '' AND rub_method = '' AND film_min_um IS NULL)),
    ADD CONSTRAINT material_hazards_known CHECK (hazards <@ ARRAY['acid', 'alkali', 'fluoride', 'flammable', 'oxidiser', 'harmful', 'dust', 'fume']),
    ADD CONSTRAINT material_sheet_dated CHECK (sheet_link = '' OR sheet_issued_on IS NOT NULL),
    ADD CONSTRAINT material_sheet_link_form CHECK (sheet_link = '' OR sheet_link ~ '^(/[^/\\]|https?://)[^[:space:]\\]*$');
ALTER TABLE material ALTER COLUMN kind DROP DEFAULT;

ALTER TABLE powder_lot RENAME TO material_lot;
ALTER TABLE material_lot RENAME COLUMN powder_id TO material_id;
ALTER TABLE material_lot RENAME COLUMN quantity_kg TO quantity;
ALTER TABLE material_lot RENAME CONSTRAINT powder_lot_pkey TO material_lot_pkey;
ALTER TABLE material_lot RENAME CONSTRAINT powder_lot_number_unique TO material_lot_number_unique;
ALTER TABLE material_lot RENAME CONSTRAINT powder_lot_number_form TO material_lot_number_form;
ALTER TABLE material_lot RENAME CONSTRAINT powder_lot_status_known TO material_lot_status_known;

ALTER TABLE material_lot
    -- The kind of the material, so that rules can ask for it.
    ADD COLUMN kind text NOT NULL DEFAULT 'powder',
    ADD COLUMN unit text NOT NULL DEFAULT 'kg',
    ADD COLUMN storage_max_c double precision,
    -- Where the certificate can be read: a file of the site or an address.
    ADD COLUMN certificate_file text NOT NULL DEFAULT '',
    ALTER COLUMN made_on DROP NOT NULL,
    ALTER COLUMN expires_on DROP NOT NULL,
    DROP CONSTRAINT powder_lot_powder_fkey,
    DROP CONSTRAINT powder_lot_dates_ordered,
    DROP CONSTRAINT powder_lot_quantity_range,
    ADD CONSTRAINT material_lot_material_fkey FOREIGN KEY (site_id, material_id, kind) REFERENCES material (site_id, material_id, kind),
    ADD CONSTRAINT material_lot_dates_ordered CHECK ((made_on IS NULL OR expires_on IS NULL OR expires_on > made_on) AND (made_on IS NULL OR received_on >= made_on)),
    ADD CONSTRAINT material_lot_made_of_powder CHECK (kind <> 'powder' OR made_on IS NOT NULL),
    ADD CONSTRAINT material_lot_expires_by_kind CHECK (kind IN ('solvent', 'filler', 'heat', 'tape') OR expires_on IS NOT NULL),
    ADD CONSTRAINT material_lot_quantity_range CHECK (quantity > 0 AND quantity <= 100000),
    ADD CONSTRAINT material_lot_unit_known CHECK (unit IN ('kg', 'L', 'm', 'pcs')),
    ADD CONSTRAINT material_lot_storage_range CHECK (storage_max_c IS NULL OR storage_max_c BETWEEN 0 AND 60),
    ADD CONSTRAINT material_lot_certificate_file_form CHECK (certificate_file = '' OR certificate_file ~ '^(/[^/\\]|https?://)[^[:space:]\\]*$');
ALTER TABLE material_lot ALTER COLUMN kind DROP DEFAULT;

-- A hazard is pointed out to a person once a shift; that they read it stays on record.
CREATE TABLE caution_acknowledgement (
    site_id   uuid NOT NULL,
    person_id uuid NOT NULL,
    hazard    text NOT NULL,
    shop_day  date NOT NULL,
    shift     text NOT NULL,
    language  text NOT NULL,
    station_id uuid,
    device_id uuid,
    acknowledged_at timestamptz NOT NULL,
    CONSTRAINT caution_acknowledgement_pkey PRIMARY KEY (site_id, person_id, shop_day, shift, hazard),
    CONSTRAINT caution_acknowledgement_person_fkey FOREIGN KEY (site_id, person_id) REFERENCES person,
    CONSTRAINT caution_acknowledgement_station_fkey FOREIGN KEY (site_id, station_id) REFERENCES station,
    CONSTRAINT caution_acknowledgement_device_fkey FOREIGN KEY (site_id, device_id) REFERENCES device,
    CONSTRAINT caution_acknowledgement_hazard_present CHECK (btrim(hazard) <> ''),
    CONSTRAINT caution_acknowledgement_language_known CHECK (language IN ('en', 'es'))
);

GRANT SELECT, INSERT ON caution_acknowledgement TO coatbook_app;
GRANT SELECT ON caution_acknowledgement TO coatbook_read;

-- The cautions are reviewed by somebody who knows the hazards; a text that changed since needs a new review.
CREATE TABLE caution_review (
    site_id       uuid NOT NULL REFERENCES site,
    review_id     uuid NOT NULL,
    text_hash     text NOT NULL,
    reviewer      text NOT NULL,
    qualification text NOT NULL,
    reviewed_on   date NOT NULL,
    recorded_by   uuid NOT NULL,
    recorded_at   timestamptz NOT NULL,
    CONSTRAINT caution_review_pkey PRIMARY KEY (site_id, review_id),
    CONSTRAINT caution_review_person_fkey FOREIGN KEY (site_id, recorded_by) REFERENCES person,
    CONSTRAINT caution_review_reviewer_present CHECK (btrim(reviewer) <> ''),
    CONSTRAINT caution_review_qualification_present CHECK (btrim(qualification) <> '')
);
GRANT SELECT, INSERT ON caution_review TO coatbook_app;
GRANT SELECT ON caution_review TO coatbook_read;

-- The holds that were opened because of a lot.
CREATE TABLE lot_hold (
    site_id uuid NOT NULL,
    lot_id  uuid NOT NULL,
    hold_id uuid NOT NULL,
    CONSTRAINT lot_hold_pkey PRIMARY KEY (site_id, lot_id, hold_id),
    CONSTRAINT lot_hold_lot_fkey FOREIGN KEY (site_id, lot_id) REFERENCES material_lot,
    CONSTRAINT lot_hold_hold_fkey FOREIGN KEY (site_id, hold_id) REFERENCES hold
);
GRANT SELECT, INSERT ON lot_hold TO coatbook_app;
GRANT SELECT ON lot_hold TO coatbook_read;
