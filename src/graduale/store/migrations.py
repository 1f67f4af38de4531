"""The book's tables, as numbered steps; each runs in one transaction and is never edited again.

Lengths are kept in whole micrometres, masses in milligrams, tones in millihertz, humidity in
thousandths of a percent, so that what was typed comes back as typed.
"""

from dataclasses import dataclass

APPLICATION_ID = 0x47524144  # 'GRAD': tells a workshop book from other files of this kind


@dataclass(frozen=True)
class Migration:
    """From version `to - 1` to `to`; statements run in order."""

    to: int
    name: str
    statements: tuple[str, ...]


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        1,
        "instruments, entries, contents",
        (
            """CREATE TABLE instrument (
                id TEXT NOT NULL PRIMARY KEY,
                name TEXT NOT NULL,
                made_us INTEGER NOT NULL
            ) STRICT""",
            """CREATE TABLE content (
                digest TEXT NOT NULL PRIMARY KEY,
                packed INTEGER NOT NULL,
                bytes BLOB NOT NULL
            ) STRICT""",
            """CREATE TABLE entry (
                seq INTEGER PRIMARY KEY AUTOINCREMENT,
                id TEXT NOT NULL UNIQUE,
                instrument TEXT NOT NULL REFERENCES instrument(id),
                at_us INTEGER NOT NULL,
                kind TEXT NOT NULL,
                stage TEXT NOT NULL,
                who TEXT NOT NULL,
                humidity_milli INTEGER,
                plate TEXT,
                x_um INTEGER, y_um INTEGER, t_um INTEGER,
                mass_mg INTEGER,
                tones_mhz TEXT,
                station TEXT,
                doubtful INTEGER,
                text TEXT,
                aim TEXT REFERENCES entry(id),
                content TEXT REFERENCES content(digest)
            ) STRICT""",
            "CREATE INDEX entry_by_instrument ON entry(instrument, seq)",
            """CREATE TRIGGER entry_stays BEFORE UPDATE ON entry
                BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END""",
            """CREATE TRIGGER entry_is_kept BEFORE DELETE ON entry
                BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END""",
            """CREATE TRIGGER content_stays BEFORE UPDATE ON content
                BEGIN SELECT RAISE(ABORT, 'contents are never changed'); END""",
            """CREATE TRIGGER content_is_kept BEFORE DELETE ON content
                BEGIN SELECT RAISE(ABORT, 'contents are never removed'); END""",
            """CREATE TRIGGER instrument_is_kept BEFORE DELETE ON instrument
                BEGIN SELECT RAISE(ABORT, 'instruments are never removed'); END""",
        ),
    ),
)
