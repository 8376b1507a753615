-- The mill as it was set and what it gave: about once a week.
CREATE TABLE crush (
    id INTEGER PRIMARY KEY,
    tun_id INTEGER NOT NULL REFERENCES tun (id),
    logged_us INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;

CREATE INDEX crush_of_tun ON crush (tun_id, logged_us);
