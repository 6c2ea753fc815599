"""Why each tube of a plan: this kind, this size, this place, this mixing; and what it must not reach."""

from __future__ import annotations

import msgspec

from cubital.app.draws import plan_order
from cubital.app.explanation import Explanation, Section, Statement, of_reason, sections_of
from cubital.app.kind_explanation import HARMS, MIXING, PLACES, harms_of, inversions_of, places_of
from cubital.app.subject_explanation import explain_panel, explain_subject, explain_test
from cubital.errors import AmbiguousTest, NotBloodTest, PlanError, UnknownTest
from cubital.model import Ask, Order, Plan, PlannedTube, Site
from cubital.planning.directory import Directory
from cubital.units import millilitres_text


def explain_words(order: Order, site: Site) -> tuple[Explanation, ...]:
    """What is known of each name this order asks: a tube kind, an additive, an order of draw, a limit, tests.

    The names that are tests are planned together, for the order's patient and access, and each tube is
    explained; one test alone is explained itself too. Raises `UnknownTest` or
    `AmbiguousTest` for a name that is nothing here.
    """
    directory = Directory(site)
    found: list[Explanation] = []
    tests: list[Ask] = []
    told: list[Explanation] = []
    for number, ask in enumerate(order.asks):
        subjects = explain_subject(ask.test, site)
        found += subjects
        try:
            kind, key = directory.resolve(ask.test, where=f"name {number + 1}")
        except (UnknownTest, NotBloodTest, AmbiguousTest):
            if not subjects:
                raise
            continue
        tests.append(ask)
        told.append(explain_test(site.tests[key], site) if kind == "test" else explain_panel(site.panels[key], site))
    if len(tests) == 1:
        found += told
    if tests:
        found += _explain_draw(msgspec.structs.replace(order, asks=tuple(tests)), site)
    return tuple(found)


def _explain_draw(order: Order, site: Site) -> tuple[Explanation, ...]:
    """The draw of these tests, or why there is none: that too is an answer to why."""
    try:
        return explain_plan(plan_order(order, site), site)
    except PlanError as error:
        why = Statement(text=str(error), rests_on="computed")
        return (Explanation(subject="plan", title="No draw of this", sections=sections_of(("Why", [why]))),)


def reasons_of(plan: Plan) -> tuple[Explanation, ...]:
    """The reasons that stand in the plan itself, the whole first, then tube by tube."""
    tubes = [
        Explanation(subject=f"tube {tube.position}", title=_title(tube, plan), sections=_why(tube))
        for tube in plan.tubes
    ]
    return (_explain_whole(plan), *tubes)


def explain_plan(plan: Plan, site: Site) -> tuple[Explanation, ...]:
    """Why the plan is as it is: first the whole, then every tube."""
    tubes = [_explain_tube(tube, _next(plan, number), plan, site) for number, tube in enumerate(plan.tubes)]
    return (_explain_whole(plan), *tubes)


def _next(plan: Plan, number: int) -> PlannedTube | None:
    after = plan.tubes[number + 1 : number + 2]
    return after[0] if after and after[0].draw == plan.tubes[number].draw else None


def _explain_whole(plan: Plan) -> Explanation:
    return Explanation(
        subject="plan",
        title="The whole draw",
        sections=sections_of(
            ("Proof", [Statement(text=proof_words(plan), rests_on="computed")]),
            ("Reasons", [of_reason(reason) for reason in plan.reasons]),
        ),
    )


def _title(tube: PlannedTube, plan: Plan) -> str:
    draw = f" of draw {tube.draw}" if len(plan.draws) > 1 else ""
    return f"Tube {tube.position}{draw}: {tube.name}, {millilitres_text(tube.draw_ul)} mL"


def _why(tube: PlannedTube) -> tuple[Section, ...]:
    return sections_of(("Why this tube", [of_reason(reason, prefix=f"{reason.about}: ") for reason in tube.reasons]))


def _explain_tube(tube: PlannedTube, following: PlannedTube | None, plan: Plan, site: Site) -> Explanation:
    kind = site.kinds.get(tube.kind)
    sections = _why(tube)
    if kind is not None:
        next_kind = None if following is None else site.kinds.get(following.kind)
        after = [] if following is None or next_kind is None else list(harms_of(kind, following=next_kind))
        ahead = f"{HARMS} ({next_kind.name})" if next_kind is not None else HARMS
        sections += sections_of((PLACES, places_of(kind, site)), (MIXING, inversions_of(kind)), (ahead, after))
    return Explanation(subject=f"tube {tube.position}", title=_title(tube, plan), sections=sections)


def objective_words(plan: Plan) -> str:
    """Which objective was used and why, in one sentence; empty for a plan that does not say."""
    return next((reason.text for reason in plan.reasons if reason.text.startswith("objective: ")), "")


def proof_words(plan: Plan) -> str:
    """What was proved of this plan, in one sentence."""
    searched = plan.bound.searched
    steps = f"{searched} step{'' if searched == 1 else 's'} of search"
    if not plan.optimal:
        return (
            f"not proved: the search stopped after {steps}; at best {plan.bound.tubes} tubes and "
            f"{millilitres_text(plan.bound.blood_ul)} mL could do, this takes {plan.totals.tubes} and "
            f"{millilitres_text(plan.totals.blood_ul)} mL"
        )
    how = steps if searched else "the bound is met without search"
    kept = "no choice leaves out less by urgency and rank; " if plan.unplaced else ""
    if not plan.totals.tubes:
        what = "culture bottles only, by the weight and the blood limit"
        if plan.unplaced:
            what = "nothing else of this order fits" if plan.tubes else "nothing of this order fits"
        return f"proved: {what} ({how})"
    aims = {
        "fewest-tubes": "fewer tubes, then less blood, then better-liked tubes",
        "least-blood": "less blood, then fewer tubes, then better-liked tubes",
        "liked-kinds": "fewer tubes, then better-liked tubes, then less blood",
    }[plan.objective]
    counted = ", discards counted" if plan.totals.discard_ul else ""
    return f"proved: {kept}no choice of tubes does it with {aims}{counted} ({how})"
