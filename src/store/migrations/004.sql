-- Loop checks as they were made. Numbers are never reused: they stand on certificates.
CREATE TABLE loop_check (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    instrument TEXT NOT NULL,
    checked_us INTEGER NOT NULL,
    -- When the instrument is to be checked again; NULL is never.
    due_us INTEGER,
    who TEXT NOT NULL,
    note TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;

CREATE INDEX loop_check_of_instrument ON loop_check (tun_id, instrument, id);

-- What is made of an instrument's readings. The newest version is in force; one without a body takes it back.
CREATE TABLE correction (
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    instrument TEXT NOT NULL,
    version INTEGER NOT NULL,
    made_us INTEGER NOT NULL,
    due_us INTEGER,
    who TEXT NOT NULL,
    body TEXT,
    PRIMARY KEY (tun_id, instrument, version)
) STRICT, WITHOUT ROWID;
