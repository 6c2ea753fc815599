"""A plan in the words of the chair: what to read on the tray, whatever shows it."""

from __future__ import annotations

from collections import Counter

import msgspec

from cubital import facts
from cubital.app.draw_words import Before, before_words
from cubital.app.plan_explanation import objective_words, proof_words
from cubital.app.unsettled import unsettled_line
from cubital.model import Choice, Order, Plan, PlannedTube, Site, Unplaced
from cubital.model.vocabulary import PurposeKey
from cubital.planning.cautions import standing
from cubital.planning.patient import describe
from cubital.units import millilitres_text

# An additive without a letter code goes by its key where that is itself a word of letters, as ACD-A.
_MOST_LETTERS = 5
_RETURNED = "returned"
# What a plan holds, by purpose, and apart what goes back to the patient: one of it, several of it.
_NOUNS = {
    "collect": ("tube", "tubes"),
    "culture": ("culture bottle", "culture bottles"),
    "discard": ("discard tube", "discard tubes"),
    _RETURNED: ("syringe given back", "syringes given back"),
}


class TubeRow(msgspec.Struct, frozen=True, kw_only=True):
    """One tube of the tray. `contents` says what it is drawn for; `care` what to do, in order.

    `blood_ul` is the blood to draw and `liquid_ul` the liquid already inside, for the picture. A tube that is not to be
    filled has the size `size_ul`, else None; what `is_returned` goes back to the patient.
    """

    position: int
    purpose: PurposeKey
    mark: str
    kind: str
    additive: str
    letters: str
    stopper: str | None
    gel: bool
    blood_ul: int
    liquid_ul: int
    size: str
    mixing: str
    contents: tuple[str, ...]
    care: tuple[str, ...]
    size_ul: int | None = None
    is_returned: bool = False


class DrawRows(msgspec.Struct, frozen=True, kw_only=True):
    """The tubes of one collection, in order. `before` is what must be known and done first, in order."""

    title: str
    before: tuple[Before, ...]
    rows: tuple[TubeRow, ...]


class OtherPlan(msgspec.Struct, frozen=True, kw_only=True):
    """Another plan that the collector may take: the test that it keeps, and what that costs, in words."""

    keep: str
    name: str
    costs: str

    @property
    def words(self) -> str:
        """Both in one line."""
        return f"keep {self.name} instead: {self.costs}"


class Gauge(msgspec.Struct, frozen=True, kw_only=True):
    """How this draw stands against the blood limit, in whole microlitres."""

    drawn_ul: int
    this_ul: int
    limit_ul: int


class Tray(msgspec.Struct, frozen=True, kw_only=True):
    """Everything to show of one plan, gravest first; `gauge` is None where no limit is known.

    `reserve` says once where room for a repeat is kept, `aim` which objective was used and why; both may be empty.
    `unsettled` says of each word that is not in the plan what is wrong with it and what it may mean.
    """

    headline: str
    setting: str
    stops: tuple[str, ...]
    warnings: tuple[str, ...]
    draws: tuple[DrawRows, ...]
    left_out: tuple[str, ...]
    instead: tuple[OtherPlan, ...]
    total: str
    gauge: Gauge | None
    reserve: str
    proof: str
    aim: str
    notes: tuple[str, ...]
    always: tuple[str, ...]
    unsettled: tuple[str, ...] = ()


def lay_tray(plan: Plan, order: Order, site: Site) -> Tray:
    """The tray of this plan for this order at this site."""
    ever = standing()
    totals = plan.totals
    return Tray(
        headline=_headline(plan),
        setting=_setting(plan, order),
        stops=tuple(c.text for c in plan.cautions if c.level == "stop"),
        warnings=tuple(c.text for c in plan.cautions if c.level == "warn"),
        draws=tuple(
            DrawRows(
                title=_draw_title(plan, draw.number),
                before=before_words(draw, site),
                rows=tuple(_row(tube, site) for tube in plan.tubes if tube.draw == draw.number),
            )
            for draw in plan.draws
        ),
        left_out=tuple(_left_out_words(one, site) for one in plan.unplaced),
        instead=tuple(_other_plan(choice, site) for choice in plan.choices),
        total=_total(plan),
        gauge=None
        if totals.limit_ul is None
        else Gauge(drawn_ul=totals.already_drawn_ul, this_ul=totals.all_blood_ul, limit_ul=totals.limit_ul),
        reserve=_reserve_words(plan, site),
        proof=proof_words(plan),
        aim=objective_words(plan),
        notes=tuple(c.text for c in plan.cautions if c.level == "note" and c not in ever),
        always=tuple(c.text for c in ever),
        unsettled=tuple(unsettled_line(one) for one in plan.unsettled),
    )


def _headline(plan: Plan) -> str:
    counts = Counter(_RETURNED if tube.returned else tube.purpose for tube in plan.tubes)
    held = ", ".join(f"{counts[p]} {one if counts[p] == 1 else many}" for p, (one, many) in _NOUNS.items() if counts[p])
    draws = f" in {len(plan.draws)} draws" if len(plan.draws) > 1 else ""
    words = f"{held or 'no tube'}{draws}, {millilitres_text(plan.totals.all_blood_ul)} mL of blood"
    left, words_left = len(plan.unplaced), len(plan.unsettled)
    said = [f"{words_left} word{'' if words_left == 1 else 's'} not settled"] if words_left else []
    said += [f"{left} test{'' if left == 1 else 's'} left out"] if left else []
    if not said:
        return words
    return f"NOT ALL: {', '.join(said)}. {'Take nothing yet. The rest' if words_left else 'Drawn'}: {words}"


def _setting(plan: Plan, order: Order) -> str:
    access = facts.accesses()[plan.access].name
    policy = facts.order_policies()[plan.policy].name
    who = f"order {plan.id}: " if plan.id else ""
    day = f", {order.on}" if order.on is not None else ""
    return f"{who}{describe(order.patient)}; {access}{day}; {plan.site}; order of draw: {policy}"


def _draw_title(plan: Plan, number: int) -> str:
    if len(plan.draws) == 1:
        return ""
    return f"draw {number} of {len(plan.draws)}: {plan.draws[number - 1].label}"


def _left_out_words(one: Unplaced, site: Site) -> str:
    stands = f"{one.priority}, {one.rank.replace('-', ' ')}" if one.rank is not None else one.priority
    return f"{_name(one.test, site)} ({stands}): {one.why}; needs {one.needs}"


def _other_plan(choice: Choice, site: Site) -> OtherPlan:
    left = " · ".join(_name(key, site) for key in choice.left_out) or "nothing"
    proof = "" if choice.optimal else ", not proved"
    tubes = f"{choice.tubes} tube{'' if choice.tubes == 1 else 's'}"
    blood = millilitres_text(choice.all_blood_ul)
    costs = f"leaves out {left}; {tubes}, {blood} mL of blood{proof}"
    return OtherPlan(keep=choice.keep, name=_name(choice.keep, site), costs=costs)


def _reserve_words(plan: Plan, site: Site) -> str:
    """In how many tubes room for a repeat is kept; empty at a site that keeps none, and for cultures alone."""
    tubes = [tube for tube in plan.tubes if tube.purpose == "collect"]
    if not site.planning.reserve_percent or not tubes:
        return ""
    kept = sum(1 for tube in tubes if tube.reserve_ul)
    if kept == len(tubes):
        where = "in the tube" if kept == 1 else f"in each of the {kept} tubes"
    else:
        where = "none is kept" if not kept else f"in {kept} of {len(tubes)} tubes"
    return f"room for a repeat or an added test: {where}"


def _row(tube: PlannedTube, site: Site) -> TubeRow:
    additive = facts.additives()[tube.additive]
    short = tube.additive.upper() if len(tube.additive) <= _MOST_LETTERS else ""
    return TubeRow(
        position=tube.position,
        purpose=tube.purpose,
        mark=tube.mark,
        kind=tube.name,
        additive=additive.name + (", gel" if tube.gel else ""),
        letters=additive.letter_code or short,
        stopper=tube.stopper,
        gel=tube.gel,
        blood_ul=tube.draw_ul,
        liquid_ul=tube.liquid_additive_ul,
        size=f"{millilitres_text(tube.draw_ul)} mL",
        mixing=_mixing(tube.inversions),
        contents=_contents(tube, site),
        care=_care(tube),
        size_ul=tube.size_ul,
        is_returned=tube.returned,
    )


def _mixing(inversions: int | None) -> str:
    """How to mix; nothing to mix is said in words, for a count of nought reads as a slip."""
    if inversions is None:
        return ""
    return f"invert {inversions}x" if inversions else "not mixed"


def _contents(tube: PlannedTube, site: Site) -> tuple[str, ...]:
    names = tuple(_name(key, site) for key in tube.tests)
    if tube.purpose != "discard":
        return names
    return (f"{'CLEARS THE LINE' if tube.returned else 'DISCARD'}: {discard_words(tube)}", *names)


def discard_words(tube: PlannedTube) -> str:
    """What to do with blood that is not kept: give it back, or throw it away from a tube that is full or is not."""
    if tube.returned:
        return "set aside closed, give back at once"
    return "fill until blood flows into it, then throw away" if tube.size_ul is not None else "fill, then throw away"


def part_filled_words(tube: PlannedTube) -> str:
    """In how large a tube, where it is not to be filled; else empty."""
    return f"in a {millilitres_text(tube.size_ul)} mL tube" if tube.size_ul is not None else ""


def _name(key: str, site: Site) -> str:
    return site.names.get(key) or (site.tests[key].name if key in site.tests else key)


def _care(tube: PlannedTube) -> tuple[str, ...]:
    words = [part_filled_words(tube)] if tube.size_ul is not None else []
    if tube.fill_min_percent is not None and tube.purpose == "collect":
        words.append(f"fill at least {tube.fill_min_percent} %")
    known = facts.handling_terms()
    words += [_phrase(known[term].instruction) for term in tube.handling if term in known]
    if tube.clot_s is not None:
        words.append(f"clot {tube.clot_s // 60} min")
    if tube.spin is not None:
        words.append(f"spin {tube.spin}")
    return tuple(words)


def _phrase(instruction: str) -> str:
    """An instruction as one item of a list: no capital at the start, no stop at the end."""
    return instruction[:1].lower() + instruction[1:].rstrip(".")


def _total(plan: Plan) -> str:
    totals = plan.totals
    words = [f"{millilitres_text(totals.all_blood_ul)} mL in all"]
    if totals.discard_ul:
        words.append(f"{millilitres_text(totals.discard_ul)} mL of it thrown away")
    if totals.returned_ul:
        words.append(f"{millilitres_text(totals.returned_ul)} mL returned besides")
    if totals.already_drawn_ul:
        words.append(f"{millilitres_text(totals.already_drawn_ul)} mL before")
    if totals.limit_ul is None:
        words.append("limit not known")
    else:
        # To a tenth of a millilitre, down: never more room than there is.
        words.append(f"limit {millilitres_text(totals.limit_ul // 100 * 100)} mL")
    if totals.blood_volume_ul:
        share = 100 * totals.all_blood_ul / totals.blood_volume_ul
        words.append(f"{share:.1f} % of the blood volume")
    return ", ".join(words)
