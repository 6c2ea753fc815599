"""Which of blood and liked kinds comes first for this patient, and whether there is blood for a reserve."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from cubital.model import Patient, Reason, Site
from cubital.model.vocabulary import ObjectiveKey
from cubital.planning.cost import PackObjective
from cubital.planning.patient import Limit, is_child


class Standing(NamedTuple):
    """How a patient stands to the blood limit: what near means here, and whether the patient is known to be a child."""

    is_child: bool
    near_ul: int | None
    room_ul: int | None

    def is_far(self, lost_ul: int) -> bool:
        """Whether a draw that takes this blood leaves the patient far from the limit; so where no limit is known."""
        return self.near_ul is None or lost_ul <= self.near_ul

    def is_within(self, lost_ul: int) -> bool:
        """Whether a draw that takes this blood keeps the limit."""
        return self.room_ul is None or lost_ul <= self.room_ul


def standing_of(patient: Patient, limit: Limit, site: Site) -> Standing:
    """How this patient stands; a patient of unknown age is taken as grown."""
    if limit.limit_ul is None:
        return Standing(is_child(patient), None, None)
    near_ul = limit.limit_ul * site.planning.near_limit_percent // 100 - patient.drawn_ul
    return Standing(is_child(patient), near_ul, max(0, limit.limit_ul - patient.drawn_ul))


class Try(NamedTuple):
    """One thing to try: the objective, the reserve in percent, and whether it is taken only far from the limit."""

    objective: PackObjective
    reserve_percent: int
    only_far: bool


def tries_for(stated: ObjectiveKey, standing: Standing, reserve_percent: int) -> tuple[Try, ...]:
    """What is tried without a budget, in order; the first that keeps what it must is the plan.

    An adult keeps the reserve while it fits the limit; a child, and whoever is asked for the least blood, has none.
    `by-patient` likes kinds before blood only for adults who are far from the limit with all that it takes.

    >>> far = Standing(is_child=False, near_ul=9000, room_ul=50_000)
    >>> [t.objective for t in tries_for("by-patient", far, 100)]
    ['liked-kinds', 'fewest-tubes', 'fewest-tubes']
    """
    return _tries(stated, standing.is_child, 0 if standing.is_child else reserve_percent)


@lru_cache
def _tries(stated: ObjectiveKey, is_child: bool, reserve_percent: int) -> tuple[Try, ...]:
    if stated == "least-blood":
        return (Try("least-blood", 0, False),)
    found = []
    if stated == "by-patient" and not is_child:
        found.append(Try("liked-kinds", reserve_percent, True))
    then: PackObjective = "liked-kinds" if stated == "liked-kinds" else "fewest-tubes"
    if reserve_percent:
        found.append(Try(then, reserve_percent, False))
    return (*found, Try(then, 0, False))


def why_objective(asked: ObjectiveKey | None, used: ObjectiveKey, standing: Standing, site: Site) -> Reason:
    """Which objective was used, and why; `asked` is what the order says, None where it leaves it to the site.

    An order that would like kinds first gets blood first where the limit leaves no room for liking.
    """
    planning = site.planning
    is_limited = standing.near_ul is not None
    return _why_objective(
        asked, planning.objective, used, standing.is_child, is_limited, planning.near_limit_percent
    )


@lru_cache
def _why_objective(
    asked: ObjectiveKey | None, of_site: ObjectiveKey, used: ObjectiveKey, is_child: bool, is_limited: bool,
    near_percent: int,
) -> Reason:  # fmt: skip
    words = {
        "liked-kinds": "fewest tubes, then the kinds that the tests like best, then least blood",
        "fewest-tubes": "fewest tubes, then least blood, then liked kinds",
        "least-blood": "least blood, then fewest tubes, then liked kinds",
    }[used]
    stated = asked or of_site
    near = f"{near_percent} % of the blood limit"
    if stated == used:
        why = f"as {'the site says' if asked is None else 'the order asks'}"
    elif stated != "by-patient":
        why = "with liked kinds the blood drawn in all would pass the blood limit"
    elif used == "liked-kinds":
        why = f"an adult, and {f'this draw stays within {near}' if is_limited else 'no limit is known'}"
    elif is_child:
        why = "a child: blood comes before liking"
    else:
        why = f"with liked kinds the blood drawn in all would pass {near}"
    return Reason(about="plan", text=f"objective: {words}; {why}", basis="site" if asked is None else "computed")
