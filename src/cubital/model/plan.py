"""The answer: what to draw, in which order, and why."""

from __future__ import annotations

import msgspec

from cubital.model.vocabulary import MatrixKey, ObjectiveKey, PriorityKey, PurposeKey


class Reason(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One reason: what it is about, in words, and the mark of the fact behind it.

    `about` is `plan`, `draw 1`, `tube 3` (its position) or a test key; `basis` is the kind of
    truth (standard, published, common-practice, memory, computed, site); `sources` are keys.
    """

    about: str
    text: str
    basis: str
    sources: tuple[str, ...] = ()


class Caution(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """Something to watch; `level` is `stop`, `warn` or `note`, gravest first."""

    level: str
    text: str
    about: str = "plan"
    basis: str = "common-practice"
    sources: tuple[str, ...] = ()


class PlannedTube(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One row of the tray. Volumes in whole microlitres; `position` counts from 1 in its draw."""

    position: int
    draw: int
    purpose: PurposeKey
    kind: str
    name: str
    additive: str
    gel: bool
    draw_ul: int
    stopper: str | None = None
    mark: str = ""
    liquid_additive_ul: int = 0
    matrix: MatrixKey | None = None
    benches: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
    usable_ul: int | None = None
    needed_ul: int | None = None
    fill_min_percent: int | None = None
    inversions: int | None = None
    clot_s: int | None = None
    spin: str | None = None
    handling: tuple[str, ...] = ()
    reasons: tuple[Reason, ...] = ()


class Draw(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One collection of a plan: `at_min` minutes after the first, and what it is for."""

    number: int
    at_min: int
    label: str


class Unplaced(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A test left out, why, and what would be needed to draw it."""

    test: str
    priority: PriorityKey
    why: str
    needs: str


class Totals(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """What the plan takes. `limit_ul` is None where no limit could be worked out.

    `tubes`, `blood_ul` and `preference` are the objective: collect tubes only. `all_blood_ul`
    adds discard tubes and culture bottles, and is what is held against the limit.
    """

    tubes: int
    blood_ul: int
    preference: int
    all_tubes: int
    all_blood_ul: int
    limit_ul: int | None = None
    already_drawn_ul: int = 0
    blood_volume_ul: int | None = None


class Bound(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """What was proved: no packing does better than this, level by level in the objective's order.

    `searched` counts the nodes of the exact search; `finished` is false when the node limit cut it.
    """

    tubes: int
    blood_ul: int
    preference: int
    searched: int
    finished: bool


class Plan(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """The whole answer for one order."""

    objective: ObjectiveKey
    volumes: str
    optimal: bool
    bound: Bound
    policy: str
    site: str
    access: str
    draws: tuple[Draw, ...]
    tubes: tuple[PlannedTube, ...]
    totals: Totals
    unplaced: tuple[Unplaced, ...] = ()
    cautions: tuple[Caution, ...] = ()
    reasons: tuple[Reason, ...] = ()
    edition: str = ""
    id: str | None = None
