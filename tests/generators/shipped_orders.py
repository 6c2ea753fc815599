"""Orders of the shipped directory from a seeded random source: every access, age, line, moment and time on the way."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from random import Random
from typing import Any

from msgspec.structs import replace

from cubital import facts
from cubital.app.wiring import open_site
from cubital.model import Ask, Event, Line, Order, Patient, Site
from cubital.model.vocabulary import ACCESSES, PRIORITIES

DAY = date(2026, 11, 25)
MORNING = datetime(2026, 11, 25, 8, tzinfo=UTC)
YEAR_H = 8766
AGES_H = (None, 10, 24 * 5, 24 * 25, YEAR_H // 2, YEAR_H * 3, YEAR_H * 9, YEAR_H * 30, YEAR_H * 45, YEAR_H * 80)
CULTURES = ("blood-culture", "blood-culture-aerobic", "blood-culture-anaerobic")
GASES = ("arterial-blood-gas", "venous-blood-gas", "capillary-blood-gas")
COMMON = (
    "CBC", "CMP", "BMP", "PT", "aPTT", "fibrinogen", "potassium", "glucose", "lactate", "ammonia", "type and screen",
    "group check", "INR", "CRP", "ESR", "ferritin", "insulin", "C-peptide",
)  # fmt: skip
# How many minutes before or after the morning an event is said to be.
SAID_MIN = (-720, -360, -90, -30, 0, 20, 60, 120, 480)


def shipped_sites() -> tuple[Site, ...]:
    """The demo site and the shipped one, each with travel times, under both windows and both fates of a discard."""
    found = []
    for demo in (True, False):
        base = open_site(demo=demo)
        for windows, line_discard in (("strict", "returned"), ("extended", "thrown-away")):
            planning = replace(
                base.planning, windows=windows, line_discard=line_discard,
                travel_min={"ward": 20, "clinic": 45, "home": 120, "island": 600},
                whole_blood_tests=("potassium", "sodium", "glucose", "lactate", "ionized-calcium"),
            )  # fmt: skip
            found.append(replace(base, planning=planning))
    return tuple(found)


def shipped_order(random: Random, site: Site) -> Order:
    """One order of this site; it may be one that the planner refuses."""
    asks = [_ask(random, word) for word in dict.fromkeys(_words(random, site))]
    access = random.choice(ACCESSES)
    fields: dict[str, Any] = {
        "access": access, "on": DAY, "patient": _patient(random),
        "objective": random.choice((None, None, None, "by-patient", "liked-kinds", "fewest-tubes", "least-blood")),
        "place": random.choice((None, None, "ward", "clinic", "home", "island")),
    }  # fmt: skip
    if access == "line":
        fields["line"] = Line(
            dead_space_ul=random.choice((None, 0, 300, 1000, 2500)),
            carried_anticoagulant=random.choice((None, False, True)), suspected_infection=random.random() < 0.3,
        )  # fmt: skip
    if random.random() < 0.15:
        fields["keep"] = (random.choice(asks).test,)
    if random.random() < 0.5:
        fields["now"] = MORNING
    if random.random() < 0.6:
        fields["events"] = tuple(_events(random, [ask.test for ask in asks], site))
    return Order(asks=tuple(asks), **fields)


def _words(random: Random, site: Site) -> list[str]:
    """What is asked: common tests, timed ones, series, cultures and gases, and any others of the directory."""
    timed = [key for key, test in site.tests.items() if test.moment is not None]
    series = [key for key, panel in site.panels.items() if panel.series]
    found = random.sample(COMMON, random.randint(0, 4))
    found += random.sample(sorted(site.tests), random.randint(0, 3))
    found += random.sample(timed, random.choice((0, 0, 1, 1, 2, 3)))
    found += random.sample(series, random.choice((0, 0, 0, 0, 1, 2)))
    found += random.sample(sorted(site.panels), random.choice((0, 0, 1)))
    found += random.sample(CULTURES, random.choice((0, 0, 0, 1)))
    found += random.sample(GASES, random.choice((0, 0, 0, 1)))
    return found or ["CBC"]


def _ask(random: Random, word: str) -> Ask:
    at_min = random.choice((0, 30, 60, 120)) if random.random() < 0.08 else None
    return Ask(test=word, priority=random.choice(PRIORITIES), at_min=at_min)


def _patient(random: Random) -> Patient:
    age_h = random.choice(AGES_H)
    weights = (None, 700, 3000, 9000) if age_h is None or age_h < YEAR_H else (None, 8000, 20_000, 70_000, 110_000)
    return Patient(
        age_h=age_h, sex=random.choice((None, "female", "male")), weight_g=random.choice(weights),
        hematocrit=random.choice((None, None, Fraction(3, 10), Fraction(6, 10))),
        drawn_ul=random.choice((0, 0, 0, 500, 5000)),
    )  # fmt: skip


def _events(random: Random, words: list[str], site: Site) -> Iterator[Event]:
    """Events of what the tests and series of these words are about, some of them."""
    axes: dict[tuple[str, str | None], None] = {}
    for word in words:
        test, panel = site.tests.get(word), site.panels.get(word)
        if panel is not None and panel.anchor is not None:
            axes[panel.anchor, panel.of] = None
        moment = None if test is None or test.moment is None else facts.moments()[test.moment]
        if moment is not None:
            axes[moment.anchor, moment.of] = None
    for anchor, of in axes:
        if not facts.anchors()[anchor].is_time_of_day and random.random() < 0.8:
            name = None if random.random() < 0.3 else of
            yield Event(what=anchor, of=name, at=MORNING + timedelta(minutes=random.choice(SAID_MIN)))
    if random.random() < 0.3:
        yield Event(what="first-draw", at=MORNING - timedelta(minutes=random.choice((0, 30, 600))))
