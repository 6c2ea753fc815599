"""The draws of an inpatient in JSON: when, how much, and where known into which tubes for which tests."""

from __future__ import annotations

import datetime
from typing import Any

import msgspec

from cubital.exchange.form import Form, show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.patient_object import patient_from_json
from cubital.exchange.table import is_text
from cubital.model import Patient

MOST_DRAWS, MOST_TUBES, MOST_TESTS = 5000, 50, 250
MOST_DRAW_ML = 1000
FILE_KEYS = ("patient", "draws")
DRAW_KEYS = ("at", "ml", "tubes", "tests")
TUBE_KEYS = ("kind", "ml")


class DrawRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One draw as the file has it: tubes as kind and uL; `volume_ul` is the sum of the tubes where `ml` is left out."""

    at: datetime.datetime
    volume_ul: int
    tubes: tuple[tuple[str, int], ...] = ()
    tests: tuple[str, ...] = ()


class DrawsFile(msgspec.Struct, frozen=True, kw_only=True):
    """The patient and the draws of a file; `unread` are the paths of fields that nothing reads."""

    patient: Patient
    draws: tuple[DrawRecord, ...]
    unread: tuple[str, ...] = ()


def read_draws(data: bytes | str, *, where: str = "draws", today: datetime.date | None = None) -> DrawsFile:
    """The draws in these bytes.

    Raises `ExchangeError` where the bytes are not JSON and `OrderError`, with the path, where a draw is not sound.

    >>> read_draws('{"draws": [{"at": "2026-11-20 06:00", "ml": 14.5}]}').draws[0].volume_ul
    14500
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    form = Form(value, where=where)
    unread = form.take_unknown(FILE_KEYS)
    patient, more = (Patient(), ()) if form.content.get("patient") is None else patient_from_json(
        form.content["patient"], where=where, today=today
    )  # fmt: skip
    draws = [
        _read_draw(Form(item, where=where, path=f"draws[{i}]"))
        for i, item in enumerate(form.items("draws", most=MOST_DRAWS, what="draws"))
    ]
    if not draws:
        form.refuse("draws", found="no draws", expected="one draw at least", remedy="write them in brackets")
    inner = tuple(path for _, paths in draws for path in paths)
    return DrawsFile(patient=patient, draws=tuple(draw for draw, _ in draws), unread=(*unread, *more, *inner))


def read_moment(text: Any) -> datetime.datetime | None:
    """The moment in this text, `2026-11-20 06:00` or a day alone, which is its midnight; None for anything else.

    >>> read_moment("2026-11-20").hour
    0
    """
    if not isinstance(text, str) or not text.isascii() or len(text) not in (10, 16):
        return None
    try:
        found = datetime.datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is None and text[4] == text[7] == "-" else None


def _read_draw(row: Form) -> tuple[DrawRecord, tuple[str, ...]]:
    unread = row.take_unknown(DRAW_KEYS)
    at = read_moment(row.content.get("at"))
    if at is None:
        row.refuse("at", found=show_json(row.content.get("at")), expected="a moment", remedy="write 2026-11-20 06:00")
    tubes = [
        _read_tube(Form(item, where=row.where, path=row.place(f"tubes[{i}]")))
        for i, item in enumerate(row.items("tubes", most=MOST_TUBES, what="tubes"))
    ]
    volume_ul = _read_ml(row)
    if volume_ul is None:
        if not tubes:
            row.refuse("ml", found="nothing", expected="millilitres, or tubes", remedy="write ml")
        volume_ul = sum(tube_ul for _, tube_ul in tubes)
    tests = []
    for i, item in enumerate(row.items("tests", most=MOST_TESTS, what="tests")):
        if not isinstance(item, str) or not is_text(item):
            row.refuse(f"tests[{i}]", found=show_json(item), expected="a test in words", remedy="correct it")
        tests.append(item.strip())
    return DrawRecord(at=at, volume_ul=volume_ul, tubes=tuple(tubes), tests=tuple(tests)), unread


def _read_tube(row: Form) -> tuple[str, int]:
    unknown = row.take_unknown(TUBE_KEYS)
    if unknown:
        row.refuse(
            unknown[0].rsplit(".", 1)[-1], found="an unknown field", expected="kind and ml", remedy="take it out"
        )
    kind, volume_ul = row.text("kind"), _read_ml(row)
    if kind is None:
        row.refuse("kind", found="nothing", expected="a tube kind", remedy="write kind")
    if volume_ul is None:
        row.refuse("ml", found="nothing", expected="millilitres", remedy="write ml")
    return kind, volume_ul


def _read_ml(row: Form) -> int | None:
    expected = f"millilitres above 0 and at most {MOST_DRAW_ML}, at most three decimals"
    volume_ml = row.number("ml", expected=expected)
    if volume_ml is None:
        return None
    volume_ul = volume_ml * 1000
    if not 0 < volume_ml <= MOST_DRAW_ML or volume_ul.denominator != 1:
        row.refuse("ml", found=show_json(row.content["ml"]), expected=expected, remedy="write millilitres")
    return volume_ul.numerator
