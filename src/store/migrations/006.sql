-- Readings and ticks (kind 0) or conditioned readings (kind 1) of a stretch in one block, column by column: what stood
-- in rows of event or conditioned before. The form of a block is that of lauterd's src/store/packed.
CREATE TABLE packed (
    brew_id INTEGER NOT NULL REFERENCES brew (id) ON DELETE CASCADE,
    kind INTEGER NOT NULL,
    -- As in the rows; events of other kinds stay rows and may stand between these numbers.
    first_seq INTEGER NOT NULL,
    last_seq INTEGER NOT NULL,
    last_at_us INTEGER NOT NULL,
    rows INTEGER NOT NULL,
    body BLOB NOT NULL,
    PRIMARY KEY (brew_id, kind, first_seq)
) STRICT, WITHOUT ROWID;

-- 1 once all of its readings are in blocks.
ALTER TABLE brew ADD COLUMN packed INTEGER NOT NULL DEFAULT 0;
