"""What a database's own error means for the one who wrote."""

from __future__ import annotations

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from cubital.errors import RecordError, RecordUnavailable, UnreadyRecord

# Each with what to do; looked for in the words of SQLite and of PostgreSQL (both are stable, and tested).
_REMEDIES = {
    "database or disk is full": "free space on the disk",
    "no space left": "free space on the disk",
    "could not extend file": "free space on the disk",
    "readonly database": "let this user write the file and its folder",
    "read-only": "let this user write to it",
    "database is locked": "another writer held it all the while; try again",
    "unable to open database file": "see that the file and its folder can be written",
    "disk i/o error": "see that the disk is sound and has space",
    "malformed": "keep the file as it is and restore the last backup elsewhere",
    "not a database": "name the file of a record",
    "connection": "see that the server runs and can be reached",
}


def fault_of(error: SQLAlchemyError, *, where: str, is_committing: bool) -> RecordError:
    """Our error for one of the database, with what to do and whether anything was recorded."""
    said = _words(error)
    low = said.lower()
    if "no such table" in low or ("relation" in low and "does not exist" in low):
        return UnreadyRecord("found no tables of a record; run: cubital db upgrade", where=where)
    remedy = next((remedy for words, remedy in _REMEDIES.items() if words in low), "see that the database is sound")
    if is_committing:
        outcome = "it is not known whether this was recorded: send it again with the same keys"
    else:
        outcome = "nothing was recorded"
    return RecordUnavailable(f"found {said}; {outcome}; {remedy}", where=where, is_outcome_known=not is_committing)


def _words(error: SQLAlchemyError) -> str:
    """The first line of what the driver said, without the statement and its values."""
    said = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    lines = str(said).strip().splitlines()
    return lines[0][:200] if lines else type(said).__name__
