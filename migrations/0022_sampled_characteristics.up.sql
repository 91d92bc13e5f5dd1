-- A lot may be for one characteristic of a check, sampled apart from it: its kind is then the check, a point and the
-- characteristic.
ALTER TABLE inspection_lot DROP CONSTRAINT inspection_lot_kind_known,
    ADD CONSTRAINT inspection_lot_kind_known CHECK (kind IN ('weld', 'weld.leg_length', 'weld.throat_thickness', 'cure_test', 'finish', 'finish.gloss', 'finish.adhesion', 'film'));

-- The page of a rack or load lists what is checked on a sample of it.
CREATE INDEX inspection_lot_by_rack ON inspection_lot (site_id, rack_id) WHERE rack_id IS NOT NULL;
CREATE INDEX inspection_lot_by_load ON inspection_lot (site_id, load_id) WHERE load_id IS NOT NULL;
