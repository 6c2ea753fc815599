"""The answer: what to draw, in which order, and why."""

from __future__ import annotations

from datetime import datetime

import msgspec

from cubital.model.order import Unsettled
from cubital.model.vocabulary import MatrixKey, ObjectiveKey, PriorityKey, PurposeKey, RankKey


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
    """One row of the tray. Volumes in whole microlitres; `position` counts from 1 in its draw.

    `draw_ul` is the blood that goes in. `size_ul` is the size of a tube that is filled in part, None where it is filled
    to its draw. A `returned` discard goes back to the patient.
    """

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
    reserve_ul: int = 0
    fill_min_percent: int | None = None
    inversions: int | None = None
    clot_s: int | None = None
    spin: str | None = None
    handling: tuple[str, ...] = ()
    reasons: tuple[Reason, ...] = ()
    size_ul: int | None = None
    returned: bool = False


class Draw(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One collection of a plan: its own puncture or its own moment, and what it is for.

    `at_min` counts from the first draw, None where only an event fixes it. `moment` says when in words; `steps` are
    what must be done before this draw, in order; `asks` is what must be known and was not said. `due_from` and `due_to`
    are the instants it may be drawn between, where the events are known. `blood_ul` is all blood that leaves the vein.
    """

    number: int
    at_min: int | None
    label: str
    moment: str = ""
    steps: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    due_from: datetime | None = None
    due_to: datetime | None = None
    blood_ul: int = 0


class Unplaced(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A test left out, why, and what would be needed to draw it."""

    test: str
    priority: PriorityKey
    why: str
    needs: str
    rank: RankKey | None = None


class Choice(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """Another plan that the collector may take: keep `keep`, and what is then left out, exact like the plan itself."""

    keep: str
    left_out: tuple[str, ...]
    tubes: int
    all_blood_ul: int
    optimal: bool


class Totals(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """What the plan takes. `limit_ul` is None where no limit could be worked out.

    `tubes`, `blood_ul` and `preference` are the objective: tubes that go to the laboratory, the blood in them and in
    what is thrown away before them, and the sum of places. `all_blood_ul` adds culture bottles: all blood that the
    patient loses, which is held against the limit. `discard_ul` is thrown away, `returned_ul` given back.
    """

    tubes: int
    blood_ul: int
    preference: int
    all_tubes: int
    all_blood_ul: int
    limit_ul: int | None = None
    already_drawn_ul: int = 0
    discard_ul: int = 0
    returned_ul: int = 0
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
    """The whole answer for one order; `unsettled` are the words of it that are not in the plan, which no one takes."""

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
    choices: tuple[Choice, ...] = ()
    cautions: tuple[Caution, ...] = ()
    reasons: tuple[Reason, ...] = ()
    edition: str = ""
    id: str | None = None
    unsettled: tuple[Unsettled, ...] = ()
