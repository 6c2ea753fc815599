"""Which analyte a code or a name of a result means: LOINC, the directory's names, symbols. No near miss is taken."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

import msgspec

from cubital import facts
from cubital.errors import FactsError
from cubital.facts.population import Measurand, population

# Urea and the nitrogen in it are one analyte in two masses; a name must say which it is.
_UREA = ("urea", "22664-7")
_NITROGEN = ("urea nitrogen", "blood urea nitrogen", "BUN", "urea-nitrogen", "3094-0")


class Meaning(msgspec.Struct, frozen=True, kw_only=True):
    """The analyte that a code means, and whether its mass is of the nitrogen in urea."""

    measurand: Measurand
    is_urea_nitrogen: bool = False


def meaning_of(code: str) -> Meaning | None:
    """What this code or name means; None where no analyte of this project bears it.

    >>> meaning_of("2823-3").measurand.key, meaning_of("K").measurand.key, meaning_of("troponin")
    ('potassium', 'potassium', None)
    """
    return _meanings().get(_fold(code))


def known_names() -> tuple[str, ...]:
    """Every code and name, folded."""
    return tuple(_meanings())


def _fold(text: str) -> str:
    return " ".join(text.casefold().split())


@cache
def _meanings() -> Mapping[str, Meaning]:
    found: dict[str, Meaning] = {}
    for key, measurand in population().analytes.items():
        if key == "urea":
            for name in _UREA:
                _claim(found, name, Meaning(measurand=measurand))
            for name in _NITROGEN:
                _claim(found, name, Meaning(measurand=measurand, is_urea_nitrogen=True))
            continue
        for name in _names_of(measurand):
            _claim(found, name, Meaning(measurand=measurand))
    return MappingProxyType(found)


def _names_of(measurand: Measurand) -> list[str]:
    names = [measurand.key, measurand.name, *measurand.also, *measurand.loinc]
    for test in measurand.tests:
        entry = facts.tests_table()[test]
        names += [test, str(entry["name"]), *map(str, entry.get("also", ()))]
        loinc = entry.get("codes", {}).get("loinc")
        names += [] if loinc is None else [str(loinc)]
    if measurand.key in facts.analytes():
        names.append(facts.analytes()[measurand.key].symbol)
    return names


def _claim(found: dict[str, Meaning], name: str, meaning: Meaning) -> None:
    other = found.setdefault(_fold(name), meaning)
    if other.measurand.key != meaning.measurand.key:
        raise FactsError(
            f"found {name!r} of {other.measurand.key} and of {meaning.measurand.key}; expected one meaning",
            where="population.toml",
        )
