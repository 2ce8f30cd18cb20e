-- The library's schema, version 1.
--
-- Invariants. The code keeps them; a checker may test them.
--
--  1. A label is given to a play once and never again in its game: rows of `plays` are never deleted, and no label is
--     ever changed.
--  2. A row of `clips` exists only while its file lies whole under its final name: the file comes before the row, and
--     the row goes before its file is replaced or removed.
--  3. Every path in here is relative to the library's folder and uses `/`, but for the source films and the sheet
--     (`parts.path`, `games.sheet`), which are kept as they were given and may be gone.
--  4. `plays.position` counts 1, 2, 3 ... over the live plays of a game, without gaps.
--  5. `tags` of a play are the values of its row (`row_tags` of `plays.row`) with its standing corrections laid over
--     them, and nothing else: they can always be made again.
--  6. `corrections` are never deleted and never changed but for `undone`.
--  7. `folded` is football's `fold` of the text beside it, so that case, hyphens and spacing do not matter to a phrase.
--     It is NULL where that text is blank: a blank cell tells nothing.
--  8. Frames are counted from 0 over all parts of the film named in the same row. Spans are half-open.
--  9. A play and a camera have one shot and one clip at most.
--
-- Costs and what is not here. A question reads the tags of every live play by primary key: two lookups in a B-tree for
-- each condition and play, which is milliseconds for a game and tens of milliseconds for a season. Measurements
-- (series) are files, not rows: they are large, are read whole, and can be made again. Pictures and sound never enter
-- the database.

-- One game.
CREATE TABLE games (
    id     INTEGER PRIMARY KEY,
    -- As first typed.
    name   TEXT NOT NULL,
    -- The name's folded form: "Badgers" and "badgers" are one game.
    folded TEXT NOT NULL UNIQUE CHECK (folded <> ''),
    -- Name of the game's folder under clips/. Two that differ only in case would be one on some file systems.
    folder TEXT NOT NULL COLLATE NOCASE UNIQUE,
    -- Day, 2026-09-11; NULL if not told.
    date   TEXT CHECK (date GLOB '[0-9][0-9][0-9][0-9]-[0-1][0-9]-[0-3][0-9]'),
    -- Teams; NULL if not told.
    home   TEXT,
    away   TEXT,
    -- The tag sheet its rows came from, as given; NULL while there is none.
    sheet  TEXT
) STRICT;

-- A recording, known by its content. Two cameras of a game may name one film (both angles woven in one file).
CREATE TABLE films (
    id          INTEGER PRIMARY KEY,
    -- Film::fingerprint.
    fingerprint TEXT NOT NULL UNIQUE,
    -- Frames of all parts.
    frames      INTEGER NOT NULL CHECK (frames >= 0),
    -- Length in seconds, parts laid end to end.
    seconds     REAL NOT NULL,
    -- Average frames a second as a fraction.
    rate_num    INTEGER NOT NULL CHECK (rate_num > 0),
    rate_den    INTEGER NOT NULL CHECK (rate_den > 0),
    -- 1 where the time between frames varies.
    variable    INTEGER NOT NULL CHECK (variable IN (0, 1))
) STRICT;

-- The files of a film.
CREATE TABLE parts (
    film        INTEGER NOT NULL REFERENCES films,
    -- Place in the film, from 0.
    number      INTEGER NOT NULL CHECK (number >= 0),
    -- Where the file lay when it was last seen, absolute.
    path        TEXT NOT NULL,
    bytes       INTEGER NOT NULL CHECK (bytes >= 0),
    -- Part::fingerprint.
    fingerprint TEXT NOT NULL,
    -- The part's first frame, counted over the film.
    first_frame INTEGER NOT NULL CHECK (first_frame >= 0),
    frames      INTEGER NOT NULL CHECK (frames >= 0),
    rate_num    INTEGER NOT NULL CHECK (rate_num > 0),
    rate_den    INTEGER NOT NULL CHECK (rate_den > 0),
    -- Picture size as shown, square pixels.
    width       INTEGER NOT NULL,
    height      INTEGER NOT NULL,
    -- When the recording began, seconds since 1970 UTC, if the file says so.
    recorded    INTEGER,
    PRIMARY KEY (film, number)
) STRICT, WITHOUT ROWID;

-- A camera of a game.
CREATE TABLE cameras (
    id     INTEGER PRIMARY KEY,
    game   INTEGER NOT NULL REFERENCES games,
    -- As first typed: "sideline", "end-zone", "drone".
    name   TEXT NOT NULL,
    folded TEXT NOT NULL CHECK (folded <> ''),
    -- Name of its folder under the game's.
    folder TEXT NOT NULL COLLATE NOCASE,
    -- From where it looks.
    angle  TEXT NOT NULL CHECK (angle IN ('sideline', 'end-zone', 'unknown')),
    -- What it recorded.
    film   INTEGER NOT NULL REFERENCES films,
    UNIQUE (game, folded),
    UNIQUE (game, folder)
) STRICT;

-- A record of the tag sheet.
CREATE TABLE rows (
    id     INTEGER PRIMARY KEY,
    game   INTEGER NOT NULL REFERENCES games,
    -- Its address, tags.csv:12.
    place  TEXT NOT NULL,
    -- Place in the sheet, from 0.
    number INTEGER NOT NULL,
    -- BLAKE3 of its tags, hex: tells whether a record changed under its address.
    hash   TEXT NOT NULL,
    UNIQUE (game, place)
) STRICT;

-- The values of a record, as read.
CREATE TABLE row_tags (
    row   INTEGER NOT NULL REFERENCES rows ON DELETE CASCADE,
    -- 0: one of the trade's fields; 1: a column of the staff's own.
    own   INTEGER NOT NULL CHECK (own IN (0, 1)),
    -- Field::key, or the column's name.
    field TEXT NOT NULL,
    -- Which of the value types it is; see `num` and `text`.
    kind  TEXT NOT NULL CHECK (kind IN ('number', 'distance', 'spot', 'clock', 'seconds', 'word', 'text')),
    -- number: itself; distance: yards, NULL for goal; spot: yards from the offense's own goal line; clock: seconds left
    -- in the quarter; seconds: itself. NULL for words and texts.
    num   ANY,
    -- word, text: itself. NULL for the rest.
    text  TEXT,
    PRIMARY KEY (row, own, field)
) STRICT, WITHOUT ROWID;

-- A play of a game.
CREATE TABLE plays (
    id         INTEGER PRIMARY KEY,
    game       INTEGER NOT NULL REFERENCES games,
    -- 17, 17a. Digits, then small letters.
    label      TEXT NOT NULL,
    -- Place in the film's order, from 1; NULL if not live.
    position   INTEGER CHECK (position >= 1),
    -- 0 once a later look no longer found it: it is in no answer, but keeps its label and is recognized again.
    live       INTEGER NOT NULL DEFAULT 1 CHECK (live IN (0, 1)),
    -- Why a person should look; NULL if sure.
    doubt      TEXT,
    -- The record it was joined to; NULL if none.
    row        INTEGER REFERENCES rows ON DELETE SET NULL,
    -- How: time, order, by hand.
    matched_by TEXT,
    -- Why the joined row is in doubt; NULL if sure or unmatched.
    row_doubt  TEXT,
    UNIQUE (game, label),
    CHECK ((live = 1) = (position IS NOT NULL))
) STRICT;

CREATE INDEX plays_by_position ON plays (game, position);
CREATE INDEX plays_by_row ON plays (row);

-- Where a camera shows a play. Kept for a play that is no longer live, so that it is recognized again.
CREATE TABLE shots (
    play               INTEGER NOT NULL REFERENCES plays,
    camera             INTEGER NOT NULL REFERENCES cameras,
    -- The film whose frames these are; another than the camera's if that was replaced and not looked at since.
    film               INTEGER NOT NULL REFERENCES films,
    film_start         INTEGER NOT NULL CHECK (film_start >= 0),
    film_end           INTEGER NOT NULL CHECK (film_end > film_start),
    -- The offense stands; NULL if not found, as the rest.
    set_frame          INTEGER,
    -- The ball moves: frame, film time in seconds, how sure (0 to 1).
    snap               INTEGER,
    snap_time          REAL,
    snap_confidence    REAL,
    -- The play is dead.
    whistle            INTEGER,
    whistle_time       REAL,
    whistle_confidence REAL,
    -- picture, picture+sound, none.
    found_by           TEXT NOT NULL,
    -- Why a person should look; NULL if sure.
    doubt              TEXT,
    PRIMARY KEY (play, camera)
) STRICT, WITHOUT ROWID;

CREATE INDEX shots_by_camera ON shots (camera);

-- What is known of a play (invariant 5).
CREATE TABLE tags (
    play   INTEGER NOT NULL REFERENCES plays,
    -- These five as in row_tags.
    own    INTEGER NOT NULL CHECK (own IN (0, 1)),
    field  TEXT NOT NULL,
    kind   TEXT NOT NULL CHECK (kind IN ('number', 'distance', 'spot', 'clock', 'seconds', 'word', 'text')),
    num    ANY,
    text   TEXT,
    -- Folded form of `text` (invariant 7).
    folded TEXT,
    PRIMARY KEY (play, own, field)
) STRICT, WITHOUT ROWID;

-- A clip on disk (invariant 2).
CREATE TABLE clips (
    play        INTEGER NOT NULL REFERENCES plays,
    camera      INTEGER NOT NULL REFERENCES cameras,
    -- clips/GAME/ANGLE/017.mp4
    path        TEXT NOT NULL UNIQUE,
    -- The plan it was cut by: film, span, version of the cutter. The clip's frame 0 is film_start.
    film        INTEGER NOT NULL REFERENCES films,
    film_start  INTEGER NOT NULL CHECK (film_start >= 0),
    film_end    INTEGER NOT NULL CHECK (film_end > film_start),
    version     INTEGER NOT NULL,
    -- What it came to: frames and average rate.
    frames      INTEGER NOT NULL CHECK (frames > 0),
    rate_num    INTEGER NOT NULL CHECK (rate_num > 0),
    rate_den    INTEGER NOT NULL CHECK (rate_den > 0),
    bytes       INTEGER NOT NULL CHECK (bytes > 0),
    -- BLAKE3 of the whole file, hex.
    hash        TEXT NOT NULL,
    PRIMARY KEY (play, camera)
) STRICT, WITHOUT ROWID;

-- What a person corrected. The newest that is not undone stands, over whatever a later look or sheet says.
CREATE TABLE corrections (
    id       INTEGER PRIMARY KEY,
    play     INTEGER NOT NULL REFERENCES plays,
    -- What is corrected: a tag of the trade, a tag of the staff's own, or a moment of a shot.
    subject  TEXT NOT NULL CHECK (subject IN ('tag', 'own', 'set', 'snap', 'whistle')),
    -- tag, own: the field's key or column's name; '' for moments.
    name     TEXT NOT NULL DEFAULT '',
    -- Moments: whose shot, and in which film's frames; not applied to another film. NULL for tags.
    camera   INTEGER REFERENCES cameras,
    film     INTEGER REFERENCES films,
    -- The new value. Tags: as in row_tags, kind NULL makes the tag unknown. Moments: num is the frame, NULL for none.
    kind     TEXT,
    num      ANY,
    text     TEXT,
    -- Moments: film time of the frame in seconds.
    time     REAL,
    -- The value before, in the same way.
    old_kind TEXT,
    old_num  ANY,
    old_text TEXT,
    -- When, 2026-09-12T01:02:03Z.
    made_at  TEXT NOT NULL,
    undone   INTEGER NOT NULL DEFAULT 0 CHECK (undone IN (0, 1)),
    CHECK ((subject IN ('tag', 'own')) = (camera IS NULL)),
    CHECK ((camera IS NULL) = (film IS NULL))
) STRICT;

CREATE INDEX corrections_by_play ON corrections (play);
