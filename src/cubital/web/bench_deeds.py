"""What can be done with one tube at the Bench page and what not, and what was done with it, in words of the site."""

from __future__ import annotations

from typing import Any, Final

import msgspec

from cubital.app.deed_choices import Choice, DeedKey, choices_of, happening_words
from cubital.app.known import Known
from cubital.facts.keeping import StorageKey
from cubital.handling.keeping import PLACES
from cubital.web.bench_rows import name_of
from cubital.web.bench_times import Times
from cubital.web.visit import Visit

WORDS: Final[dict[DeedKey, str]] = {
    "spun": "Spun", "stored": "Put somewhere", "poured": "Poured off", "reported": "Result released",
    "discarded": "Thrown away",
}  # fmt: skip


class Offer(msgspec.Struct, frozen=True, kw_only=True):
    """One deed as the page offers it, in words of the site."""

    key: DeedKey
    word: str
    refused: str
    hint: str
    tests: tuple[tuple[str, str], ...]
    places: tuple[tuple[StorageKey, str], ...]


def deeds_of(visit: Visit, known: Known) -> dict[str, Any]:
    """The deeds of a tube, and what happened to it, newest first."""
    desk, now = visit.desk, visit.desk.now()
    times = Times(desk.site, now)
    entries = happening_words(desk.record.history(known.specimen.id))
    return {
        "offers": [_offer(choice, visit) for choice in choices_of(desk.record, known, desk.site, now=now)],
        "happened": [
            (times.short(entry.content.at), words, entry.content.by, entry.content.station)
            for entry, words in reversed(entries)
        ],
        "asked_deed": None, "deeds_seen": known.specimen.events,
    }  # fmt: skip


def _offer(choice: Choice, visit: Visit) -> Offer:
    site = visit.desk.site
    return Offer(
        key=choice.deed, word=WORDS[choice.deed], refused=choice.refused, hint=choice.hint,
        tests=tuple((test, name_of(test, site)) for test in choice.tests),
        places=tuple((place, PLACES[place]) for place in choice.places),
    )  # fmt: skip
