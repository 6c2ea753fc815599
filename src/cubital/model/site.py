"""A site: its tube stock, its test directory and its policy."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

import msgspec

from cubital.facts import SamplingLimit
from cubital.model.centrifuge import Centrifuge
from cubital.model.test import Panel, Test
from cubital.model.tube import TubeKind
from cubital.model.vocabulary import LineDiscardKey, ObjectiveKey, WindowsKey


class Placing(msgspec.Struct, frozen=True, kw_only=True):
    """Where the site itself puts a kind that its policy does not place.

    Exactly one of `after`, `before` and `with_kind` names another kind of the stock;
    `because` is the site's reason, printed with every plan that uses it.
    """

    kind: str
    after: str | None = None
    before: str | None = None
    with_kind: str | None = None
    because: str = "house rule"


class Planning(msgspec.Struct, frozen=True, kw_only=True):
    """The site's policy for planning.

    `hematocrit` None takes the shipped default by age and sex. `blood_limit` is the key of a
    sampling limit, shipped or the site's own, or None for no limit. `share_benches` are groups of benches that
    share a tube.
    `near_limit_percent` of the limit is where blood comes before liked kinds; `reserve_percent` of every test's volume
    is kept for a repeat where blood is not short. `line_discard` says what becomes of the blood that clears a line.
    `whole_blood_tests` are what the gas analyzer measures beside gases. `travel_min` is how long tubes travel by place
    of collection, `usual_travel_min` where the order names none (None: not known); `windows` is how strictly their
    windows are held when a kind is chosen.
    """

    order_of_draw: str = "common-practice"
    objective: ObjectiveKey = "fewest-tubes"
    share_benches: tuple[tuple[str, ...], ...] = ()
    recovery: Fraction = Fraction(9, 10)
    hematocrit: Fraction | None = None
    blood_limit: str | None = "hospital-2-5-percent"
    altitude_m: int = 0
    near_limit_percent: int = 25
    reserve_percent: int = 0
    line_discard: LineDiscardKey = "thrown-away"
    whole_blood_tests: tuple[str, ...] = ()
    usual_travel_min: int | None = None
    travel_min: Mapping[str, int] = {}
    windows: WindowsKey = "strict"
    placings: tuple[Placing, ...] = ()


class BenchPolicy(msgspec.Struct, frozen=True, kw_only=True):
    """The site's policy for the bench.

    `hemolysis_band`: whether a comment or a refusal says how far hemolysis raises a result, in words; no result is ever
    corrected.
    """

    hemolysis_band: bool = False


class Site(msgspec.Struct, frozen=True, kw_only=True):
    """One site's whole truth. Tables are keyed as in its files, in file order.

    `limits` are the blood limits that the site wrote itself, in the record of the shipped ones and without marks.

    `time_zone` is the name of the zone that the site's clocks show; instants inside are in UTC all
    the same.
    """

    name: str
    time_zone: str = "UTC"
    kinds: Mapping[str, TubeKind]
    tests: Mapping[str, Test]
    panels: Mapping[str, Panel] = {}
    planning: Planning = Planning()
    bench_policy: BenchPolicy = BenchPolicy()
    names: Mapping[str, str] = {}
    centrifuges: tuple[Centrifuge, ...] = ()
    ambiguous: Mapping[str, tuple[str, ...]] = {}
    limits: Mapping[str, SamplingLimit] = {}
    unread: tuple[str, ...] = ()
