-- A record is never changed. A correction is a new record that takes the place of the old one, with a reason and a
-- signature; a void takes its place with nothing. The old one stays readable.
ALTER TABLE record
    ADD COLUMN reason_code text NOT NULL DEFAULT '',
    -- When the thing first came on record: a correction counts for the round in which its original was made.
    ADD COLUMN counted_at timestamptz NOT NULL DEFAULT now(),
    ADD COLUMN signature_id uuid,
    ADD CONSTRAINT record_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    ADD CONSTRAINT record_reason_code_known CHECK (reason_code IN ('', 'typing_error', 'wrong_part', 'device_fault', 'late_information', 'entry_undone', 'other')),
    ADD CONSTRAINT record_correction_coded CHECK ((supersedes_id IS NULL) = (reason_code = '')),
    -- Taking back one's own last entry within minutes asks for no PIN; every other correction is signed.
    ADD CONSTRAINT record_correction_signed CHECK (supersedes_id IS NULL OR reason_code = 'entry_undone' OR signature_id IS NOT NULL),
    ADD CONSTRAINT record_void_of_something CHECK (verdict <> 'void' OR supersedes_id IS NOT NULL),
    DROP CONSTRAINT record_verdict_known,
    ADD CONSTRAINT record_verdict_known CHECK (verdict IN ('pass', 'fail', 'guard_band', 'incomplete', 'void'));
UPDATE record SET counted_at = recorded_at;

ALTER TABLE signature
    DROP CONSTRAINT signature_meaning_known,
    ADD CONSTRAINT signature_meaning_known CHECK (meaning IN ('performed', 'reviewed', 'approved', 'released', 'disposed', 'authorised', 'corrected'));

-- A release was signed over the records behind it. When one of them is corrected, the signature is void and the part needs
-- a new one; the old release stays readable.
CREATE TABLE release_void (
    site_id    uuid NOT NULL,
    release_id uuid NOT NULL,
    record_id  uuid NOT NULL,
    voided_at  timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT release_void_pkey PRIMARY KEY (site_id, release_id),
    CONSTRAINT release_void_release_fkey FOREIGN KEY (site_id, release_id) REFERENCES release,
    CONSTRAINT release_void_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record
);
ALTER TABLE release DROP CONSTRAINT release_part_once;
CREATE INDEX release_by_part ON release (site_id, part_id);

-- Where the record behind a hold turns out to be wrong, the decision says so instead of inventing a repair.
ALTER TABLE disposition
    DROP CONSTRAINT disposition_code_known,
    ADD CONSTRAINT disposition_code_known CHECK (code IN ('rework', 'strip_recoat', 'concession', 'regrade', 'return', 'scrap', 'no_defect'));

GRANT SELECT, INSERT ON release_void TO coatbook_app;
GRANT SELECT ON release_void TO coatbook_read;
