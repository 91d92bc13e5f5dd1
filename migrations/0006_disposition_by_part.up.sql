-- Where a part stands asks for its dispositions at every save.
CREATE INDEX disposition_by_part ON disposition (site_id, part_id);

-- A null nominal slipped through: a CHECK that comes out as null holds.
ALTER TABLE instrument DROP CONSTRAINT instrument_nominal_of_shim;
ALTER TABLE instrument ADD CONSTRAINT instrument_nominal_of_shim CHECK (kind <> 'shim' OR (nominal IS NOT NULL AND nominal > 0));
