-- Pictures and scans that stand beside an entry, whole, as they came. The same bytes are kept once.

CREATE TABLE attachment (
    site TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    media_type TEXT NOT NULL,
    stored_at BIGINT NOT NULL,
    stored_by TEXT NOT NULL,
    raw BYTES NOT NULL,
    PRIMARY KEY (site, sha256)
);
