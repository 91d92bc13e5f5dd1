-- Three roles: the owner migrates; the server works as coatbook_app; exports and read-only tools as coatbook_read.
-- Records, signatures and events can be inserted and read by the server, never updated or deleted.
DO $$
BEGIN
    BEGIN CREATE ROLE coatbook_app NOLOGIN; EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL; END;
    BEGIN CREATE ROLE coatbook_read NOLOGIN; EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL; END;
    BEGIN EXECUTE format('GRANT coatbook_app, coatbook_read TO %I', current_user); EXCEPTION WHEN unique_violation OR invalid_grant_operation THEN NULL; END;
END $$;

GRANT USAGE ON SCHEMA public TO coatbook_app, coatbook_read;
GRANT SELECT ON ALL TABLES IN SCHEMA public TO coatbook_app;
GRANT INSERT ON ALL TABLES IN SCHEMA public TO coatbook_app;
REVOKE INSERT ON schema_migrations FROM coatbook_app;

-- Register and status rows may change, with an event.
GRANT UPDATE ON site, person, qualification, invitation, sign_on_guard, station, device, finish_spec, finish_spec_revision,
    part_number, job, rack, oven_load, powder, powder_lot, bath, instrument,
    part_status, hold_part, instrument_status, counter, weld_limit, sessions TO coatbook_app;
-- Taking a part off a rack before its first run, and a rack off a load before the oven, is a change of status, not of a record.
GRANT DELETE ON sessions, rack_part, load_rack, powder_cure_point, weld_limit TO coatbook_app;

GRANT SELECT ON ALL TABLES IN SCHEMA public TO coatbook_read;
REVOKE SELECT ON person, invitation, sign_on_guard, sessions, device FROM coatbook_read;
GRANT SELECT (site_id, person_id, name, sign_on_name, roles, active, created_at) ON person TO coatbook_read;
GRANT SELECT (site_id, device_id, name, station_id, location_class, enrolled_by, enrolled_at, revoked_at) ON device TO coatbook_read;
