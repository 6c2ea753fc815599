"""One JSON object of an order, read field by field; the first fault is refused with its path."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import NoReturn

from cubital.errors import OrderError
from cubital.exchange.table import is_text, near_misses, show
from cubital.units import exact

# From this likeness on an unknown field is a slip: "weight" for weight_kg (0.8), not "note" for "on" (0.67).
SLIP_RATIO = 0.75


class Form:
    """One JSON object and the path it stands at; null counts as absent."""

    __slots__ = ("content", "path", "where")

    def __init__(self, content: object, *, where: str, path: str = "") -> None:
        self.where = where
        self.path = path
        if not isinstance(content, Mapping):
            self.refuse("", found=show_json(content), expected="an object", remedy="write it in braces")
        self.content: Mapping[str, object] = content

    def place(self, key: str = "") -> str:
        """The path of a field, as `patient.hematocrit`."""
        return f"{self.path}.{key}" if self.path and key else self.path or key

    def refuse(self, key: str, *, found: str, expected: str, remedy: str) -> NoReturn:
        """Refuse one field, saying where, what was found, what was expected and what to do."""
        where = f"{self.where} {self.place(key)}".strip()
        raise OrderError(f"found {found}; expected {expected}; {remedy}", where=where)

    def take_unknown(self, known: tuple[str, ...]) -> tuple[str, ...]:
        """The paths of fields that nothing reads; one that looks like a slip for a known one is refused."""
        unread = []
        for key in self.content:
            if key not in known:
                near = near_misses(key, known, least_ratio=SLIP_RATIO)
                if near:
                    self.refuse(
                        show(key)[1:-1], found="an unknown field", expected=near[0], remedy=f"write {near[0]}"
                    )
                unread.append(self.place(show(key)[1:-1]))
        return tuple(unread)

    def text(self, key: str) -> str | None:
        """The text of a field, or None where it is absent."""
        value = self.content.get(key)
        if value is None:
            return None
        if not isinstance(value, str) or not is_text(value):
            expected = "printable text, at most 300 characters"
            self.refuse(key, found=show_json(value), expected=expected, remedy="write it in quotes")
        return value.strip()

    def flag(self, key: str) -> bool | None:
        """Whether a field is true, or None where it is absent."""
        value = self.content.get(key)
        if value is not None and not isinstance(value, bool):
            self.refuse(
                key, found=show_json(value), expected="true or false", remedy="write it without quotes"
            )
        return value

    def choice(self, key: str, options: tuple[str, ...]) -> str | None:
        """The word of a closed list that a field holds, or None where it is absent."""
        value = self.content.get(key)
        if value is None or (isinstance(value, str) and value in options):
            return value
        near = near_misses(value, options) if isinstance(value, str) else []
        remedy = f'write "{near[0]}"' if near else "write one of them"
        return self.refuse(
            key, found=show_json(value), expected="one of " + ", ".join(options), remedy=remedy
        )

    def number(self, key: str, *, expected: str) -> Fraction | None:
        """The exact number of a field, or None where it is absent."""
        value = self.content.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            remedy = "write a number without quotes or unit"
            self.refuse(key, found=show_json(value), expected=expected, remedy=remedy)
        try:
            return exact(value, where=self.place(key))
        except ValueError:
            return self.refuse(key, found=show_json(value), expected=expected, remedy="correct it")

    def whole(self, key: str, *, least: int, most: int, unit: str) -> int | None:
        """The whole number of a field between two bounds, or None where it is absent."""
        expected = f"whole {unit} from {least} to {most}"
        number = self.number(key, expected=expected)
        if number is None:
            return None
        if number.denominator != 1 or not least <= number <= most:
            self.refuse(key, found=show_json(self.content[key]), expected=expected, remedy="correct it")
        return number.numerator

    def day(self, key: str) -> datetime.date | None:
        """The calendar day of a field, or None where it is absent."""
        value = self.content.get(key)
        if value is None:
            return None
        try:
            if (
                isinstance(value, str)
                and len(value) == 10
                and value.isascii()
                and value[4] == value[7] == "-"
            ):
                return datetime.date.fromisoformat(value)
        except ValueError:
            pass
        self.refuse(
            key, found=show_json(value), expected="a day of the calendar", remedy="write it as 2026-11-25"
        )
        return None

    def items(self, key: str, *, most: int, what: str) -> list[object]:
        """The items of a list, or none where it is absent."""
        value = self.content.get(key)
        if value is None:
            return []
        if not isinstance(value, list):
            self.refuse(
                key, found=show_json(value), expected=f"a list of {what}", remedy="write it in brackets"
            )
        if len(value) > most:
            self.refuse(
                key, found=f"{len(value)} {what}", expected=f"at most {most}", remedy="split the order"
            )
        return value

    def inner(self, key: str) -> Form | None:
        """The object of a field, or None where it is absent."""
        value = self.content.get(key)
        return None if value is None else Form(value, where=self.where, path=self.place(key))


def show_json(value: object) -> str:
    """How a JSON value is quoted in an error: short, and on one line."""
    if value is None:
        return "null"
    if isinstance(value, Mapping):
        return "an object"
    return show(value)
