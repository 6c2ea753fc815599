"""What a database's own error means for the one who wrote: told by its code, for its words are of some language."""

from __future__ import annotations

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from cubital.errors import RecordError, RecordUnavailable, UnreadyRecord

_SPACE = "free space on the disk"
_RIGHTS = "let this user write to it"
_REACH = "see that the server runs, can be reached and has this database and role"
_RESTORE = "keep the file as it is and restore the last backup elsewhere"

# By the beginning of an SQLSTATE (PostgreSQL documentation, appendix A) or of a result code of SQLite ("Result and
# Error Codes"); the first that fits holds.
_REMEDIES = {
    "53100": _SPACE,
    "53300": "the server has no connection left; give it more (max_connections), or try again",
    "25006": _RIGHTS,
    "42501": _RIGHTS,
    "28": "see that the role and its password are right",
    "3D000": "name a database that is there",
    "40": "other writers were first; try again",
    "55P03": "another writer held it all the while; try again",
    "57": _REACH,
    "08": _REACH,
    "58": "see that the server's disk is sound and has space",
    "XX001": "keep the database as it is and restore the last backup elsewhere",
    "XX002": "keep the database as it is and restore the last backup elsewhere",
    "SQLITE_FULL": _SPACE,
    "SQLITE_READONLY": "let this user write the file and its folder",
    "SQLITE_PERM": "let this user write the file and its folder",
    "SQLITE_BUSY": "another writer held it all the while; try again",
    "SQLITE_LOCKED": "another writer held it all the while; try again",
    "SQLITE_CANTOPEN": "see that the file and its folder can be written",
    "SQLITE_IOERR": "see that the disk is sound and has space",
    "SQLITE_CORRUPT": _RESTORE,
    "SQLITE_NOTADB": "name the file of a record",
}
_NO_TABLE = "42P01"
# SQLite has one code for every slip of a statement; its words are English in every locale, for it has no others.
_ANY_SLIP, _SQLITE_NO_TABLE = "SQLITE_ERROR", "no such table"


def fault_of(error: SQLAlchemyError, *, where: str, is_committing: bool) -> RecordError:
    """Our error for one of the database, with what to do and whether anything was recorded."""
    code = _code(error)
    if code == _NO_TABLE or (code == _ANY_SLIP and _words(error).startswith(_SQLITE_NO_TABLE)):
        return UnreadyRecord("found no tables of a record; run: cubital db upgrade", where=where)
    remedy = next((remedy for start, remedy in _REMEDIES.items() if code.startswith(start)), None)
    if remedy is None:
        remedy = _REACH if _is_lost(error) else "see that the database is sound"
    if is_committing:
        outcome = "it is not known whether this was recorded: send it again with the same keys"
    else:
        outcome = "nothing was recorded"
    said = f"found {_words(error)}; {outcome}; {remedy}"
    return RecordUnavailable(said, where=where, is_outcome_known=not is_committing)


def _code(error: SQLAlchemyError) -> str:
    """The SQLSTATE of PostgreSQL or the name of SQLite's result code; empty where there is none."""
    said = error.orig if isinstance(error, DBAPIError) else None
    return getattr(said, "sqlstate", None) or getattr(said, "sqlite_errorname", None) or ""


def _is_lost(error: SQLAlchemyError) -> bool:
    """Whether no server was reached, or it went away: the driver has no code for that."""
    if not isinstance(error, DBAPIError):
        return False
    is_of_server = hasattr(error.orig, "sqlstate")
    return error.connection_invalidated or (is_of_server and type(error.orig).__name__ == "OperationalError")


def _words(error: SQLAlchemyError) -> str:
    """The first line of what the driver said, without the statement and its values."""
    said = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    lines = str(said).strip().splitlines()
    return lines[0][:200] if lines else type(said).__name__
