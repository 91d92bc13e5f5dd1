-- A record of a first article that was declined in place of being approved: why, by whom, signed. It never releases the
-- series; another record of the article may. A decline that was made by mistake is voided by a row of its own.
CREATE TABLE first_article_decline (
    site_id      uuid NOT NULL,
    decline_id   uuid NOT NULL,
    article_id   uuid NOT NULL,
    record_id    uuid NOT NULL,
    reason_code  text NOT NULL,
    reason       text NOT NULL,
    signature_id uuid NOT NULL,
    declined_by  uuid NOT NULL,
    declined_at  timestamptz NOT NULL,
    CONSTRAINT first_article_decline_pkey PRIMARY KEY (site_id, decline_id),
    CONSTRAINT first_article_decline_article_fkey FOREIGN KEY (site_id, article_id) REFERENCES first_article,
    CONSTRAINT first_article_decline_record_fkey FOREIGN KEY (site_id, record_id) REFERENCES record,
    CONSTRAINT first_article_decline_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT first_article_decline_person_fkey FOREIGN KEY (site_id, declined_by) REFERENCES person,
    CONSTRAINT first_article_decline_code_known CHECK (reason_code IN ('result', 'evidence', 'device', 'requirement', 'not_like_series', 'other')),
    CONSTRAINT first_article_decline_reason_given CHECK (length(btrim(reason)) BETWEEN 5 AND 500)
);
CREATE INDEX first_article_decline_by_record ON first_article_decline (site_id, record_id);
CREATE INDEX first_article_decline_by_article ON first_article_decline (site_id, article_id, declined_at);

-- The record waits for its approval again.
CREATE TABLE first_article_decline_void (
    site_id      uuid NOT NULL,
    decline_id   uuid NOT NULL,
    reason       text NOT NULL,
    signature_id uuid NOT NULL,
    voided_by    uuid NOT NULL,
    voided_at    timestamptz NOT NULL,
    CONSTRAINT first_article_decline_void_pkey PRIMARY KEY (site_id, decline_id),
    CONSTRAINT first_article_decline_void_decline_fkey FOREIGN KEY (site_id, decline_id) REFERENCES first_article_decline,
    CONSTRAINT first_article_decline_void_signature_fkey FOREIGN KEY (site_id, signature_id) REFERENCES signature,
    CONSTRAINT first_article_decline_void_person_fkey FOREIGN KEY (site_id, voided_by) REFERENCES person,
    CONSTRAINT first_article_decline_void_reason_given CHECK (length(btrim(reason)) BETWEEN 5 AND 500)
);

GRANT SELECT, INSERT ON first_article_decline, first_article_decline_void TO coatbook_app;
GRANT SELECT ON first_article_decline, first_article_decline_void TO coatbook_read;
