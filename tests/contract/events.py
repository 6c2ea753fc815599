"""Events of a busy bench for the tests of the record, all at an invented morning."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from cubital.model.record import Step
from cubital.model.specimen import Aliquoted, AnyEvent, Collected, Discarded, Judged, Received, Reported, Verdict

MORNING = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


class Clock:
    """A clock that the test sets."""

    def __init__(self, at: datetime = MORNING) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at

    def pass_s(self, seconds: float) -> None:
        """Let this many seconds pass; fewer than none sets the clock back."""
        self.at += timedelta(seconds=seconds)


def said(specimen: str, what: str, **changed: Any) -> dict[str, Any]:
    """What every event says; its key is of the specimen, what happened and the station."""
    told = {"specimen": specimen, "at": MORNING, "by": "bench-1", "station": "reception", **changed}
    return {"key": f"{specimen}-{what}-{told['station']}", **told}


def collected(specimen: str, **changed: Any) -> Collected:
    """The collection of a heparin tube with two tests and 1,000 uL of plasma to come."""
    told = {
        "patient": f"patient-of-{specimen}", "kind": "heparin-gel", "additive": "lithium-heparin", "gel": True,
        "matrix": "plasma", "draw_ul": 3000, "usable_ul": 1000, "tests": ("potassium", "sodium"),
    }  # fmt: skip
    return Collected(**{**told, **said(specimen, "collected", **changed)})


def received(specimen: str, **changed: Any) -> Received:
    """The receipt of it."""
    return Received(**said(specimen, "received", **changed))


def judged(specimen: str, outcome: Any = "accept", *tests: str, **changed: Any) -> Judged:
    """One verdict for these tests, or for both of them."""
    verdicts = tuple(Verdict(test=test, outcome=outcome) for test in tests or ("potassium", "sodium"))
    return Judged(verdicts=verdicts, **said(specimen, f"judged-{outcome}", **changed))


def aliquoted(specimen: str, child: str, volume_ul: int = 200, **changed: Any) -> Aliquoted:
    """An aliquot of it for potassium."""
    told = {"child": child, "volume_ul": volume_ul, "tests": ("potassium",)}
    return Aliquoted(**{**told, **said(specimen, f"aliquoted-{child}", **changed)})


def reported(specimen: str, test: str = "potassium", volume_ul: int = 50, **changed: Any) -> Reported:
    """A result of one test of it."""
    return Reported(test=test, volume_ul=volume_ul, **said(specimen, f"reported-{test}", **changed))


def discarded(specimen: str, **changed: Any) -> Discarded:
    """The end of it."""
    return Discarded(why="all done", **said(specimen, "discarded", **changed))


def in_order(*events: AnyEvent, after: int = 0) -> list[Step]:
    """A step for each event of one specimen, the first of which `after` others."""
    return [Step(event=event, expected=number) for number, event in enumerate(events, start=after)]
