-- First articles: what a drawing asks besides the finish spec, which part stands for the series, what was found on it
-- requirement by requirement, and who approved it.

-- The requirements of a part number's drawing. A change is the next revision, so that old first articles keep theirs.
CREATE TABLE drawing_list (
    site_id        uuid NOT NULL,
    list_id        uuid NOT NULL,
    part_number_id uuid NOT NULL,
    revision       integer NOT NULL,
    drawing        text NOT NULL DEFAULT '',
    made_by        uuid NOT NULL,
    made_at        timestamptz NOT NULL,
    CONSTRAINT drawing_list_pkey PRIMARY KEY (site_id, list_id),
    CONSTRAINT drawing_list_revision_unique UNIQUE (site_id, part_number_id, revision),
    CONSTRAINT drawing_list_part_number_fkey FOREIGN KEY (site_id, part_number_id) REFERENCES part_number,
    CONSTRAINT drawing_list_person_fkey FOREIGN KEY (site_id, made_by) REFERENCES person,
    CONSTRAINT drawing_list_drawing_length CHECK (length(drawing) <= 80)
);

CREATE TABLE drawing_requirement (
    site_id     uuid NOT NULL,
    list_id     uuid NOT NULL,
    seq         integer NOT NULL,
    number      text NOT NULL,
    requirement text NOT NULL,
    CONSTRAINT drawing_requirement_pkey PRIMARY KEY (site_id, list_id, seq),
    CONSTRAINT drawing_requirement_number_once UNIQUE (site_id, list_id, number),
    CONSTRAINT drawing_requirement_list_fkey FOREIGN KEY (site_id, list_id) REFERENCES drawing_list,
    CONSTRAINT drawing_requirement_number_form CHECK (number ~ '^[A-Za-z0-9][A-Za-z0-9.-]{0,11}$'),
    CONSTRAINT drawing_requirement_text_given CHECK (length(btrim(requirement)) BETWEEN 3 AND 300)
);

-- A part that is named as first article in a cycle may go through while series parts wait.
CREATE TABLE first_article (
    site_id        uuid NOT NULL REFERENCES site,
    article_id     uuid NOT NULL,
    number         text NOT NULL,
    part_number_id uuid NOT NULL,
    part_id        uuid NOT NULL,
    cycle          integer NOT NULL,
    named_by       uuid NOT NULL,
    named_at       timestamptz NOT NULL,
    CONSTRAINT first_article_pkey PRIMARY KEY (site_id, article_id),
    CONSTRAINT first_article_number_unique UNIQUE (site_id, number),
    CONSTRAINT first_article_part_once UNIQUE (site_id, part_id, cycle),
    CONSTRAINT first_article_part_number_fkey FOREIGN KEY (site_id, part_number_id) REFERENCES part_number,
    CONSTRAINT first_article_part_fkey FOREIGN KEY (site_id, part_id) REFERENCES part,
    CONSTRAINT first_article_person_fkey FOREIGN KEY (site_id, named_by) REFERENCES person
);
CREATE INDEX first_article_by_part_number ON first_article (site_id, part_number_id, named_at);

-- What a record of kind first_article holds besides its header: whether it lists everything, and one line a requirement.
CREATE TABLE first_article_scope (
    site_id          uuid NOT NULL,
    record_id        uuid NOT NULL,
    whole            boolean NOT NULL,
    drawing_revision integer NOT NULL,
    CONSTRAINT first_article_scope_pkey PRIMARY KEY (site_id, record_id),
    CONSTRAINT first_article_scope_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record
);

CREATE TABLE first_article_line (
    site_id     uuid NOT NULL,
    record_id   uuid NOT NULL,
    seq         integer NOT NULL,
    number      text NOT NULL,
    code        text NOT NULL,
    requirement text NOT NULL,
    result      text NOT NULL,
    device      text NOT NULL,
    verdict     text NOT NULL,
    -- The record that answers the requirement; null where the result was entered by hand.
    evidence_id uuid,
    CONSTRAINT first_article_line_pkey PRIMARY KEY (site_id, record_id, seq),
    CONSTRAINT first_article_line_number_once UNIQUE (site_id, record_id, number),
    CONSTRAINT first_article_line_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT first_article_line_evidence_fkey FOREIGN KEY (site_id, evidence_id) REFERENCES record,
    CONSTRAINT first_article_line_verdict_known CHECK (verdict IN ('pass', 'fail', 'guard_band', 'incomplete')),
    CONSTRAINT first_article_line_answered CHECK (verdict = 'incomplete' OR btrim(result) <> ''),
    CONSTRAINT first_article_line_lengths CHECK (length(result) <= 2000 AND length(device) <= 200)
);
CREATE INDEX first_article_line_by_evidence ON first_article_line (site_id, evidence_id) WHERE evidence_id IS NOT NULL;

-- The approval freezes what the article stands for: spec revision, drawing requirements, powder, booth and oven, and the
-- records that say so. Whether it still counts is read from the records behind it.
CREATE TABLE first_article_approval (
    site_id          uuid NOT NULL,
    approval_id      uuid NOT NULL,
    article_id       uuid NOT NULL,
    record_id        uuid NOT NULL,
    spec_revision_id uuid NOT NULL,
    drawing_revision integer NOT NULL,
    powder_id        uuid,
    booth_id         uuid,
    oven_id          uuid,
    coating_id       uuid,
    cure_id          uuid,
    signature_id     uuid NOT NULL,
    approved_by      uuid NOT NULL,
    approved_at      timestamptz NOT NULL,
    CONSTRAINT first_article_approval_pkey PRIMARY KEY (site_id, approval_id),
    CONSTRAINT first_article_approval_once UNIQUE (site_id, record_id),
    CONSTRAINT first_article_approval_article_fkey FOREIGN KEY (site_id, article_id) REFERENCES first_article,
    CONSTRAINT first_article_approval_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT first_article_approval_spec_fkey FOREIGN KEY (site_id, spec_revision_id) REFERENCES finish_spec_revision,
    CONSTRAINT first_article_approval_powder_fkey FOREIGN KEY (site_id, powder_id) REFERENCES material,
    CONSTRAINT first_article_approval_booth_fkey FOREIGN KEY (site_id, booth_id) REFERENCES station,
    CONSTRAINT first_article_approval_oven_fkey FOREIGN KEY (site_id, oven_id) REFERENCES station,
    CONSTRAINT first_article_approval_coating_fkey FOREIGN KEY (site_id, coating_id) REFERENCES record,
    CONSTRAINT first_article_approval_cure_fkey FOREIGN KEY (site_id, cure_id) REFERENCES record,
    CONSTRAINT first_article_approval_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT first_article_approval_person_fkey FOREIGN KEY (site_id, approved_by) REFERENCES person
);
CREATE INDEX first_article_approval_by_article ON first_article_approval (site_id, article_id, approved_at);

-- Evidence files hang on the article, each on the line it shows.
ALTER TABLE file
    ADD COLUMN article_id uuid,
    ADD COLUMN line text NOT NULL DEFAULT '',
    ADD CONSTRAINT file_article_fkey FOREIGN KEY (site_id, article_id) REFERENCES first_article,
    ADD CONSTRAINT file_line_of_article CHECK (line = '' OR article_id IS NOT NULL),
    DROP CONSTRAINT file_one_subject,
    ADD CONSTRAINT file_one_subject CHECK (num_nonnulls(hold_id, record_id, lot_id, instrument_id, article_id) = 1);
CREATE INDEX file_by_article ON file (site_id, article_id) WHERE article_id IS NOT NULL;

GRANT SELECT, INSERT ON drawing_list, drawing_requirement, first_article, first_article_scope, first_article_line, first_article_approval TO coatbook_app;
GRANT SELECT ON drawing_list, drawing_requirement, first_article, first_article_scope, first_article_line, first_article_approval TO coatbook_read;
