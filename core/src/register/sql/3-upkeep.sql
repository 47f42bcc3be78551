-- The shelf, and what keeps labels readable.
CREATE TABLE cartridge (
    place INTEGER PRIMARY KEY,                  -- order on the shelf
    id TEXT NOT NULL UNIQUE,
    stock TEXT NOT NULL,
    length_um INTEGER,                          -- left on an open one, micrometres
    error_um INTEGER,
    sealed INTEGER,                             -- or how many are sealed
    price REAL,
    printer TEXT UNIQUE,
    CHECK ((length_um IS NULL) <> (sealed IS NULL))
) STRICT;

-- Someone looked at the labels of a cable.
CREATE TABLE inspection (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    at INTEGER NOT NULL,
    cable INTEGER NOT NULL REFERENCES cable,
    end TEXT CHECK (end IN ('near', 'far')),    -- NULL: both
    word TEXT NOT NULL
) STRICT;
CREATE INDEX inspection_cable ON inspection (cable);

-- After how many days labels are renewed, NULL: never; a blank stock stands for all.
CREATE TABLE renewal (
    build TEXT NOT NULL,
    stock TEXT NOT NULL DEFAULT '',
    days INTEGER CHECK (days > 0),
    PRIMARY KEY (build, stock)
) STRICT, WITHOUT ROWID;
