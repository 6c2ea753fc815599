"""What state a specimen's events leave it in, and which event cannot follow."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from msgspec.structs import replace

from cubital import facts
from cubital.errors import ImpossibleEvent
from cubital.handling.keeping import CLOTS
from cubital.handling.receipt import is_of_identity
from cubital.model.specimen import (
    Added,
    Aliquoted,
    AnyEvent,
    Collected,
    Discarded,
    Judged,
    Poured,
    Received,
    Reported,
    Specimen,
    Spun,
    Stay,
    Stored,
)
from cubital.model.vocabulary import MatrixKey
from cubital.model.writable import LONGEST


def begin(event: AnyEvent) -> Specimen:
    """The specimen that this collection, or this pouring of an aliquot, makes.

    Raises `ImpossibleEvent` for any other event, a volume below zero, no test, an instant that
    is not in UTC, or a handle that cannot be written down.
    """
    refuse_malformed(event)
    if isinstance(event, Poured):
        return _begin_aliquot(event)
    if not isinstance(event, Collected):
        raise _impossible(event, "it comes first", "a collection first")
    if not event.tests:
        raise _impossible(event, "it carries no test", "at least one test")
    if not 0 <= event.usable_ul <= event.draw_ul * 2 or event.draw_ul <= 0:
        raise _impossible(
            event, f"{event.usable_ul} uL usable of a draw of {event.draw_ul} uL", "0 or more, of a draw above 0"
        )
    if event.additive not in facts.additives():
        raise _impossible(event, f"the additive {event.additive[:40]!r}", f"one of {', '.join(facts.additives())}")
    return Specimen(
        id=event.specimen,
        patient=event.patient,
        kind=event.kind,
        additive=event.additive,
        gel=event.gel,
        matrix=event.matrix,
        draw_ul=event.draw_ul,
        left_ul=event.usable_ul,
        tests=event.tests,
        collected_at=event.at,
        order=event.order,
        hematocrit=event.hematocrit,
        anticoagulated=event.anticoagulated,
        irreplaceable=event.irreplaceable,
        access=event.access,
    )


def _begin_aliquot(event: Poured) -> Specimen:
    aliquot = event.aliquot
    if aliquot.id != event.specimen or aliquot.parent is None or aliquot.left_ul < 0:
        raise _impossible(event, f"an aliquot {aliquot.id} of {aliquot.parent}", "an aliquot of this name, of a parent")
    return aliquot


def pour(parent: Specimen, event: Aliquoted) -> Poured:
    """The first event of the aliquot that `event` takes from `parent`, as it was before.

    The aliquot keeps the patient, the clock, the spins and the storage of its parent, and the
    verdicts of the tests that go with it. What is poured off spun blood is plasma or serum, off its
    cells from then on, where a gel had not parted them before.
    """
    matrix = parent.matrix
    # Written down late, it may have been poured before a spin or a move that the record knows already.
    spins = tuple(spin for spin in parent.spins if spin.at <= event.at)
    separated_at = parent.separated_at
    if separated_at is None or separated_at > event.at:
        separated_at = event.at if spins else None
    if spins and separated_at == event.at and not parent.is_separated:
        matrix = _poured_matrix(parent) if matrix == "whole-blood" else matrix
    aliquot = replace(
        parent, id=event.child, parent=parent.id, children=(), poured=(), matrix=matrix, separated_at=separated_at,
        left_ul=event.volume_ul, tests=event.tests, reported=(), events=1, spins=spins,
        stays=tuple(stay for stay in parent.stays if stay.since <= event.at),
        verdicts={test: verdict for test, verdict in parent.verdicts.items() if test in event.tests},
    )  # fmt: skip
    return Poured(
        key=f"{event.key}/{event.child}",
        specimen=event.child,
        at=event.at,
        by=event.by,
        station=event.station,
        aliquot=aliquot,
    )


def _poured_matrix(parent: Specimen) -> MatrixKey:
    additive = facts.additives().get(parent.additive)
    return "serum" if additive is not None and additive.family in CLOTS else "plasma"


def follow(specimen: Specimen, event: AnyEvent) -> Specimen:
    """The specimen after this event; `ImpossibleEvent` where it cannot have happened.

    Nothing follows a discard or comes before the collection, no volume goes below zero, a test is
    reported only while its verdict lets it be, and never twice from one specimen. A specimen that was
    refused for whose it may be is never accepted, added to or reported from.
    """
    refuse_malformed(event)
    if event.specimen != specimen.id:
        raise _impossible(event, f"it names {event.specimen}", f"an event of {specimen.id}")
    if specimen.discarded_at is not None:
        raise _impossible(event, f"it was discarded at {specimen.discarded_at:%Y-%m-%d %H:%M} UTC", "a new specimen")
    if event.at < specimen.collected_at:
        raise _impossible(event, f"{event.at:%Y-%m-%d %H:%M} UTC", "an instant after its collection")
    _refuse_of_another(event, specimen)
    changed: Specimen = _FOLLOWS[type(event)](specimen, event)
    return replace(changed, events=specimen.events + 1)


def refuse_malformed(event: AnyEvent) -> None:
    """Raise `ImpossibleEvent` where the instant is not in UTC, or a handle cannot be written down plainly."""
    instant: datetime = event.at
    if instant.utcoffset() != timedelta(0):
        raise _impossible(event, f"the instant {instant.isoformat()}", "an aware instant in UTC")
    handles = [event.specimen, event.by, event.station]
    if not isinstance(event, Poured):
        handles.append(event.key)
    if isinstance(event, Collected):
        handles += [event.patient, *event.tests]
    if isinstance(event, Aliquoted):
        handles.append(event.child)
    for handle in handles:
        if not (0 < len(handle) <= LONGEST and handle.isprintable() and handle.strip() == handle):
            kind = type(event).__name__.lower()
            raise ImpossibleEvent(
                f"found a handle of {len(handle)} characters, expected 1 to {LONGEST} printable characters without "
                "space around them",
                where=f"an event that it was {kind}",
            )


def refuse_by_parents(event: AnyEvent, parents: Iterable[Specimen]) -> None:
    """Raise `ImpossibleEvent` where a tube that this aliquot came from was refused for the test, or for its identity.

    A fault found in a tube after it was poured off, such as a wrong label, is a fault of all that
    was poured: no test is accepted or reported from an aliquot while its parent refuses it.
    """
    for parent in parents:
        _refuse_of_another(event, parent)
        for test in _used(event):
            verdict = parent.verdicts.get(test)
            if verdict is not None and verdict.outcome == "refuse":
                raise _impossible(
                    event, f"{test} refused of {parent.id}, which it came from", "a tube that is not refused"
                )


def _used(event: AnyEvent) -> tuple[str, ...]:
    """The tests that this event accepts, adds or reports."""
    if isinstance(event, Reported):
        return (event.test,)
    if isinstance(event, Judged):
        return tuple(verdict.test for verdict in event.verdicts if verdict.outcome != "refuse")
    return event.tests if isinstance(event, Added) else ()


def _refuse_of_another(event: AnyEvent, specimen: Specimen) -> None:
    """Raise `ImpossibleEvent` where this event would use a specimen that may be of another patient."""
    if _used(event) and any(is_of_identity(verdict) for verdict in specimen.verdicts.values()):
        raise _impossible(event, f"{specimen.id} refused for its identity, which stands", "a new draw")


def state_of(events: Iterable[AnyEvent]) -> Specimen:
    """The specimen that a whole list of its events leaves; the first is its collection."""
    specimen: Specimen | None = None
    for event in events:
        specimen = begin(event) if specimen is None else follow(specimen, event)
    if specimen is None:
        raise ImpossibleEvent("no event: found an empty list, expected its collection first", where="specimen")
    return specimen


def _receive(specimen: Specimen, event: Received) -> Specimen:
    if specimen.received_at is not None:
        raise _impossible(event, "it was received before", "one receipt")
    if event.usable_ul is None:
        return replace(specimen, received_at=event.at)
    if not 0 <= event.usable_ul <= specimen.draw_ul * 2:
        raise _impossible(event, f"{event.usable_ul} uL usable", f"0 to {specimen.draw_ul * 2} uL")
    return replace(specimen, received_at=event.at, left_ul=event.usable_ul)


def _judge(specimen: Specimen, event: Judged) -> Specimen:
    if specimen.received_at is None and specimen.parent is None:
        raise _impossible(event, "it was not received", "a receipt before a verdict")
    for verdict in event.verdicts:
        if verdict.test not in specimen.tests:
            raise _impossible(event, f"a verdict on {verdict.test}", f"one of {', '.join(specimen.tests)}")
        if verdict.test in specimen.reported and verdict.outcome == "refuse":
            raise _impossible(event, f"{verdict.test} was reported", "a corrected report, which is another record")
    # A refusal for identity stands: another fault found later must not take its place, and with it its force.
    standing = {test: verdict for test, verdict in specimen.verdicts.items() if is_of_identity(verdict)}
    return replace(
        specimen,
        verdicts={**specimen.verdicts, **{one.test: one for one in event.verdicts}, **standing},
        indices={**specimen.indices, **event.indices},
        fill_percent=specimen.fill_percent if event.fill_percent is None else event.fill_percent,
    )


def _spin(specimen: Specimen, event: Spun) -> Specimen:
    if specimen.holds_gel and specimen.spins:
        raise _impossible(event, f"a gel tube spun before ({facts.respin().why})", "its plasma or serum in a new tube")
    separated_at = event.at if specimen.holds_gel and specimen.separated_at is None else specimen.separated_at
    return replace(specimen, spins=(*specimen.spins, event), separated_at=separated_at)


def _aliquot(specimen: Specimen, event: Aliquoted) -> Specimen:
    _take(specimen, event, event.volume_ul)
    if event.child == specimen.id or event.child in specimen.children:
        raise _impossible(event, f"the aliquot is named {event.child}", "a new name")
    if stray := [test for test in event.tests if test not in specimen.tests]:
        raise _impossible(event, f"an aliquot for {', '.join(stray)}", f"tests of {', '.join(specimen.tests)}")
    return replace(
        specimen,
        left_ul=specimen.left_ul - event.volume_ul,
        children=(*specimen.children, event.child),
        poured=(*specimen.poured, *(test for test in event.tests if test not in specimen.poured)),
    )


def _store(specimen: Specimen, event: Stored) -> Specimen:
    if specimen.stays and event.at < specimen.stays[-1].since:
        raise _impossible(event, "it is older than the last move", "moves in the order they happened")
    return replace(specimen, stays=(*specimen.stays, Stay(storage=event.storage, since=event.at)))


def _report(specimen: Specimen, event: Reported) -> Specimen:
    _take(specimen, event, event.volume_ul)
    if event.test not in specimen.tests:
        raise _impossible(event, f"{event.test} reported", f"one of {', '.join(specimen.tests)}")
    if event.test in specimen.reported:
        raise _impossible(event, f"{event.test} was reported before", "one report a test")
    verdict = specimen.verdicts.get(event.test)
    if verdict is None or verdict.outcome == "refuse":
        found = "no verdict" if verdict is None else "the verdict refuse"
        raise _impossible(event, f"{event.test} has {found}", "a verdict that accepts it")
    left_ul = specimen.left_ul - event.volume_ul
    return replace(specimen, left_ul=left_ul, reported=(*specimen.reported, event.test))


def _add(specimen: Specimen, event: Added) -> Specimen:
    if doubled := [test for test in event.tests if test in specimen.tests]:
        raise _impossible(event, f"{', '.join(doubled)} already asked of it", "tests that it does not carry")
    if not event.tests:
        raise _impossible(event, "no test to add", "at least one")
    return replace(specimen, tests=specimen.tests + event.tests)


def _discard(specimen: Specimen, event: Discarded) -> Specimen:
    return replace(specimen, discarded_at=event.at, left_ul=0)


def _take(specimen: Specimen, event: AnyEvent, volume_ul: int) -> None:
    if not 0 <= volume_ul <= specimen.left_ul:
        raise _impossible(event, f"{volume_ul} uL taken", f"at most the {specimen.left_ul} uL left")


def _again(_: Specimen, event: Collected | Poured) -> Specimen:
    raise _impossible(event, "it was collected before", "one collection a specimen")


_FOLLOWS: dict[type, Callable[..., Specimen]] = {
    Collected: _again,
    Poured: _again,
    Received: _receive,
    Judged: _judge,
    Spun: _spin,
    Aliquoted: _aliquot,
    Stored: _store,
    Reported: _report,
    Added: _add,
    Discarded: _discard,
}


def _impossible(event: AnyEvent, found: str, expected: str) -> ImpossibleEvent:
    kind = type(event).__name__.lower()
    return ImpossibleEvent(f"cannot be {kind}: found {found}, expected {expected}", where=f"specimen {event.specimen}")
