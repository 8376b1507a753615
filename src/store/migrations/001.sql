-- Times are microseconds since 1970: *_us on the wall clock, at_us on the service's monotone axis.
-- Bodies are JSON in the shapes of lauter_core::supervisor.

CREATE TABLE tun (
    id INTEGER PRIMARY KEY,
    site TEXT NOT NULL,
    name TEXT NOT NULL,
    -- First sequence number not yet handed out or reserved.
    next_sequence INTEGER NOT NULL DEFAULT 1,
    UNIQUE (site, name)
) STRICT;

CREATE TABLE brew (
    -- Never reused, so that a number held elsewhere cannot come to mean another brew.
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    brew TEXT NOT NULL,
    plan TEXT NOT NULL,
    -- What an instrument's index in the events means.
    instruments TEXT NOT NULL,
    config_digest TEXT NOT NULL,
    started_us INTEGER NOT NULL,
    started_at_us INTEGER NOT NULL,
    -- elapsed_s counts from here.
    origin_at_us INTEGER NOT NULL,
    ended_us INTEGER,
    ended_at_us INTEGER,
    summary TEXT,
    -- Whether the tun's profile learnt from it; NULL while undecided.
    accepted INTEGER,
    -- 0 once the retention has removed its readings.
    readings_kept INTEGER NOT NULL DEFAULT 1,
    UNIQUE (tun_id, brew)
) STRICT;

-- Every event the supervisor was given, in order. Readings fill the columns, others the body.
-- Without an affinity for value, SQLite keeps every bit of it: a REAL column would store -0.0 as 0.
CREATE TABLE event (
    brew_id INTEGER NOT NULL REFERENCES brew (id) ON DELETE CASCADE,
    seq INTEGER NOT NULL,
    at_us INTEGER NOT NULL,
    -- 0 reading, 1 tick, 2 any other
    kind INTEGER NOT NULL,
    instrument INTEGER,
    value ANY,
    -- NULL is good
    status TEXT,
    cause TEXT,
    -- Measured this long before it arrived; NULL is 0.
    age_us INTEGER,
    body TEXT,
    PRIMARY KEY (brew_id, seq)
) STRICT, WITHOUT ROWID;

CREATE INDEX event_other ON event (brew_id, seq) WHERE kind = 2;

-- Events between brews: operators' actions, links. Readings are not kept there.
CREATE TABLE idle_event (
    id INTEGER PRIMARY KEY,
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    at_us INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;

CREATE TABLE conditioned (
    brew_id INTEGER NOT NULL REFERENCES brew (id) ON DELETE CASCADE,
    seq INTEGER NOT NULL,
    at_us INTEGER NOT NULL,
    instrument INTEGER NOT NULL,
    unit TEXT NOT NULL,
    value ANY,
    standard_error ANY,
    rate_per_min ANY,
    status TEXT,
    cause TEXT,
    raw ANY,
    PRIMARY KEY (brew_id, seq)
) STRICT, WITHOUT ROWID;

-- Everything else the supervisor put out. brew_id is NULL between brews.
CREATE TABLE output (
    id INTEGER PRIMARY KEY,
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    brew_id INTEGER REFERENCES brew (id) ON DELETE CASCADE,
    at_us INTEGER NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;

CREATE INDEX output_of_brew ON output (brew_id, kind, id);
CREATE INDEX output_between_brews ON output (tun_id, id) WHERE brew_id IS NULL;

CREATE TABLE profile (
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    version INTEGER NOT NULL,
    saved_us INTEGER NOT NULL,
    -- The brew it learnt from last; it may be gone.
    brew TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (tun_id, version)
) STRICT, WITHOUT ROWID;

CREATE TABLE outbox (
    -- Never reused: a late acknowledgement must not remove another message.
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    publisher TEXT NOT NULL,
    -- 0 reading, 1 state, 2 record: the order in which they may be given up
    class INTEGER NOT NULL,
    topic TEXT NOT NULL,
    payload TEXT NOT NULL,
    retain INTEGER NOT NULL,
    created_us INTEGER NOT NULL
) STRICT;

CREATE INDEX outbox_of_publisher ON outbox (tun_id, publisher, id);
CREATE INDEX outbox_of_class ON outbox (tun_id, publisher, class, id);
