"""What a measured index of hemolysis, lipemia or icterus means for a test; nothing is ever corrected."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import cache
from typing import Literal, NamedTuple

from cubital import facts
from cubital.chemistry.carryover import allowable_error
from cubital.chemistry.hemolysis import Rise, rises_of
from cubital.facts.hemolysis import hemolysis_facts
from cubital.facts.keeping import INDICES, IndexKey, IndexLimit, index_limits
from cubital.handling.faults import Fault, fault
from cubital.handling.stability import is_spun_for
from cubital.model.site import Site
from cubital.model.specimen import Specimen
from cubital.model.test import Test

SKIN_PUNCTURE = "skin-puncture"
# From here on a sample counts as hemolyzed in quality indicators (Pre-HemI, over 0.5 g/L).
_HEMOLYZED = Decimal("0.5")
SkinKey = Literal["no", "maybe", "yes"]


def index_faults(
    test: Test, specimen: Specimen, site: Site, indices: Mapping[IndexKey, Decimal]
) -> Iterator[Fault]:  # fmt: skip
    """What hemolysis, lipemia and icterus mean for one test; not measured, or no limit known, is said.

    A laboratory's lipemia or icterus is a bare number: above 0 it gets a comment that says so, and no word on what
    it means. Hemolysis below where a sample counts as hemolyzed holds nothing up.
    """
    for index in INDICES:
        value = indices.get(index)
        if value is None:
            yield fault(index, "untold", f"{index}: not measured")
        elif index == "hemolysis":
            yield from _hemolysis_faults(test, specimen, site, value)
        else:
            yield from _limit_faults(test, index, value)


def _hemolysis_faults(test: Test, specimen: Specimen, site: Site, value: Decimal) -> Iterator[Fault]:
    """Withheld where every result is, then where the slope says so, then by the limits of the test.

    What a skin puncture adds withholds only what is known to be of one; else a comment says what it would do.
    """
    every = hemolysis_facts().every_test
    if is_spun_for(test, specimen.matrix) and value >= every.refuse_from:
        text = f"{value:f} g/L, from {every.refuse_from} g/L on; {every.says}"
        yield Fault("hemolysis", "refuse", text, every.mark.basis, (every.mark.source,))
        return
    slope = _slope_of(test, specimen, site)
    band = _band_words(slope, site, value)
    if slope is not None and slope.sure * value > slope.allowed:
        yield Fault("hemolysis", "refuse", f"{_over_words(slope, value)}{band}", slope.basis, slope.sources)
        return
    if slope is not None and slope.most * value > slope.allowed:
        # Only a skin puncture would have it refused, and nobody knows whether it is of one.
        yield Fault("hemolysis", "comment", f"{_over_words(slope, value)}{band}", slope.basis, slope.sources)
        band = ""
    for found in _limit_faults(test, "hemolysis", value):
        is_told = found.outcome != "untold" and found.check == "hemolysis"
        yield found._replace(text=f"{found.text}{band}") if is_told else found


def _limit_faults(test: Test, index: IndexKey, value: Decimal) -> Iterator[Fault]:
    limit = _limits().get((test.key, index))
    if limit is None:
        if value > 0:
            yield _unlimited(index, value)
        return
    basis, sources = limit.marks[0].basis, tuple(mark.source for mark in limit.marks)
    if limit.refuse_over is not None and value > limit.refuse_over:
        text = f"{value:f}, over {limit.refuse_over} {limit.unit}; {limit.says}"
        yield Fault(index, "refuse", text, basis, sources)
    elif limit.comment_from is not None and value >= limit.comment_from:
        text = f"{value:f}, from {limit.comment_from} {limit.unit} on; {limit.says}"
        yield Fault(index, "comment", text, basis, sources)
    elif limit.held_to is not None and value > limit.held_to:
        text = f"{value:f}, over {limit.held_to} {limit.unit}; {limit.says}, and no further"
        yield Fault(index, "comment", text, basis, sources)


@cache
def _limits() -> Mapping[tuple[str, IndexKey], IndexLimit]:
    return {(test, limit.index): limit for limit in index_limits() for test in limit.tests}


def _unlimited(index: IndexKey, value: Decimal) -> Fault:
    """An index above 0 of which no limit is known for the test."""
    if index != "hemolysis":
        return fault("index", "comment", f"{index} {value:f}")
    if value > _HEMOLYZED:
        return fault("index", "comment", f"hemolysis {value:f} g/L")
    return fault(index, "untold", f"hemolysis of {value:f} g/L: no limit is known for every test")


class _Slope(NamedTuple):
    """How far hemolysis raises an analyte, from the least to the most that sources say, beside what is allowed.

    `sure` is the most of what is known: without what a skin puncture adds, unless it is of one. `typical` is the value
    that they are taken of, None where they are the same at any; `is_read` says that a source measured one, so that it
    is not only computed from what cells hold.
    """

    least: Decimal
    sure: Decimal
    most: Decimal
    allowed: Decimal
    scheme: str
    unit: str
    typical: Decimal | None
    skin: SkinKey
    is_read: bool
    basis: str
    sources: tuple[str, ...]


def _slope_of(test: Test, specimen: Specimen, site: Site) -> _Slope | None:
    """The slopes of the analyte that this test measures; None where there is none, or no error is allowed for it."""
    key = _analytes_by_test().get(test.key)
    rises: tuple[Rise, ...] = () if key is None else rises_of(key)
    analyte = None if key is None else facts.analytes()[key]
    allowed = None if analyte is None else allowable_error(analyte, float(analyte.typical))
    if key is None or analyte is None or allowed is None or not rises:
        return None
    scheme, error = allowed
    least, sure, most = rises[0].per_g, rises[-1].per_g, rises[-1].per_g
    sources = tuple(dict.fromkeys(rise.source for rise in rises))
    skin, puncture = _skin(specimen, site), hemolysis_facts().skin_puncture_of(key)
    if puncture is None or skin == "no":
        skin = "no"
    else:
        most *= puncture.times
        least, sure = (least * puncture.times, most) if skin == "yes" else (least, sure)
        sources = (*sources, puncture.mark.source)
    read = hemolysis_facts().slopes_of(key)
    is_fixed = all(slope.rise_per_g is not None for slope in read) and analyte.cells_to_serum is None
    return _Slope(
        least=least, sure=sure, most=most, allowed=Decimal(str(round(error, 6))), scheme=scheme, unit=analyte.unit,
        typical=None if is_fixed else analyte.typical, skin=skin, is_read=bool(read), basis=rises[-1].basis,
        sources=sources,
    )  # fmt: skip


@cache
def _analytes_by_test() -> Mapping[str, str]:
    return {test: key for key, analyte in facts.analytes().items() for test in analyte.tests}


def _skin(specimen: Specimen, site: Site) -> SkinKey:
    """Whether its blood is of a skin puncture: as it was collected, else as its kind says where that leaves one answer.

    An access that cannot fill its kind is no answer, and neither is a kind that the site no longer has.
    """
    kind = site.kinds.get(specimen.kind)
    if specimen.access is not None and (kind is None or kind.can_be_filled_by(specimen.access)):
        return "yes" if specimen.access == SKIN_PUNCTURE else "no"
    if specimen.access == SKIN_PUNCTURE or kind is None or kind.accesses is None:
        return "maybe"
    if SKIN_PUNCTURE not in kind.accesses:
        return "no"
    return "yes" if set(kind.accesses) == {SKIN_PUNCTURE} else "maybe"


def _over_words(slope: _Slope, value: Decimal) -> str:
    of = "" if slope.typical is None else f" at a typical {slope.typical:f}"
    how = {
        "no": ", which", "yes": ", by skin puncture, which",
        "maybe": ", the most if it is of a skin puncture, of which the record does not tell; that",
    }[slope.skin]  # fmt: skip
    least, most = _short(slope.least), _short(slope.most)
    span = least if least == most else f"{least} to {most}"
    return (
        f"{value:f} g/L: red cells raise it by {span} {slope.unit} for each g/L{how} may be more than the "
        f"{_short(slope.allowed)} {slope.unit} that it may miss by{of} ({slope.scheme}); not corrected"
    )


def _band_words(slope: _Slope | None, site: Site, value: Decimal) -> str:
    """How far it reads too high, where the site has it said and a source measured it; never a result."""
    is_said = site.bench_policy.hemolysis_band and 0 < value <= hemolysis_facts().band.to
    if slope is None or not slope.is_read or not is_said:
        return ""
    least, most = (f"{rise:.1f}" if rise < 10 else f"{rise:.0f}" for rise in (slope.least * value, slope.most * value))
    span = f"about {least}" if least == most else f"about {least} to {most}"
    how = " (the most if it is of a skin puncture)" if slope.skin == "maybe" else ""
    urges = "which says how urgent a new sample is and is never subtracted"
    return f"; it reads {span} {slope.unit} too high{how}, {urges}"


def _short(number: Decimal) -> str:
    """A number to two significant digits, or whole from 100 on."""
    return f"{number:.0f}" if number >= 100 else f"{float(number):.2g}"
