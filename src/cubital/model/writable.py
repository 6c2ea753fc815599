"""What of an event may be written into the record: asked once, before it is written, whoever writes.

A record that was begun under looser rules stays readable: what stands in it is never asked this.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple, get_args

import msgspec

from cubital.errors import ImpossibleEvent
from cubital.model.specimen import IndexKey, OutcomeKey, StorageKey, Verdict
from cubital.model.vocabulary import AccessKey, MatrixKey

LONGEST, LONGEST_PROSE, MOST_NAMED = 200, 2000, 1000
MOST_VOLUME_UL = 1_000_000
MOST_RCF_G, MOST_SPIN_S = 30_000, 86_400
COLDEST_C, WARMEST_C = -20, 50
MOST_FILL_PERCENT, MOST_INDEX = 1000, 1_000_000
# Controls, marks of direction and other signs without a face, halves of a letter, and what is no letter yet: none of it
# is seen on a page or a label, and some of it turns round what is seen.
_UNSEEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


class Rule(NamedTuple):
    """What a field must be, in words, and whether a value is it."""

    expected: str
    holds: Callable[[Any], bool]


def refuse_unwritable(event: msgspec.Struct) -> None:
    """Raise `ImpossibleEvent` where a field of this event is not what it must be; names the field, not its value."""
    for field, rule in _faults_of(event):
        raise ImpossibleEvent(
            f"found another {field}; expected {rule.expected}; nothing was recorded",
            where=f"an event that it was {type(event).__name__.lower()}",
        )


def is_plain(text: object, *, most: int = LONGEST) -> bool:
    """Whether this is a handle that reads alike for everyone: 1 to `most` printable characters, no space around them.

    Its digits are 0 to 9: those of other scripts look like others, or like letters, on a label.

    >>> [is_plain(one) for one in ("Q1001", "", " Q1", "Q\\u0661", "Q\\u202e1", "a b")]
    [True, False, False, False, False, True]
    """
    return (
        isinstance(text, str) and 0 < len(text) <= most and text.isprintable() and text.strip() == text
        and not _has_other_digits(text)
    )  # fmt: skip


def _is_prose(text: object) -> bool:
    return (
        isinstance(text, str) and len(text) <= LONGEST_PROSE and not _has_other_digits(text)
        and not any(unicodedata.category(letter) in _UNSEEN for letter in text)
    )  # fmt: skip


def _has_other_digits(text: str) -> bool:
    return any(unicodedata.category(letter) == "Nd" and not letter.isascii() for letter in text)


def _whole(least: int, most: int, unit: str) -> Rule:
    # A float, NaN among them, and True are no whole numbers here, though Python would compare them.
    return Rule(f"{least} to {most} {unit}", lambda value: type(value) is int and least <= value <= most)


def _one_of(kind: Any) -> Rule:
    keys = get_args(kind)
    return Rule(f"one of {', '.join(keys)}", lambda value: isinstance(value, str) and value in keys)


def _or_none(rule: Rule) -> Rule:
    return Rule(f"{rule.expected}, or none", lambda value: value is None or rule.holds(value))


def _is_names(value: object) -> bool:
    return isinstance(value, tuple) and len(value) <= MOST_NAMED and all(map(is_plain, value))


def _is_instant(value: object) -> bool:
    return isinstance(value, datetime) and value.utcoffset() == timedelta(0)


def _is_indices(value: object) -> bool:
    keys = get_args(IndexKey)
    return isinstance(value, Mapping) and all(
        key in keys and type(one) in (int, Decimal) and Decimal(one).is_finite() and 0 <= one <= MOST_INDEX
        for key, one in value.items()
    )


def _is_verdicts(value: object) -> bool:
    return isinstance(value, tuple) and 0 < len(value) <= MOST_NAMED and all(
        isinstance(one, Verdict) and not any(_faults_of(one)) for one in value
    )


def _is_reasons(value: object) -> bool:
    return isinstance(value, tuple) and len(value) <= MOST_NAMED and all(
        _is_prose(one.about) and _is_prose(one.text) and _is_prose(one.basis) and _is_names(one.sources)
        for one in value
    )


_HANDLE = Rule(f"1 to {LONGEST} printable characters without space around them, with the digits 0 to 9", is_plain)
_WORDS = Rule(f"at most {LONGEST_PROSE} characters that can be seen, with the digits 0 to 9", _is_prose)
_SAID = Rule(f"words, {_WORDS.expected}", lambda value: _is_prose(value) and bool(value.strip()))
_YES_NO = Rule("yes or no", lambda value: isinstance(value, bool))
_VOLUME = _whole(0, MOST_VOLUME_UL, "uL")
_NAMES = Rule(f"names, each {_HANDLE.expected}", _is_names)
RULES: dict[str, Rule] = {
    "key": _HANDLE, "specimen": _HANDLE, "by": _HANDLE, "station": _HANDLE, "patient": _HANDLE, "kind": _HANDLE,
    "additive": _HANDLE, "child": _HANDLE, "test": _HANDLE, "second": _or_none(_HANDLE), "order": _or_none(_HANDLE),
    "tests": _NAMES, "why": _SAID, "irreplaceable": _or_none(_SAID), "wording": _WORDS,
    "at": Rule("an aware instant in UTC", _is_instant), "gel": _YES_NO, "anticoagulated": _YES_NO,
    "matrix": _one_of(MatrixKey), "access": _or_none(_one_of(AccessKey)), "storage": _one_of(StorageKey),
    "outcome": _one_of(OutcomeKey), "draw_ul": _whole(1, MOST_VOLUME_UL, "uL"), "usable_ul": _or_none(_VOLUME),
    "volume_ul": _VOLUME, "rcf_g": _whole(1, MOST_RCF_G, "g"), "spin_s": _whole(1, MOST_SPIN_S, "s"),
    "temperature_c": _whole(COLDEST_C, WARMEST_C, "C"), "fill_percent": _or_none(_whole(0, MOST_FILL_PERCENT, "%")),
    "hematocrit": _or_none(Rule("a share from 0 to 1", lambda value: type(value) is Fraction and 0 <= value <= 1)),
    "indices": Rule(f"numbers from 0 to {MOST_INDEX} by {', '.join(get_args(IndexKey))}", _is_indices),
    "verdicts": Rule("at least one verdict, each of a test, an outcome and words", _is_verdicts),
    "reasons": Rule("reasons in words, with their sources", _is_reasons),
}  # fmt: skip


def _faults_of(one: msgspec.Struct) -> Iterator[tuple[str, Rule]]:
    for name in one.__struct_fields__:
        rule = RULES[name]
        if not rule.holds(getattr(one, name)):
            yield name, rule
