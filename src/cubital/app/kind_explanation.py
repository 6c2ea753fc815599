"""Why a tube kind is handled as it is: what is in it, and what each source says of it."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from cubital import facts
from cubital.app.explanation import Explanation, Statement, marked, sections_of
from cubital.errors import UnplacedKind
from cubital.model import Site, Tube, TubeKind
from cubital.planning.lint import SKIN_PUNCTURE
from cubital.planning.rows import least_fill_percent
from cubital.planning.sequence import Sequence
from cubital.units import millilitres_text

PLACES = "Order of draw, source by source"
MIXING = "Inversions"
OWN = "this site's own file"
HARMS = "What a trace of it does to the tube that follows"


def explain_kind(kind: TubeKind, site: Site) -> Explanation:
    """Everything known of this tube kind at this site."""
    return Explanation(
        subject=kind.key,
        title=f"{kind.key}: {kind.name}" + (f" ({kind.stopper})" if kind.stopper else ""),
        sections=sections_of(
            ("What is in it", _contents(kind)),
            ("Sizes at this site", [_sizes(kind)]),
            (PLACES, places_of(kind, site)),
            (MIXING, inversions_of(kind)),
            ("Fill, clotting and spin", [*_fills(kind), *_clotting(kind), *_spins(kind)]),
            (HARMS, harms_of(kind)),
        ),
    )


def _contents(kind: TubeKind) -> Iterator[Statement]:
    additive = facts.additives()[kind.additive]
    letters = f", letter code {additive.letter_code}" if additive.letter_code else ""
    gel = ", with a gel" if kind.gel else ""
    yield marked(f"{additive.name}, {additive.state}{gel}{letters}", additive.mark)
    for amount in additive.concentrations:
        mass = f"; {amount.molar_mass_g_per_mol} g/mol" if amount.molar_mass_g_per_mol else ""
        yield marked(f"{amount.salt}: {_amount(amount)} of {amount.of}{mass}", amount.mark)


def _amount(amount: facts.Concentration) -> str:
    ranges = (
        (amount.mg_per_ml, "mg/mL"),
        (amount.mmol_per_l, "mmol/L"),
        (amount.iu_per_ml, "IU/mL"),
        (amount.percent_w_v, "% w/v"),
    )
    (low, high), unit = next((found, unit) for found, unit in ranges if found is not None)
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _sizes(kind: TubeKind) -> Statement:
    text = "; ".join(_size(tube) for tube in kind.sizes)
    rests_on = OWN if kind.basis == "site" else kind.basis.replace("-", " ")
    return Statement(text=text, rests_on=rests_on)


def _size(tube: Tube) -> str:
    liquid = f" onto {tube.liquid_additive_ul} microlitres of liquid" if tube.liquid_additive_ul else ""
    stock = "" if tube.in_stock is None else f", {tube.in_stock} in stock"
    expiry = "" if tube.expires is None else f", until {tube.expires}"
    return f"{millilitres_text(tube.draw_ul)} mL{liquid}{stock}{expiry}"


def places_of(kind: TubeKind, site: Site) -> Iterator[Statement]:
    """Where each order of draw puts this kind, or that it leaves it unsaid or refuses it."""
    own = site.planning.order_of_draw
    if any(placing.kind == kind.key for placing in site.planning.placings):
        yield _place(kind, site, own, chosen="this site: ")
    bare = msgspec.structs.replace(site.planning, placings=())
    for key in facts.order_policies():
        access = SKIN_PUNCTURE if key == SKIN_PUNCTURE else "straight-needle"
        planning = msgspec.structs.replace(bare, order_of_draw=key)
        chosen = "chosen here: " if key == own else ""
        yield _place(kind, msgspec.structs.replace(site, planning=planning), key, chosen=chosen, access=access)


def _place(kind: TubeKind, site: Site, key: str, *, chosen: str, access: str = "straight-needle") -> Statement:
    sequence = Sequence(site, access)
    policy = facts.order_policies()[key]
    refusal = sequence.refusal(kind)
    if refusal is not None:
        return marked(f"{chosen}{policy.name}: not taken this way: {refusal}", policy.marks)
    try:
        rank = sequence.rank(kind.key)
    except UnplacedKind as error:
        others = f". Others: {'; '.join(error.choices)}" if error.choices else ""
        return marked(f"{chosen}{policy.name}: leaves it unsaid{others}", policy.marks)
    if rank.basis == "site":
        return Statement(text=chosen + rank.words, rests_on=OWN)
    return marked(chosen + rank.words, facts.Mark(basis=rank.basis, source=rank.source))  # type: ignore[arg-type]


def inversions_of(kind: TubeKind) -> Iterator[Statement]:
    """How often it is inverted, why this count, and the count of each source."""
    if kind.inversions is not None:
        yield Statement(text=f"{kind.inversions}, as the site says", rests_on=OWN)
    found = facts.inversions(kind.additive, kind.gel)
    if found is None:
        return
    yield Statement(
        text=f"{found.chosen} chosen of {_span(found.low, found.high)}: {found.why}", rests_on="the counts below"
    )
    for rival in found.rivals:
        yield marked(_span(rival.low, rival.high), rival.mark)


def _span(low: int, high: int) -> str:
    return f"{low}" if low == high else f"{low} to {high}"


def _fills(kind: TubeKind) -> Iterator[Statement]:
    if least_fill_percent(kind) is None:
        return
    if kind.fill_min_percent is not None:
        yield Statement(text=f"fill at least {kind.fill_min_percent} %, as the site says", rests_on=OWN)
    for fill in facts.fills():
        yield marked(f"fill at least {fill.fill_min_percent} %: {fill.for_whom}", fill.marks)


def _clotting(kind: TubeKind) -> Iterator[Statement]:
    found = facts.clotting(kind.additive, kind.gel)
    if found is not None:
        text = f"stands {found.min_s // 60} to {found.max_s // 60} min upright to clot before the spin"
        yield marked(text, found.marks)


def _spins(kind: TubeKind) -> Iterator[Statement]:
    family = facts.additives()[kind.additive].family
    for spin in facts.spins():
        if family in spin.families and spin.gel in (None, kind.gel):
            force, warmth = _span(spin.rcf_low_g, spin.rcf_high_g), _span(spin.temp_low_c, spin.temp_high_c)
            yield marked(f"spin for {spin.purpose}: {force} g, {spin.minutes} min, {warmth} C", spin.marks)


def harms_of(kind: TubeKind, *, following: TubeKind | None = None) -> Iterator[Statement]:
    """What a trace of this kind's additive does; to the tube that follows, where one is given."""
    family = None if following is None else facts.additives()[following.additive].family
    for harm in facts.additives()[kind.additive].harms:
        if family is not None and harm.to and family not in harm.to:
            continue
        into = f"in {', '.join(harm.to)}: " if harm.to else "in any tube: "
        yield marked(into + harm.text, harm.mark)
