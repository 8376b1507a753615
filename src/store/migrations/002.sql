-- Where the watch stood, so that a brew is taken up again without giving all its events anew.
CREATE TABLE checkpoint (
    brew_id INTEGER PRIMARY KEY REFERENCES brew (id) ON DELETE CASCADE,
    -- The state after every event of the brew before this one.
    next_event INTEGER NOT NULL,
    -- The engine that wrote it: another version or configuration gives the events anew instead.
    engine TEXT NOT NULL,
    state TEXT NOT NULL
) STRICT;

-- Both clocks when a tun's record was last written: where the monotone axis stands after a restart.
CREATE TABLE clock_mark (
    tun_id INTEGER PRIMARY KEY REFERENCES tun (id),
    -- Which start of the machine, and how long it had been up.
    boot TEXT NOT NULL,
    uptime_us INTEGER NOT NULL,
    at_us INTEGER NOT NULL
) STRICT;

-- What a receiver would not take: shown to people, never sent again.
CREATE TABLE set_aside (
    id INTEGER PRIMARY KEY,
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    publisher TEXT NOT NULL,
    topic TEXT NOT NULL,
    payload TEXT NOT NULL,
    reason TEXT NOT NULL,
    created_us INTEGER NOT NULL,
    set_aside_us INTEGER NOT NULL
) STRICT;

CREATE INDEX set_aside_of_tun ON set_aside (tun_id, id);
