-- Badges and PINs of people, for stations that several share. Both are kept hashed, as passwords are.

CREATE TABLE badge (
    site TEXT NOT NULL,
    hash BYTES NOT NULL,
    person TEXT NOT NULL,
    PRIMARY KEY (site, hash)
);

CREATE TABLE pin (
    site TEXT NOT NULL,
    person TEXT NOT NULL,
    pin TEXT NOT NULL,
    tries BIGINT NOT NULL,
    PRIMARY KEY (site, person)
);
