"""Whether two identifiers that the patient stated are those of the request. Nothing near is taken for equal.

The page checks the same by a script of its own, so that a dropped connection does not stop it; the tests
hold both to one list of cases.
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from typing import NamedTuple

from cubital.errors import TakingError, WrongPatient
from cubital.model.identity import Identity

MOST_LETTERS = 100
_DAY = re.compile(r"(\d{4})-?(\d{2})-?(\d{2})", re.ASCII)


class Said(NamedTuple):
    """What was typed or scanned: three fields of the request, two that the patient stated."""

    name: str
    number: str
    birth_date: str
    stated_name: str
    stated_second: str

    def __repr__(self) -> str:
        return "Said(…)"


def read_identity(said: Said) -> Identity:
    """Whose draw the request says it is; raises `TakingError` with the field where that cannot be read."""
    birth_date = read_birth_date(said.birth_date)
    if birth_date is None:
        raise TakingError("found no day of the calendar; expected one such as 1958-03-02; correct it", where="born")
    return Identity(name=_need(said.name, "name"), number=_need(said.number, "number"), birth_date=birth_date)


def refuse_another_patient(said: Said, identity: Identity) -> None:
    """Raise `WrongPatient` unless the name and the number or birth date that were stated are those of the request."""
    second = plain(said.stated_second)
    agrees = second == plain(identity.number) or read_birth_date(second) == identity.birth_date
    if not second or name_of(said.stated_name) != name_of(identity.name) or not agrees:
        raise WrongPatient(
            "found identifiers that do not agree; expected those of the request; do not draw: ask again, read the "
            "request again, and have the request corrected if they still differ",
            where="two identifiers",
        )


def is_same(one: Identity, other: Identity) -> bool:
    """Whether both say the same person.

    >>> ann = Identity(name="Invented, Ann", number="X-1", birth_date=datetime.date(1958, 3, 2))
    >>> is_same(ann, Identity(name="ann  invented", number="X-1", birth_date=datetime.date(1958, 3, 2)))
    True
    """
    return (name_of(one.name), plain(one.number), one.birth_date) == (
        name_of(other.name), plain(other.number), other.birth_date,
    )  # fmt: skip


def name_of(text: str) -> str:
    """A name as it is compared: small letters, one space between, the family name last.

    A comma says that the family name stands first. Without one nothing is turned round: Thomas Martin is
    not Martin Thomas.

    >>> name_of("Invented,  OTTOLINE"), name_of("Thomas Martin")
    ('ottoline invented', 'thomas martin')
    """
    low = plain(text).lower()
    family, comma, given = low.partition(",")
    if comma and "," not in given:
        low = f"{given} {family}"
    return " ".join(low.split())


def plain(text: str) -> str:
    """A text with compatible letters made one (Unicode NFKC) and single spaces within.

    >>> plain("  X-1 ")
    'X-1'
    """
    return " ".join(unicodedata.normalize("NFKC", text).split())


def read_birth_date(text: str) -> datetime.date | None:
    """The day, year first, with hyphens or as eight digits as some wristbands hold it; None where it is none.

    >>> read_birth_date("19580302"), read_birth_date("02.03.1958")
    (datetime.date(1958, 3, 2), None)
    """
    found = _DAY.fullmatch(text.strip())
    if found is None or text.strip().count("-") not in (0, 2):
        return None
    try:
        return datetime.date(int(found[1]), int(found[2]), int(found[3]))
    except ValueError:
        return None


def _need(text: str, field: str) -> str:
    found = plain(text)
    if not 0 < len(found) <= MOST_LETTERS or not found.isprintable():
        raise TakingError(f"found no such text; expected 1 to {MOST_LETTERS} letters; correct it", where=field)
    return found
