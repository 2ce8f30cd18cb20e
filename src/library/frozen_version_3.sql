-- Version 3 as it shipped, with one game, a pin and a corrected snap. Tables stand by name, not by what refers to what.
PRAGMA foreign_keys = OFF;
CREATE TABLE cameras (
    id     INTEGER PRIMARY KEY,
    game   INTEGER NOT NULL REFERENCES games,
    name   TEXT NOT NULL,
    folded TEXT NOT NULL CHECK (folded <> ''),
    folder TEXT NOT NULL COLLATE NOCASE,
    angle  TEXT NOT NULL CHECK (angle IN ('sideline', 'end-zone', 'unknown')),
    film   INTEGER NOT NULL REFERENCES films,
    UNIQUE (game, folded),
    UNIQUE (game, folder)
) STRICT;
INSERT INTO "cameras" VALUES(1,1,'sideline','sideline','sideline','sideline',1);
CREATE TABLE clips (
    play        INTEGER NOT NULL REFERENCES plays,
    camera      INTEGER NOT NULL REFERENCES cameras,
    path        TEXT NOT NULL UNIQUE,
    film        INTEGER NOT NULL REFERENCES films,
    film_start  INTEGER NOT NULL CHECK (film_start >= 0),
    film_end    INTEGER NOT NULL CHECK (film_end > film_start),
    version     INTEGER NOT NULL,
    frames      INTEGER NOT NULL CHECK (frames > 0),
    rate_num    INTEGER NOT NULL CHECK (rate_num > 0),
    rate_den    INTEGER NOT NULL CHECK (rate_den > 0),
    bytes       INTEGER NOT NULL CHECK (bytes > 0),
    hash        TEXT NOT NULL,
    PRIMARY KEY (play, camera)
) STRICT, WITHOUT ROWID;
CREATE TABLE corrections (
    id       INTEGER PRIMARY KEY,
    play     INTEGER NOT NULL REFERENCES plays,
    subject  TEXT NOT NULL CHECK (subject IN ('tag', 'own', 'set', 'snap', 'whistle')),
    name     TEXT NOT NULL DEFAULT '',
    camera   INTEGER REFERENCES cameras,
    film     INTEGER REFERENCES films,
    kind     TEXT,
    num      ANY,
    text     TEXT,
    time     REAL,
    old_kind TEXT,
    old_num  ANY,
    old_text TEXT,
    made_at  TEXT NOT NULL,
    undone   INTEGER NOT NULL DEFAULT 0 CHECK (undone IN (0, 1)),
    CHECK ((subject IN ('tag', 'own')) = (camera IS NULL)),
    CHECK ((camera IS NULL) = (film IS NULL))
) STRICT;
INSERT INTO "corrections" VALUES(1,1,'snap','',1,1,NULL,125,NULL,4.17,NULL,120,NULL,'2026-09-12T01:02:03Z',0);
CREATE TABLE films (
    id          INTEGER PRIMARY KEY,
    fingerprint TEXT NOT NULL UNIQUE,
    frames      INTEGER NOT NULL CHECK (frames >= 0),
    seconds     REAL NOT NULL,
    rate_num    INTEGER NOT NULL CHECK (rate_num > 0),
    rate_den    INTEGER NOT NULL CHECK (rate_den > 0),
    variable    INTEGER NOT NULL CHECK (variable IN (0, 1))
) STRICT;
INSERT INTO "films" VALUES(1,'f1',300,10.0,30,1,0);
CREATE TABLE games (
    id     INTEGER PRIMARY KEY,
    name   TEXT NOT NULL,
    folded TEXT NOT NULL UNIQUE CHECK (folded <> ''),
    folder TEXT NOT NULL COLLATE NOCASE UNIQUE,
    date   TEXT CHECK (date GLOB '[0-9][0-9][0-9][0-9]-[0-1][0-9]-[0-3][0-9]'),
    home   TEXT,
    away   TEXT,
    sheet  TEXT
, sheet_offset REAL, sheet_drift REAL) STRICT;
INSERT INTO "games" VALUES(1,'Badgers','badgers','Badgers','2026-09-11',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE parts (
    film        INTEGER NOT NULL REFERENCES films,
    number      INTEGER NOT NULL CHECK (number >= 0),
    path        TEXT NOT NULL,
    bytes       INTEGER NOT NULL CHECK (bytes >= 0),
    fingerprint TEXT NOT NULL,
    first_frame INTEGER NOT NULL CHECK (first_frame >= 0),
    frames      INTEGER NOT NULL CHECK (frames >= 0),
    rate_num    INTEGER NOT NULL CHECK (rate_num > 0),
    rate_den    INTEGER NOT NULL CHECK (rate_den > 0),
    width       INTEGER NOT NULL,
    height      INTEGER NOT NULL,
    recorded    INTEGER,
    PRIMARY KEY (film, number)
) STRICT, WITHOUT ROWID;
INSERT INTO "parts" VALUES(1,0,'/films/side.mp4',1000,'p1',0,300,30,1,960,540,NULL);
CREATE TABLE pins (
             id        INTEGER PRIMARY KEY,
             game      INTEGER NOT NULL REFERENCES games,
             play      INTEGER REFERENCES plays,
             place     TEXT,
             hash      TEXT,
             old_place TEXT,
             old_label TEXT,
             made_at   TEXT NOT NULL,
             undone    INTEGER NOT NULL DEFAULT 0 CHECK (undone IN (0, 1)),
             CHECK (play IS NOT NULL OR place IS NOT NULL),
             CHECK ((place IS NULL) = (hash IS NULL))
         ) STRICT;
INSERT INTO "pins" VALUES(1,1,1,'tags.csv:2','h1',NULL,NULL,'2026-09-12T01:02:03Z',0);
CREATE TABLE plays (
    id         INTEGER PRIMARY KEY,
    game       INTEGER NOT NULL REFERENCES games,
    label      TEXT NOT NULL,
    position   INTEGER CHECK (position >= 1),
    live       INTEGER NOT NULL DEFAULT 1 CHECK (live IN (0, 1)),
    doubt      TEXT,
    row        INTEGER REFERENCES rows ON DELETE SET NULL,
    matched_by TEXT,
    row_doubt  TEXT,
    UNIQUE (game, label),
    CHECK ((live = 1) = (position IS NOT NULL))
) STRICT;
INSERT INTO "plays" VALUES(1,1,'1',1,1,NULL,1,'time',NULL);
CREATE TABLE row_tags (
    row   INTEGER NOT NULL REFERENCES rows ON DELETE CASCADE,
    own   INTEGER NOT NULL CHECK (own IN (0, 1)),
    field TEXT NOT NULL,
    kind  TEXT NOT NULL CHECK (kind IN ('number', 'distance', 'spot', 'clock', 'seconds', 'word', 'text')),
    num   ANY,
    text  TEXT,
    PRIMARY KEY (row, own, field)
) STRICT, WITHOUT ROWID;
INSERT INTO "row_tags" VALUES(1,0,'down','number',3,NULL);
CREATE TABLE rows (
    id     INTEGER PRIMARY KEY,
    game   INTEGER NOT NULL REFERENCES games,
    place  TEXT NOT NULL,
    number INTEGER NOT NULL,
    hash   TEXT NOT NULL,
    UNIQUE (game, place)
) STRICT;
INSERT INTO "rows" VALUES(1,1,'tags.csv:2',0,'h1');
CREATE TABLE shots (
    play               INTEGER NOT NULL REFERENCES plays,
    camera             INTEGER NOT NULL REFERENCES cameras,
    film               INTEGER NOT NULL REFERENCES films,
    film_start         INTEGER NOT NULL CHECK (film_start >= 0),
    film_end           INTEGER NOT NULL CHECK (film_end > film_start),
    set_frame          INTEGER,
    snap               INTEGER,
    snap_time          REAL,
    snap_confidence    REAL,
    whistle            INTEGER,
    whistle_time       REAL,
    whistle_confidence REAL,
    found_by           TEXT NOT NULL,
    doubt              TEXT,
    PRIMARY KEY (play, camera)
) STRICT, WITHOUT ROWID;
INSERT INTO "shots" VALUES(1,1,1,0,300,NULL,120,4.0,0.9,NULL,NULL,NULL,'picture',NULL);
CREATE TABLE tags (
    play   INTEGER NOT NULL REFERENCES plays,
    own    INTEGER NOT NULL CHECK (own IN (0, 1)),
    field  TEXT NOT NULL,
    kind   TEXT NOT NULL CHECK (kind IN ('number', 'distance', 'spot', 'clock', 'seconds', 'word', 'text')),
    num    ANY,
    text   TEXT,
    folded TEXT,
    PRIMARY KEY (play, own, field)
) STRICT, WITHOUT ROWID;
INSERT INTO "tags" VALUES(1,0,'down','number',3,NULL,NULL);
CREATE INDEX plays_by_position ON plays (game, position);
CREATE INDEX plays_by_row ON plays (row);
CREATE INDEX shots_by_camera ON shots (camera);
CREATE INDEX corrections_by_play ON corrections (play);
CREATE INDEX pins_by_game ON pins (game);
PRAGMA user_version = 3;
PRAGMA application_id = 1685026670;
PRAGMA foreign_keys = ON;
