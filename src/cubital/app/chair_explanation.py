"""What holds at the chair: an access and its discards, the standing cautions, a stopper's colour and what it may be."""

from __future__ import annotations

import re
from collections.abc import Iterator

from cubital import facts
from cubital.app.explanation import Explanation, Statement, marked, sections_of
from cubital.model import Site
from cubital.units import millilitres_text

SAFETY = "safety"
_NOT_WORDS = re.compile(r"[^a-z]+")


def explain_access(key: str) -> Explanation:
    """How blood is reached this way: what stands between vein and tube, what is discarded, what to watch."""
    access = facts.accesses()[key]
    return Explanation(
        subject=key,
        title=f"{key}: {access.name}",
        sections=sections_of(
            ("What stands between vein and first tube", _dead_volumes(access)),
            ("Discards", _discards(access)),
            ("What may be given back", _returns(access)),
            ("Lines that are known by name", _named_lines(access)),
            ("What to watch", [marked(text, access.marks) for text in access.cautions]),
        ),
    )


def explain_safety() -> Explanation:
    """Every standing caution: what stands beside every plan, beside some, and what practice asks besides."""
    rules = facts.safety().values()
    return Explanation(
        subject=SAFETY,
        title="safety: what to keep to",
        sections=sections_of(
            ("Beside every plan", [marked(r.text, r.marks) for r in rules if r.when == "always"]),
            ("At every draw", [marked(r.text, r.marks) for r in rules if r.when == "practice"]),
            (
                "Beside the plans that it concerns",
                [marked(r.text, r.marks) for r in rules if r.when not in ("always", "practice")],
            ),
        ),
    )


def explain_stopper(word: str, site: Site) -> Explanation | None:
    """Every kind of this site with this word on its stopper, for a colour is not a tube; None where none has it."""
    kinds = [
        kind
        for kind in site.kinds.values()
        if kind.stopper is not None and word.casefold() in _NOT_WORDS.split(kind.stopper.casefold())
    ]
    if not kinds:
        return None
    told = []
    for kind in kinds:
        additive = facts.additives()[kind.additive]
        letters = additive.letter_code or kind.additive.upper()
        gel = ", gel" if kind.gel else ""
        told.append(
            Statement(
                text=f"{kind.mark} {kind.key}: {kind.name}; {additive.name}{gel} [{letters}]; stopper {kind.stopper}",
                rests_on="this site's own file",
            )
        )
    title = f"{word}: a stopper, which does not tell the tube: go by letters and additive"
    return Explanation(subject=word, title=title, sections=sections_of(("Kinds of this site that have it", told)))


def _dead_volumes(access: facts.Access) -> Iterator[Statement]:
    if access.dead_volume_ul is None:
        yield marked("not known here: asked of each", access.marks)
    else:
        yield marked(f"{millilitres_text(access.dead_volume_ul)} mL, as taken here", access.marks)
    for rival in access.dead_volume_rivals:
        low, high = millilitres_text(rival.low_ul), millilitres_text(rival.high_ul)
        yield marked(f"{low} mL" if low == high else f"{low} to {high} mL", rival.mark)


def _discards(access: facts.Access) -> Iterator[Statement]:
    for discard in access.discards:
        what = "discard" if discard.needed else "no discard"
        if discard.dead_space_multiple:
            what += f" {discard.dead_space_multiple} times the dead space"
        if discard.ul is not None:
            what += f" {millilitres_text(discard.ul)} mL"
        fill = f", {discard.fill}" if discard.fill else ""
        if discard.part_filled_ul is not None:
            fill += f", {millilitres_text(discard.part_filled_ul)} mL in it are enough"
        yield marked(f"{discard.when}: {what}{fill}", discard.mark)


def _returns(access: facts.Access) -> Iterator[Statement]:
    for each in access.returns:
        cycles = f" ({each.cycles_low} to {each.cycles_high} cycles)" if each.cycles_low is not None else ""
        yield marked(f"{'' if each.allowed else 'not: '}{each.text}{cycles}", each.mark)
        if each.not_for:
            yield marked(f"not for {', '.join(each.not_for)}", each.mark)


def _named_lines(access: facts.Access) -> Iterator[Statement]:
    for line in access.lines:
        dead = "" if line.dead_space_ul is None else f", dead space {millilitres_text(line.dead_space_ul)} mL"
        yield marked(f"{line.name}{dead}", line.marks)
        for discard in line.discards:
            amount = "" if discard.ul is None else f": {millilitres_text(discard.ul)} mL"
            if discard.dead_space_multiple is not None:
                amount = f": {discard.dead_space_multiple} times the dead space"
            back = ", given back" if discard.returned else ""
            yield marked(f"{line.name}, {discard.when}{amount}{back}", discard.mark)
        for text in line.cautions:
            yield marked(f"{line.name}: {text}", line.caution_marks)
    for each in access.culture_discards:
        yield marked(f"before a culture of the line, {each.for_whom}: {millilitres_text(each.ul)} mL", each.mark)
