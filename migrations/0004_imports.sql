-- Lists on their way into the house, and how their columns were read. A file goes once it is imported, or after days:
-- a list of cases may name patients.

CREATE TABLE import_file (
    site TEXT NOT NULL,
    id TEXT NOT NULL,
    kind TEXT NOT NULL,
    name TEXT NOT NULL,
    chosen TEXT NOT NULL,
    outcome TEXT NOT NULL,
    stored_at BIGINT NOT NULL,
    stored_by TEXT NOT NULL,
    raw BYTES NOT NULL,
    PRIMARY KEY (site, id)
);

CREATE TABLE import_mapping (
    site TEXT NOT NULL,
    kind TEXT NOT NULL,
    chosen TEXT NOT NULL,
    stored_at BIGINT NOT NULL,
    stored_by TEXT NOT NULL,
    PRIMARY KEY (site, kind)
);
