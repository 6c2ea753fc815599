"""Whose draw is printed, in JSON: who the patient is, what the specimens are called, when and by whom they were taken.

No message here repeats what a field holds: it is a patient's.
"""

from __future__ import annotations

import datetime

from cubital.exchange.draws_file import read_moment
from cubital.exchange.form import Form
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.table import is_text
from cubital.model.identity import Collection, Identity

COLLECTION_KEYS = ("name", "number", "second_number", "birth_date", "specimens", "collected", "collector")
MOST_SPECIMENS = 200


def read_collection(data: bytes | str, *, where: str = "who") -> Collection:
    """The collection in these bytes.

    Raises `ExchangeError` where the bytes are not JSON and `OrderError`, with the field, where it is not sound; a
    field that nothing reads is refused, for what a label leaves out must not go unnoticed.

    >>> read_collection('{"name": "N", "number": "1", "birth_date": "1958-03-02", "specimens": ["Q1"]}').specimens
    ('Q1',)
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    form = Form(value, where=where)
    if unknown := form.take_unknown(COLLECTION_KEYS):
        form.refuse(
            unknown[0], found="a field that nothing reads", expected=", ".join(COLLECTION_KEYS), remedy="take it out"
        )
    identity = Identity(
        name=_need_text(form, "name"), number=_need_text(form, "number"), birth_date=_read_day(form),
        second_number=_read_text(form, "second_number"),
    )  # fmt: skip
    specimens = []
    for place, item in enumerate(form.items("specimens", most=MOST_SPECIMENS, what="specimens")):
        if not isinstance(item, str) or not is_text(item):
            form.refuse(f"specimens[{place}]", found="no text", expected="a number in quotes", remedy="correct it")
        specimens.append(item.strip())
    return Collection(
        identity=identity, specimens=tuple(specimens), collected=_read_collected(form),
        collector=_read_text(form, "collector"),
    )  # fmt: skip


def _read_text(form: Form, key: str) -> str | None:
    value = form.content.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or not is_text(value) or not value.strip():
        form.refuse(key, found="no printable text", expected="text in quotes", remedy="correct it")
    return value.strip()


def _need_text(form: Form, key: str) -> str:
    found = _read_text(form, key)
    if found is None:
        form.refuse(key, found="nothing", expected="text in quotes", remedy=f"write {key}")
    return found


def _read_day(form: Form) -> datetime.date:
    value = form.content.get("birth_date")
    if isinstance(value, str) and len(value) == 10 and value.isascii() and value[4] == value[7] == "-":
        try:
            return datetime.date.fromisoformat(value)
        except ValueError:
            pass  # refused below, in the same words as any other text
    return form.refuse(
        "birth_date", found="no day of the calendar", expected="year, month and day", remedy="write it as 1958-03-02"
    )


def _read_collected(form: Form) -> datetime.datetime | None:
    value = form.content.get("collected")
    found = read_moment(value)
    if value is not None and (found is None or len(str(value)) != len("2026-11-25 09:40")):
        form.refuse("collected", found="no moment", expected="a day and a time", remedy="write it as 2026-11-25 09:40")
    return found
