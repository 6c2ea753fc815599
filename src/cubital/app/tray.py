"""A plan in the words of the chair: what to read on the tray, whatever shows it."""

from __future__ import annotations

from collections import Counter

import msgspec

from cubital import facts
from cubital.app.plan_explanation import proof_words
from cubital.app.unsettled import unsettled_line
from cubital.app.wiring import say_local
from cubital.model import Choice, Draw, Order, Plan, PlannedTube, Site
from cubital.model.vocabulary import PurposeKey
from cubital.planning.cautions import standing
from cubital.planning.patient import describe
from cubital.units import millilitres_text

# An additive without a letter code goes by its key where that is itself a word of letters, as ACD-A.
_MOST_LETTERS = 5
# What a plan holds, by purpose: one of it, several of it.
_NOUNS: dict[PurposeKey, tuple[str, str]] = {
    "collect": ("tube", "tubes"),
    "culture": ("culture bottle", "culture bottles"),
    "discard": ("discard tube", "discard tubes"),
}


class TubeRow(msgspec.Struct, frozen=True, kw_only=True):
    """One tube of the tray. `contents` says what it is drawn for; `care` what to do, in order.

    `blood_ul` is the blood to draw and `liquid_ul` the liquid already inside, for the picture.
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


class DrawRows(msgspec.Struct, frozen=True, kw_only=True):
    """The tubes of one collection, in order. `before` is what must be known and done first, in order."""

    title: str
    before: tuple[str, ...]
    rows: tuple[TubeRow, ...]


class Gauge(msgspec.Struct, frozen=True, kw_only=True):
    """How this draw stands against the blood limit, in whole microlitres."""

    drawn_ul: int
    this_ul: int
    limit_ul: int


class Tray(msgspec.Struct, frozen=True, kw_only=True):
    """Everything to show of one plan, gravest first; `gauge` is None where no limit is known.

    `unsettled` says of each word that is not in the plan what is wrong with it and what it may mean.
    """

    headline: str
    setting: str
    stops: tuple[str, ...]
    warnings: tuple[str, ...]
    draws: tuple[DrawRows, ...]
    left_out: tuple[str, ...]
    instead: tuple[str, ...]
    total: str
    gauge: Gauge | None
    proof: str
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
        left_out=tuple(f"{_name(u.test, site)} ({u.priority}): {u.why}; needs {u.needs}" for u in plan.unplaced),
        instead=tuple(_choice_words(choice, site) for choice in plan.choices),
        total=_total(plan),
        gauge=None
        if totals.limit_ul is None
        else Gauge(drawn_ul=totals.already_drawn_ul, this_ul=totals.all_blood_ul, limit_ul=totals.limit_ul),
        proof=proof_words(plan),
        notes=tuple(c.text for c in plan.cautions if c.level == "note" and c not in ever),
        always=tuple(c.text for c in ever),
        unsettled=tuple(unsettled_line(one) for one in plan.unsettled),
    )


def _headline(plan: Plan) -> str:
    counts = Counter(tube.purpose for tube in plan.tubes)
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


def before_words(draw: Draw, site: Site) -> tuple[str, ...]:
    """What must be known and done before this draw, in order: its moment, its times, what to ask, its steps."""
    words = [f"when: {draw.moment}"] if draw.moment else []
    if draw.due_from is not None or draw.due_to is not None:
        early = "" if draw.due_from is None else f"from {say_local(draw.due_from, site)[:16]} "
        late = "" if draw.due_to is None else f"to {say_local(draw.due_to, site)[:16]}"
        words.append(f"due: {(early + late).strip()}")
    words += [f"ask: {ask}" for ask in draw.asks]
    return (*words, *(f"do first: {step}" for step in draw.steps))


def _choice_words(choice: Choice, site: Site) -> str:
    """Another plan that the collector may take, in one line."""
    left = " · ".join(_name(key, site) for key in choice.left_out) or "nothing"
    proof = "" if choice.optimal else ", not proved"
    tubes = f"{choice.tubes} tube{'' if choice.tubes == 1 else 's'}"
    blood = millilitres_text(choice.all_blood_ul)
    return f"keep {_name(choice.keep, site)}; leave out {left}; {tubes}, {blood} mL{proof}"


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
    if tube.returned:
        return ("CLEARS THE LINE: set aside closed, give back at once", *names)
    if tube.size_ul is not None:
        return ("DISCARD: fill until blood flows into it, then throw away", *names)
    return ("DISCARD: fill, then throw away", *names)


def _name(key: str, site: Site) -> str:
    return site.names.get(key) or (site.tests[key].name if key in site.tests else key)


def _care(tube: PlannedTube) -> tuple[str, ...]:
    words = [f"in a {millilitres_text(tube.size_ul)} mL tube"] if tube.size_ul is not None else []
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
