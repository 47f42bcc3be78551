-- What was printed. Nothing here is ever changed or taken out: triggers refuse it.

-- Head lines of a label as they were, deflated; equal ones once.
CREATE TABLE raster (
    id INTEGER PRIMARY KEY,
    key INTEGER NOT NULL,                       -- a hash of what `bits` unpacks to
    dots INTEGER NOT NULL,                      -- across
    lines INTEGER NOT NULL,                     -- along
    bits BLOB NOT NULL
) STRICT;
CREATE INDEX raster_key ON raster (key);

-- One order to print: all its labels are here before the first of them leaves.
CREATE TABLE job (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    at INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('print', 'resume', 'reprint')),
    name TEXT NOT NULL,
    printer TEXT NOT NULL,
    across_milli INTEGER NOT NULL,              -- thousandths of a dot per inch
    along_milli INTEGER NOT NULL,
    link TEXT NOT NULL,
    parting TEXT NOT NULL,                      -- half, full, snip; blank: the best there is
    longest_um INTEGER,                         -- strip asked for, in micrometres
    labels_a_strip INTEGER
) STRICT;

CREATE TABLE label (
    job INTEGER NOT NULL REFERENCES job,
    nth INTEGER NOT NULL,                       -- from 1, in the order of the plan
    strip INTEGER NOT NULL,                     -- from 1
    cable INTEGER REFERENCES cable,             -- where the register knew it
    owner TEXT NOT NULL,
    batch TEXT NOT NULL,
    number TEXT NOT NULL,
    end TEXT NOT NULL CHECK (end IN ('near', 'far')),
    build TEXT NOT NULL,
    stock TEXT NOT NULL,
    text TEXT NOT NULL,                         -- its lines
    od_um INTEGER,                              -- of the cable, in micrometres
    joined INTEGER NOT NULL,                    -- 1: the next label is the other end
    raster INTEGER NOT NULL REFERENCES raster,
    of_job INTEGER,                             -- the label that this one prints again
    of_nth INTEGER,
    perhaps_twice INTEGER NOT NULL,             -- 1: that one may have been printed, too
    PRIMARY KEY (job, nth)
) STRICT, WITHOUT ROWID;
CREATE INDEX label_name ON label (batch COLLATE NOCASE, number COLLATE NOCASE);

-- What became of labels `first` to `last` of a job.
CREATE TABLE event (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    at INTEGER NOT NULL,
    job INTEGER NOT NULL REFERENCES job,
    kind TEXT NOT NULL CHECK (kind IN
        ('leaving', 'stayed', 'taken', 'given', 'ended', 'broke off', 'good', 'bad', 'moved', 'written off')),
    first INTEGER NOT NULL,
    last INTEGER NOT NULL,
    word TEXT NOT NULL                          -- the link's, the printer's or a person's
) STRICT;
CREATE INDEX event_job ON event (job, id);

CREATE TRIGGER raster_stays BEFORE UPDATE ON raster BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER raster_kept BEFORE DELETE ON raster BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER job_stays BEFORE UPDATE ON job BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER job_kept BEFORE DELETE ON job BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER label_stays BEFORE UPDATE ON label BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER label_kept BEFORE DELETE ON label BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER event_stays BEFORE UPDATE ON event BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER event_kept BEFORE DELETE ON event BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
