-- The safety data sheet of a material is a file of the book, so that it opens without the maker's site and a tablet can keep it.
-- The latest by its own date counts; older ones stay, and one that was added by mistake is withdrawn.
ALTER TABLE file
    ADD COLUMN material_id uuid,
    -- The day that the sheet itself gives as its issue or revision.
    ADD COLUMN issued_on date,
    ADD CONSTRAINT file_material_fkey FOREIGN KEY (site_id, material_id) REFERENCES material,
    ADD CONSTRAINT file_sheet_dated CHECK ((material_id IS NULL) = (issued_on IS NULL)),
    ADD CONSTRAINT file_sheet_is_pdf CHECK (material_id IS NULL OR kind = 'pdf'),
    DROP CONSTRAINT file_one_subject,
    ADD CONSTRAINT file_one_subject CHECK (num_nonnulls(hold_id, record_id, lot_id, instrument_id, article_id, material_id) = 1);
CREATE INDEX file_by_material ON file (site_id, material_id) WHERE material_id IS NOT NULL;

CREATE TABLE sheet_withdrawal (
    site_id      uuid NOT NULL,
    file_id      uuid NOT NULL,
    reason       text NOT NULL,
    withdrawn_by uuid NOT NULL,
    withdrawn_at timestamptz NOT NULL,
    CONSTRAINT sheet_withdrawal_pkey PRIMARY KEY (site_id, file_id),
    CONSTRAINT sheet_withdrawal_file_fkey FOREIGN KEY (site_id, file_id) REFERENCES file,
    CONSTRAINT sheet_withdrawal_person_fkey FOREIGN KEY (site_id, withdrawn_by) REFERENCES person,
    CONSTRAINT sheet_withdrawal_reason_given CHECK (length(btrim(reason)) >= 5)
);
GRANT SELECT, INSERT ON sheet_withdrawal TO coatbook_app;
GRANT SELECT ON sheet_withdrawal TO coatbook_read;
