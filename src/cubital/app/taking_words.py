"""What to say at the chair of one tube, in a few large words: nothing that only the bench needs."""

from __future__ import annotations

import msgspec

from cubital import facts
from cubital.app.taking_steps import TubeStep, least_fill_ul
from cubital.app.tray import TubeRow, discard_words, part_filled_words
from cubital.model.taking import WhyKey
from cubital.units import millilitres_text

# One word to be read from a step away; the instruction of the facts stands beside it.
_SHORT = {"ice": "ICE", "protect_from_light": "DARK", "warm": "WARM"}
# For the bench, after the chair is done.
_BENCH = frozenset({"double_spin", "platelet_poor", "do_not_spin", "cold_spin", "room_temperature_spin", "spin_soon",
                    "freeze_fast", "first_use"})  # fmt: skip
WHY_WORDS: dict[WhyKey, str] = {
    "vein": "the vein gave out",
    "declined": "the patient declined",
    "unwell": "the patient became unwell",
    "underfilled": "not filled far enough to be accepted",
    "faulty": "the tube was faulty",
    "limit": "no more blood may be drawn",
    "missing": "no such tube at hand",
    "other": "another reason",
}


class Care(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to mind: a large word where there is one, and the instruction."""

    short: str
    text: str


class ChairWords(msgspec.Struct, frozen=True, kw_only=True):
    """What is said of one tube while it is drawn; an empty text is not said. `then` is what to do once it is filled."""

    fill: str
    then: str
    volume: str
    least: str
    mixing: str
    turns: int
    cares: tuple[Care, ...]


def chair_words(step: TubeStep, row: TubeRow) -> ChairWords:
    """The words for this tube."""
    tube = step.tube
    known = facts.handling_terms()
    return ChairWords(
        fill=discard_words(tube) if tube.purpose == "discard" else "fill to here",
        then=_then(step),
        volume=row.size,
        least=_least(step),
        mixing=_mixing(tube.inversions),
        turns=tube.inversions or 0,
        cares=(
            *(Care(short="", text=text) for text in (part_filled_words(tube),) if text),
            *(
                Care(short=_SHORT.get(term, ""), text=known[term].instruction)
                for term in tube.handling
                if term in known and term not in _BENCH
            ),
        ),
    )


def _then(step: TubeStep) -> str:
    if step.tube.purpose == "discard":
        return "Give it back at once." if step.tube.returned else "Throw it away."
    mixing = _mixing(step.tube.inversions)
    return f"Now {mixing}." if mixing else ""


def _least(step: TubeStep) -> str:
    if step.tube.purpose == "discard":
        return ""
    least_ul = least_fill_ul(step.tube)
    if least_ul is None:
        return "how little is accepted is not known here: ask the laboratory before less is sent"
    return f"accepted from {millilitres_text(least_ul)} mL, {step.tube.fill_min_percent} %; less is refused"


def _mixing(inversions: int | None) -> str:
    if inversions is None:
        return ""
    if inversions == 0:
        return "do not mix"
    return f"invert {inversions} time{'' if inversions == 1 else 's'}"
