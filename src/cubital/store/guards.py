"""Whether the triggers that refuse a change of record, trail and versions of a site are there, as they were made."""

from __future__ import annotations

import re
from collections.abc import Iterator

from sqlalchemy import Connection, text

from cubital.store.migrations import accounts_0002, record_0001, site_versions_0003
from cubital.store.tables import tables

_REMEDY = "someone who owns the database changed it; find out who, and what they did before the next backup"
_POSTGRESQL = text(
    "SELECT t.tgname AS name, pg_get_triggerdef(t.oid, true) AS made, t.tgenabled::text AS enabled, p.prosrc AS body "
    "FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
    "WHERE NOT t.tgisinternal AND c.relname = ANY(:tables) AND c.relnamespace = current_schema()::regnamespace"
)
_RULES = text("SELECT rulename FROM pg_rules WHERE schemaname = current_schema() AND tablename = ANY(:tables)")


def find_faults(connection: Connection) -> Iterator[str]:
    """What is wrong with the guards of this database; nothing as a rule."""
    is_sqlite = connection.dialect.name == "sqlite"
    expected, found = (_of_sqlite if is_sqlite else _of_postgresql)(connection)
    for name in sorted(expected.keys() | found.keys()):
        if name not in found:
            yield f"the trigger {name} is not there; {_REMEDY}"
        elif name not in expected:
            yield f"the trigger {name} is none of this program's; {_REMEDY}"
        elif found[name] != expected[name]:
            yield f"the trigger {name} is not as it was made; {_REMEDY}"
    if not is_sqlite:
        yield from _find_bypasses(connection)


def _of_sqlite(connection: Connection) -> tuple[dict[str, str], dict[str, str]]:
    made = [*record_0001.SQLITE, *accounts_0002.SQLITE]
    for table in site_versions_0003.KEYS:
        made += site_versions_0003.guards_of_sqlite(table)
    rows = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    return {_name(one): _plain(one) for one in made}, {row.name: _plain(row.sql) for row in rows}


def _of_postgresql(connection: Connection) -> tuple[dict[str, str], dict[str, str]]:
    made = [*record_0001.POSTGRESQL, *accounts_0002.POSTGRESQL, site_versions_0003.FUNCTION]
    for table in site_versions_0003.KEYS:
        made += site_versions_0003.guards_of_postgresql(table)
    bodies = {_name(one): _plain(one.split("$$")[1]) for one in made if "$$" in one}
    expected = {}
    for one in made:
        if "$$" not in one:
            # PostgreSQL says the events of a trigger in an order of its own.
            said = _plain(one).replace("UPDATE OR DELETE", "DELETE OR UPDATE")
            expected[_name(one)] = f"{said} {bodies[said.split()[-1].removesuffix('()')]}"
    rows = connection.execute(_POSTGRESQL, {"tables": list(tables.tables)})
    return expected, {
        row.name: f"{_plain(row.made)} {_plain(row.body)}" if row.enabled in "OA" else "it is switched off"
        for row in rows
    }


def _find_bypasses(connection: Connection) -> Iterator[str]:
    role = connection.execute(text("SHOW session_replication_role")).scalar_one()
    if role == "replica":
        yield f"session_replication_role is replica, so that no trigger runs; {_REMEDY}"
    for name in connection.execute(_RULES, {"tables": list(tables.tables)}).scalars():
        yield f"the rule {name} is none of this program's; {_REMEDY}"


def _name(statement: str) -> str:
    return re.sub(r"\(.*", "", statement.split()[2])


def _plain(statement: str) -> str:
    return " ".join(re.sub(r"\b(ON|FUNCTION) \w+\.", r"\1 ", statement).split())
