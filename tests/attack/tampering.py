"""What does the check of a record find? `python -m tests.attack.tampering`.

Each edit is made by hands that own the database, in a fresh record of each kind, with the guards taken off and put
back. It must be found by the check alone, or against heads noted elsewhere, or by neither, as
`docs/explanation/trust.md` says of it.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Literal, NamedTuple

from sqlalchemy import text

from cubital.app.draws import plan_order
from cubital.app.record_care import check_record, ends_of, rebuild_states
from cubital.app.wiring import (
    open_accounts,
    open_record,
    open_site,
    open_site_versions,
    open_store,
    open_takings,
    order_of_words,
)
from cubital.errors import BrokenChain
from cubital.model.record import NotedEnds
from cubital.store.engine import open_engine
from tests.attack.stations import databases
from tests.contract import hands
from tests.contract.events import Clock, collected, in_order, judged, received

OutcomeKey = Literal["check", "noted head", "not found"]
WORDS = "seven quiet otters"


class Edit(NamedTuple):
    """One edit: what it does, by whom it is found, and how it is made."""

    what: str
    expected: OutcomeKey
    make: Callable[[str], None]


def sql(what: str, expected: OutcomeKey, *statements: str) -> Edit:
    """An edit that these statements make."""
    return Edit(what, expected, lambda address: hands.run(address, *statements))


def fill(address: str) -> None:
    """A record of two tubes and seven entries, accounts with a trail, two versions of a site, a draw in hand."""
    record = open_record(address, now=Clock())
    record.append(*in_order(collected("s1"), received("s1"), judged("s1")))
    record.append(*in_order(collected("s2"), received("s2"), judged("s2", "refuse", "sodium")))
    accounts = open_accounts(address, now=Clock())
    accounts.set_up(accounts.setup_code, "ada", WORDS)
    visitor = accounts.visitor(accounts.sign_in("ada", WORDS, address=""))
    assert visitor is not None
    accounts.add(visitor, "ben", "collector", "eight loud badgers")
    versions = open_site_versions(address, demo=True, now=Clock())
    versions.save("ada", 0, {"tests.toml": {"glucose": {"bench": "ward"}}}, "to the ward")
    takings = open_takings(address, record=record, now=Clock())
    order = order_of_words({"tests": ["K"]}, where="attack")
    takings.begin(order, plan_order(order, open_site(demo=True)), by="ann", site_version=1)
    for one in (takings, versions, accounts, record):
        one.close()


def drop_guard(address: str) -> None:
    """Take one trigger off for good."""
    at = " ON event" if address.startswith("postgresql") else ""
    run_plainly(address, f"DROP TRIGGER event_is_not_changed{at}")


def hollow_guard(address: str) -> None:
    """Put a trigger of the same name in its place that refuses nothing."""
    if address.startswith("postgresql"):
        body = "$$BEGIN RETURN NEW; END $$"
        run_plainly(
            address,
            f"CREATE OR REPLACE FUNCTION refuse_change_of_event() RETURNS trigger LANGUAGE plpgsql AS {body}",
        )
    else:
        empty = "CREATE TRIGGER event_is_not_changed BEFORE UPDATE ON event WHEN 0 BEGIN SELECT 1; END"
        run_plainly(address, "DROP TRIGGER event_is_not_changed", empty)


def run_plainly(address: str, *statements: str) -> None:
    """Run these statements and put nothing back."""
    engine = open_engine(address)
    with engine.begin() as connection:
        for statement in statements:
            connection.execute(text(statement))
    engine.dispose()


def seal_anew(address: str) -> None:
    """Change an entry, seal it and all after it anew, change the note of the end, and compute the states anew."""
    hands.write_anew(address, 4, '"patient":"patient-of-s2"', '"patient":"patient-of-s1"')
    rebuild(address)


def cut_and_note(address: str) -> None:
    """Cut the last entry off, change the note of the end, and compute the states anew."""
    hands.run(
        address, "DELETE FROM event WHERE sequence = 6",
        "UPDATE chain_head SET sequence = 5, hash = (SELECT hash FROM event WHERE sequence = 5) WHERE chain = 'record'",
    )  # fmt: skip
    rebuild(address)


def rebuild(address: str) -> None:
    """Compute the states anew, as the owner of a changed history would."""
    store = open_store(address)
    rebuild_states(store)
    store.close()


def add_falsely(address: str) -> None:
    """Write what never happened, as whoever may write can."""
    record = open_record(address, now=Clock())
    record.append(*in_order(collected("s9"), received("s9")))
    record.close()


TRAIL_NOTE = (
    "UPDATE chain_head SET sequence = 2, hash = (SELECT hash FROM trail WHERE sequence = 2) WHERE chain = 'trail'"
)
EDITS = (
    sql("the body of an entry changed", "check", "UPDATE event SET body = replace(body, '1000', '900')"),
    sql("an entry taken out", "check", "DELETE FROM event WHERE sequence = 3"),
    sql(
        "an entry put in without its seal", "check",
        "INSERT INTO event SELECT 7, 7, recorded_at, behind_us, 'forged', specimen, 9, body, hash FROM event "
        "WHERE sequence = 6",
    ),
    sql(
        "two entries put in each other's place", "check", "UPDATE event SET sequence = 99 WHERE sequence = 2",
        "UPDATE event SET sequence = 2 WHERE sequence = 3", "UPDATE event SET sequence = 3 WHERE sequence = 99",
    ),
    sql("the moment of an entry changed", "check", "UPDATE event SET recorded_at = '2026-03-02T06:00:00.000000Z'"),
    sql("the version of an entry changed", "check", "UPDATE event SET version = 9 WHERE sequence = 6"),
    sql("the state of a tube changed", "check", "UPDATE specimen SET state = replace(state, '1000', '900')"),
    sql("an open tube made gone from the board", "check", "UPDATE specimen SET status = 'gone' WHERE id = 's1'"),
    sql("a tube looked up under another patient", "check", "UPDATE specimen SET patient = 'p' WHERE id = 's1'"),
    sql("the date of a draw changed", "check", "UPDATE specimen SET drawn_at = NULL WHERE id = 's1'"),
    sql("the state of a tube removed", "check", "DELETE FROM specimen WHERE id = 's1'"),
    Edit("a guard taken off", "check", drop_guard),
    Edit("a guard replaced by a hollow one", "check", hollow_guard),
    sql("a line of the trail changed", "check", "UPDATE trail SET account = 'ben' WHERE sequence = 2"),
    sql("the trail emptied", "check", "DELETE FROM trail"),
    sql("the trail and its note removed", "check", "DELETE FROM trail", "DELETE FROM chain_head WHERE chain = 'trail'"),
    sql("the last entry cut off", "check", "DELETE FROM event WHERE sequence = 6"),
    sql("a saved file of the site changed", "check", "UPDATE site_file SET body = 'x = 1'"),
    Edit("the last entry cut off, note and states changed too", "noted head", cut_and_note),
    Edit("an entry changed and all after it sealed anew", "noted head", seal_anew),
    sql(
        "the end of the trail cut off, its note changed too", "noted head", "DELETE FROM trail WHERE sequence > 2",
        TRAIL_NOTE,
    ),
    Edit("a false event written through the program", "not found", add_falsely),
    sql("an account given another role", "not found", "UPDATE account SET role = 'administrator' WHERE name = 'ben'"),
    sql("a draw in hand removed", "not found", "DELETE FROM taking"),
)  # fmt: skip


def outcome_of(address: str, ends: NotedEnds) -> OutcomeKey:
    """By whom the edit is found."""
    if is_found(address, None):
        return "check"
    return "noted head" if is_found(address, ends) else "not found"


def is_found(address: str, ends: NotedEnds | None) -> bool:
    """Whether the check finds something, against these ends or by itself."""
    store = open_store(address)
    try:
        if ends is None:
            return bool(check_record(store).faults)
        return bool(check_record(store, noted=[ends.record], noted_of_trail=[ends.trail]).faults)
    except BrokenChain:
        return True
    finally:
        store.close()


def try_edit(address: str, edit: Edit) -> OutcomeKey:
    """What comes of this edit in this filled record."""
    store = open_store(address)
    ends = ends_of(store)
    store.close()
    if is_found(address, ends):
        raise RuntimeError("the record was not sound before the edit")
    edit.make(address)
    return outcome_of(address, ends)


def main() -> int:
    failed = 0
    with databases(*(f"edit{number}" for number in range(len(EDITS)))) as addresses:
        for address in addresses.values():
            fill(address)
        for number, edit in enumerate(EDITS):
            found = {kind: try_edit(addresses[f"{kind} edit{number}"], edit) for kind in ("sqlite", "postgresql")}
            is_right = set(found.values()) == {edit.expected}
            failed += not is_right
            print(f"{'' if is_right else 'WRONG '}{edit.what}: {found}", flush=True)
    print(f"{len(EDITS)} edits in each of two kinds of database, {failed} not as documented")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
