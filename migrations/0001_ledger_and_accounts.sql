-- What is never dropped: the ledger, what hangs on it, and the accounts. Types are those of the dialect table:
-- TEXT, BIGINT and BYTES; times are microseconds UTC, booleans 0 or 1.

CREATE TABLE site (
    site TEXT NOT NULL,
    name TEXT NOT NULL,
    timezone TEXT NOT NULL,
    secret BYTES NOT NULL,
    founded_at BIGINT NOT NULL,
    PRIMARY KEY (site)
);

CREATE TABLE ledger_head (
    site TEXT NOT NULL,
    seq BIGINT NOT NULL,
    recorded_at BIGINT NOT NULL,
    root BYTES NOT NULL,
    frontier BYTES NOT NULL,
    PRIMARY KEY (site)
);

CREATE TABLE ledger_entry (
    site TEXT NOT NULL,
    seq BIGINT NOT NULL,
    entry TEXT NOT NULL,
    leaf BYTES NOT NULL,
    key TEXT,
    asked BYTES NOT NULL,
    at BIGINT NOT NULL,
    recorded_at BIGINT NOT NULL,
    actor TEXT NOT NULL,
    kind TEXT NOT NULL,
    PRIMARY KEY (site, seq),
    UNIQUE (site, key)
);

CREATE TABLE sealed_text (
    site TEXT NOT NULL,
    sealed TEXT NOT NULL,
    salt BYTES NOT NULL,
    text TEXT NOT NULL,
    PRIMARY KEY (site, sealed)
);

CREATE TABLE cycle_record (
    site TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    raw BYTES NOT NULL,
    PRIMARY KEY (site, sha256)
);

CREATE TABLE person (
    site TEXT NOT NULL,
    code TEXT NOT NULL,
    name TEXT NOT NULL,
    role TEXT NOT NULL,
    password TEXT NOT NULL,
    disabled BIGINT NOT NULL,
    PRIMARY KEY (site, code)
);

CREATE TABLE token (
    site TEXT NOT NULL,
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    role TEXT NOT NULL,
    hash BYTES NOT NULL,
    revoked BIGINT NOT NULL,
    PRIMARY KEY (site, id),
    UNIQUE (hash)
);

CREATE TABLE session (
    site TEXT NOT NULL,
    hash BYTES NOT NULL,
    person TEXT NOT NULL,
    csrf TEXT NOT NULL,
    begun_at BIGINT NOT NULL,
    seen_at BIGINT NOT NULL,
    PRIMARY KEY (site, hash),
    UNIQUE (hash)
);

CREATE TABLE read_log (
    site TEXT NOT NULL,
    at BIGINT NOT NULL,
    actor TEXT NOT NULL,
    what TEXT NOT NULL,
    PRIMARY KEY (site, at, actor, what)
);
