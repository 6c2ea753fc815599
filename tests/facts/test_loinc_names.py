"""LOINC codes against an open table that a package carries: labunits 0.2.1 (MIT), 133 analytes by LOINC.

It is the one table of LOINC codes with names that was found among packages with a licence that allows it; it holds 55
of our 369 codes. The others rest on the copies of the table that sources.toml names, and on memory.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from importlib.resources import files

from cubital import facts
from cubital.planning.paraphrases import wording

GREEK = {"α": "alpha-", "β": "beta-", "γ": "gamma-"}
# The package says of a clotting factor that it is one.
MORE_WORDS = {"coagulation"}


def names_by_code() -> Mapping[str, Sequence[str]]:
    """Our names of each LOINC code."""
    records = [*facts.tests_table().items(), *facts.panels_table().items()]
    return {
        entry["codes"]["loinc"]: (key, entry["name"], *entry.get("also", ()))
        for key, entry in records
        if "loinc" in entry.get("codes", {})
    }


def theirs() -> Mapping[str, str]:
    table = json.loads((files("labunits") / "data/analytes.json").read_text(encoding="utf-8"))
    return {code: entry["name"] for code, entry in table.items()}


def says_the_same(their_name: str, our_names: Sequence[str]) -> bool:
    """Whether each word of their name, without what stands in brackets, is a word of one of ours."""
    for letter, word in GREEK.items():
        their_name = their_name.replace(letter, word)
    asked = set(wording(re.sub(r"\([^()]*\)", "", their_name))) - MORE_WORDS
    ours = {word for name in our_names for word in wording(name)}
    return bool(asked) and asked <= ours


def test_every_code_that_the_package_knows_means_there_what_it_means_here() -> None:
    ours, known = names_by_code(), theirs()
    both = sorted(ours.keys() & known.keys())
    assert len(both) >= 50
    assert {code: known[code] for code in both if not says_the_same(known[code], ours[code])} == {}


def test_a_code_of_another_analyte_is_seen() -> None:
    ours, known = names_by_code(), theirs()
    both = sorted(ours.keys() & known.keys())
    moved = dict(zip(both, [*both[1:], both[0]], strict=True))
    # Each code that is taken for the next one is found out, whatever the pair.
    assert [code for code in both if says_the_same(known[code], ours[moved[code]])] == []
