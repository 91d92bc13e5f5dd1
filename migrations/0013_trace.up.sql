-- Trace asks from every thing to the records it is in; these were without an index of their own.
CREATE INDEX record_by_person ON record (site_id, person_id, observed_at);
CREATE INDEX record_by_station ON record (site_id, station_id, observed_at) WHERE station_id IS NOT NULL;
CREATE INDEX record_by_spec ON record (site_id, spec_revision_id, observed_at) WHERE spec_revision_id IS NOT NULL;
CREATE INDEX record_use_by_part ON record_use (site_id, part_id) WHERE part_id IS NOT NULL;
CREATE INDEX oven_load_by_oven ON oven_load (site_id, oven_id, opened_at);
