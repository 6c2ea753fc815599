"""Specimens of another system in JSON: what each is, what happened to it and when, by local time.

    {"format": "cubital.specimens/1", "specimens": [{"id": "T1", "patient": "P1", "kind": "heparin-gel",
     "matrix": "plasma", "tests": ["K", "Na"], "collected_at": "2026-03-02 07:00", "draw_ml": 3, "usable_ml": 1.2}]}

Each becomes the events that the record would hold, so that nothing gets in which cannot have happened.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple

from msgspec.structs import replace

from cubital.errors import OrderError
from cubital.exchange.form import Form, show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.local_time import read_local
from cubital.exchange.table import is_text
from cubital.facts.keeping import INDICES, IndexKey, checks
from cubital.handling.record import state_of
from cubital.model import Site
from cubital.model.plan import Reason
from cubital.model.specimen import AnyEvent, Collected, Discarded, Received, Specimen, Spun, Stored, Verdict
from cubital.model.vocabulary import ACCESSES, MATRICES
from cubital.planning.directory import Directory

FORMAT = "cubital.specimens/1"
MOST_SPECIMENS, MOST_TESTS, MOST_STAYS = 20_000, 250, 50
MOST_ML = 100
STORAGES = ("ambient", "cold", "frozen", "warm", "ice")
OUTCOMES = ("accept", "comment", "refuse")
FILE_KEYS = ("format", "specimens")
KEYS = (
    "id", "patient", "kind", "matrix", "tests", "collected_at", "draw_ml", "usable_ml", "left_ml", "order",
    "hematocrit", "anticoagulated", "irreplaceable", "access", "received_at", "spun_at", "stored", "verdicts",
    "reported", "discarded_at", "parent", "poured_at", "indices", "fill_percent",
)  # fmt: skip


class ReadSpecimen(NamedTuple):
    """One specimen of the file; `poured_at` is when an aliquot was taken off its tube."""

    specimen: Specimen
    poured_at: datetime | None
    indices: Mapping[IndexKey, Decimal]


class SpecimensFile(NamedTuple):
    """The specimens of a file, and the paths of fields that nothing reads."""

    specimens: tuple[ReadSpecimen, ...]
    unread: tuple[str, ...]


def read_specimens(data: bytes | str, site: Site, *, where: str) -> SpecimensFile:
    """The specimens in these bytes, their tests and kinds as this site names them, their times of its zone.

    Raises `ExchangeError` where the bytes are not JSON, `OrderError` with the path where a specimen is not
    sound, `LocalTimeError` where a time is none, `ImpossibleEvent` where its story cannot have happened.
    """
    value = decode_json(data, where=where, most_bytes=50_000_000)
    refuse_repeated_keys(data, where=where)
    form = Form(value, where=where)
    unread = list(form.take_unknown(FILE_KEYS))
    if form.content.get("format") != FORMAT:
        form.refuse("format", found=show_json(form.content.get("format")), expected=f'"{FORMAT}"', remedy="write it")
    directory = Directory(site)
    found: dict[str, ReadSpecimen] = {}
    for place, item in enumerate(form.items("specimens", most=MOST_SPECIMENS, what="specimens")):
        row = Form(item, where=where, path=f"specimens[{place}]")
        unread += row.take_unknown(KEYS)
        read = _Row(row, site, directory).read()
        if read.specimen.id in found:
            row.refuse("id", found="a name that another one has", expected="one each", remedy="correct one of them")
        found[read.specimen.id] = read
    _refuse_circles(found, where=where)
    return SpecimensFile(tuple(found.values()), tuple(unread))


def _refuse_circles(found: Mapping[str, ReadSpecimen], *, where: str) -> None:
    """Raise `OrderError` where an aliquot comes, by its parents, of itself."""
    for id in found:
        seen = {id}
        parent = found[id].specimen.parent
        while parent is not None and parent in found and parent not in seen:
            seen.add(parent)
            parent = found[parent].specimen.parent
        if parent in seen:
            raise OrderError(
                f"found {id[:60]!r} among its own parents; expected the tube it came from; correct parent", where=where
            )


class _Row:
    """One specimen while it is read."""

    def __init__(self, row: Form, site: Site, directory: Directory) -> None:
        self.row = row
        self.site = site
        self.directory = directory

    def read(self) -> ReadSpecimen:
        row = self.row
        id = self._needed("id")
        collected = self._collected(id)
        parent = row.text("parent")
        state = state_of([collected, *self._events(id)])
        left_ul = self._ml("left_ml")
        if left_ul is not None and left_ul > collected.usable_ul:
            row.refuse("left_ml", found="more than was usable", expected="no more", remedy="correct one of them")
        poured_at = self._instant("poured_at")
        if poured_at is not None and poured_at < collected.at:
            row.refuse("poured_at", found="a time before the draw", expected="one after it", remedy="correct one")
        reported = self._tests("reported")
        state = replace(
            state, parent=parent, reported=reported, verdicts=self._verdicts(),
            fill_percent=row.whole("fill_percent", least=0, most=200, unit="percent"),
            left_ul=0 if state.discarded_at else state.left_ul if left_ul is None else left_ul,
        )  # fmt: skip
        if strays := [test for test in (*reported, *state.verdicts) if test not in state.tests]:
            row.refuse(
                "tests", found=f"no {strays[0]}, which has a verdict or a report", expected="it", remedy="add it"
            )
        return ReadSpecimen(state, poured_at, self._indices())

    def _collected(self, id: str) -> Collected:
        row = self.row
        kind = self.site.kinds.get(self._needed("kind"))
        if kind is None:
            found = show_json(row.content["kind"])
            row.refuse("kind", found=found, expected="a tube kind of this site", remedy="correct it")
        matrix = row.choice("matrix", MATRICES)
        if matrix is None:
            row.refuse("matrix", found="nothing", expected=f"one of {', '.join(MATRICES)}", remedy="write it")
        at = self._instant("collected_at")
        draw_ul, usable_ul = self._ml("draw_ml"), self._ml("usable_ml")
        if at is None or draw_ul is None or usable_ul is None:
            missing = "collected_at" if at is None else "draw_ml" if draw_ul is None else "usable_ml"
            row.refuse(missing, found="nothing", expected="a value", remedy="write it")
        hematocrit = row.number("hematocrit", expected="a share from 0.05 to 0.85")
        if hematocrit is not None and not Fraction(5, 100) <= hematocrit <= Fraction(85, 100):
            found = show_json(row.content["hematocrit"])
            row.refuse("hematocrit", found=found, expected="a share from 0.05 to 0.85", remedy="write 0.45")
        return Collected(
            key=f"{id}/collected", specimen=id, at=at, by="file", station="file", patient=self._needed("patient"),
            kind=kind.key, additive=kind.additive, gel=kind.gel, matrix=matrix,  # type: ignore[arg-type]
            draw_ul=draw_ul, usable_ul=usable_ul, tests=self._tests("tests"), order=row.text("order"),
            hematocrit=hematocrit, anticoagulated=row.flag("anticoagulated") or False,
            irreplaceable=row.text("irreplaceable"), access=row.choice("access", ACCESSES),  # type: ignore[arg-type]
        )  # fmt: skip

    def _events(self, id: str) -> list[AnyEvent]:
        """What happened after the draw, in the order of time."""
        found: list[AnyEvent] = []

        def told(what: str, at: datetime) -> dict[str, Any]:
            return {"key": f"{id}/{what}/{len(found)}", "specimen": id, "at": at, "by": "file", "station": "file"}

        if (at := self._instant("received_at")) is not None:
            found.append(Received(**told("received", at)))
        if (at := self._instant("spun_at")) is not None:
            # Force, time and temperature are the centrifuge's; nothing here follows from them.
            found.append(Spun(rcf_g=0, spin_s=0, temperature_c=0, **told("spun", at)))
        for place, item in enumerate(self.row.items("stored", most=MOST_STAYS, what="stays")):
            stay = Form(item, where=self.row.where, path=self.row.place(f"stored[{place}]"))
            stay.take_unknown(("storage", "at"))
            storage = stay.choice("storage", STORAGES)
            when = stay.text("at")
            if storage is None or when is None:
                stay.refuse("", found="half a stay", expected="storage and at", remedy="write both")
            at = read_local(when, self.site.time_zone, where=f"{stay.where} {stay.place('at')}")
            found.append(Stored(storage=storage, **told("stored", at)))  # type: ignore[arg-type]
        if (at := self._instant("discarded_at")) is not None:
            found.append(Discarded(why="by the file", **told("discarded", at)))
        return sorted(found, key=lambda event: (event.at, isinstance(event, Discarded)))

    def _verdicts(self) -> dict[str, Verdict]:
        """What was decided before, each with the check it failed, so that a fault of the whole tube is known."""
        found = {}
        for place, item in enumerate(self.row.items("verdicts", most=MOST_TESTS, what="verdicts")):
            form = Form(item, where=self.row.where, path=self.row.place(f"verdicts[{place}]"))
            form.take_unknown(("test", "outcome", "check", "wording"))
            word, outcome = form.text("test"), form.choice("outcome", OUTCOMES)
            if word is None or outcome is None:
                form.refuse("", found="half a verdict", expected="test and outcome", remedy="write both")
            test = self._test(word, form.place("test"))
            check = form.choice("check", tuple(checks()))
            known = None if check is None else checks()[check]
            reasons = () if known is None else (
                Reason(about=known.key, text=known.why, basis=known.marks[0].basis, sources=(known.marks[0].source,)),
            )  # fmt: skip
            wording = form.text("wording") or ""
            found[test] = Verdict(test=test, outcome=outcome, wording=wording, reasons=reasons)  # type: ignore[arg-type]
        return found

    def _indices(self) -> dict[IndexKey, Decimal]:
        form = self.row.inner("indices")
        if form is None:
            return {}
        form.take_unknown(INDICES)
        numbers = {index: form.number(index, expected="a number of 0 or more") for index in INDICES}
        for index, value in numbers.items():
            if value is not None and value < 0:
                form.refuse(index, found="less than 0", expected="a number of 0 or more", remedy="correct it")
        return {index: Decimal(str(form.content[index])) for index, value in numbers.items() if value is not None}

    def _tests(self, key: str) -> tuple[str, ...]:
        found = []
        for place, item in enumerate(self.row.items(key, most=MOST_TESTS, what="tests")):
            path = f"{key}[{place}]"
            if not isinstance(item, str) or not is_text(item):
                self.row.refuse(path, found=show_json(item), expected="a test in words", remedy="correct it")
            found.append(self._test(item, self.row.place(path)))
        if key == "tests" and not found:
            self.row.refuse(key, found="no test", expected="at least one", remedy="write it")
        return tuple(dict.fromkeys(found))

    def _test(self, word: str, path: str) -> str:
        kind, key = self.directory.resolve(word, where=f"{self.row.where} {path}")
        if kind != "test":
            raise OrderError("found a panel; expected a test; write each", where=f"{self.row.where} {path}")
        return key

    def _needed(self, key: str) -> str:
        found = self.row.text(key)
        if found is None:
            self.row.refuse(key, found="nothing", expected="a text", remedy="write it")
        return found

    def _instant(self, key: str) -> datetime | None:
        text = self.row.text(key)
        where = f"{self.row.where} {self.row.place(key)}"
        return None if text is None else read_local(text, self.site.time_zone, where=where)

    def _ml(self, key: str) -> int | None:
        expected = f"millilitres from 0 to {MOST_ML}, at most three decimals"
        number = self.row.number(key, expected=expected)
        if number is None:
            return None
        volume_ul = number * 1000
        if volume_ul.denominator != 1 or not 0 <= number <= MOST_ML:
            self.row.refuse(key, found=show_json(self.row.content[key]), expected=expected, remedy="correct it")
        return volume_ul.numerator
