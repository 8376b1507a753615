-- How old the record is, counted by the service itself: the wall clock may be wrong, and a day off counts as a day at most.
CREATE TABLE age (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    aged_us INTEGER NOT NULL,
    -- The wall clock when it was last counted on.
    counted_us INTEGER NOT NULL
) STRICT;

-- What was there at an age: everything up to these rows is that old at least.
CREATE TABLE age_mark (
    aged_us INTEGER PRIMARY KEY,
    brew_id INTEGER NOT NULL,
    idle_event_id INTEGER NOT NULL,
    output_id INTEGER NOT NULL
) STRICT;
