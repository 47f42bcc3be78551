-- Cables, their batches and owners. Fields of a cable are as its list has them.
CREATE TABLE owner (
    id INTEGER PRIMARY KEY,
    mark TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (mark <> '')
) STRICT;

-- A batch's word is unique; cables without one share the blank word.
CREATE TABLE batch (
    id INTEGER PRIMARY KEY,
    word TEXT NOT NULL UNIQUE COLLATE NOCASE,
    added INTEGER NOT NULL                      -- seconds since 1970, UTC
) STRICT;

-- AUTOINCREMENT: an id is never given again. A number stays taken when its cable is retired.
CREATE TABLE cable (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    owner INTEGER REFERENCES owner,
    batch INTEGER NOT NULL REFERENCES batch,
    number TEXT NOT NULL COLLATE NOCASE CHECK (number <> ''),
    length TEXT NOT NULL DEFAULT '',
    length_ft TEXT NOT NULL DEFAULT '',
    length_m TEXT NOT NULL DEFAULT '',
    od TEXT NOT NULL DEFAULT '',
    od_mm TEXT NOT NULL DEFAULT '',
    od_in TEXT NOT NULL DEFAULT '',
    kind TEXT NOT NULL DEFAULT '',
    "from" TEXT NOT NULL DEFAULT '',
    "to" TEXT NOT NULL DEFAULT '',
    terminated TEXT NOT NULL DEFAULT '',
    stock TEXT NOT NULL DEFAULT '',
    build TEXT NOT NULL DEFAULT '',
    note TEXT NOT NULL DEFAULT '',
    more TEXT NOT NULL DEFAULT '{}',            -- other columns, a JSON object of texts
    said TEXT NOT NULL,                         -- all that can be searched for, folded
    added INTEGER NOT NULL,
    retired INTEGER,
    UNIQUE (batch, number)
) STRICT;
CREATE INDEX cable_number ON cable (number);
