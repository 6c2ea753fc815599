"""Sizes of tubes on the shelf: which may be used on a day, and what their file says that no plan could use."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from fractions import Fraction

from cubital.model import Finding, Tube, TubeKind

# ISO 6710: one volume of citrate solution to nine (coagulation) or four (sedimentation) of blood.
BLOOD_TO_CITRATE = {"citrate-9-1": 9, "citrate-4-1": 4}
# The least and most share of the nominal liquid that is let pass: common practice, no source.
LEAST_LIQUID, MOST_LIQUID = Fraction(9, 10), Fraction(11, 10)


def is_bottle_by_weight(kind: TubeKind) -> bool:
    """Whether it is a culture bottle that is filled by the weight of the patient, and never packed with tests.

    A mycobacterial bottle is ordered by name and packed as the tube of its test.
    """
    return kind.additive == "culture-medium" and kind.use != "culture-mycobacterial"


def is_usable(tube: Tube, on: date | None) -> bool:
    """Whether a size is on the shelf and, where the day is known, not expired."""
    return tube.in_stock != 0 and (on is None or tube.expires is None or on <= tube.expires)


def find_empty_stock(kinds: Mapping[str, TubeKind], on: date | None) -> Iterator[Finding]:
    """A warning for each kind of which no size may be used."""
    for kind in kinds.values():
        if not any(is_usable(tube, on) for tube in kind.sizes):
            is_counted_out = all(tube.in_stock == 0 for tube in kind.sizes)
            yield warning(
                "tubes.toml",
                f"[{kind.key}] sizes",
                found="none in stock" if is_counted_out else f"no lot that may be used on {on}",
                expected="one usable size at least",
                remedy="restock it, or take the kind out",
            )


def find_expired(kinds: Mapping[str, TubeKind], on: date) -> Iterator[Finding]:
    """A note for each lot past its day, where another size of its kind is still used in its stead."""
    for kind in kinds.values():
        if any(is_usable(tube, on) for tube in kind.sizes):
            for i, tube in enumerate(kind.sizes):
                if tube.in_stock != 0 and not is_usable(tube, on):
                    yield Finding(
                        level="note",
                        file="tubes.toml",
                        entry=f"[{kind.key}] sizes[{i}].expires",
                        found=f"{tube.expires}, past on {on}; no plan uses it",
                        expected="a day to come",
                        remedy="restock it, or take this size out",
                    )


def find_odd_citrate(kinds: Mapping[str, TubeKind]) -> Iterator[Finding]:
    """A warning for each size whose liquid is not the part of its draw that its additive asks for."""
    for kind in kinds.values():
        ratio = BLOOD_TO_CITRATE.get(kind.additive)
        for i, tube in enumerate(kind.sizes if ratio else ()):
            nominal_ul = Fraction(tube.draw_ul, ratio or 1)
            if not LEAST_LIQUID * nominal_ul <= tube.liquid_additive_ul <= MOST_LIQUID * nominal_ul:
                yield warning(
                    "tubes.toml",
                    f"[{kind.key}] sizes[{i}].liquid_additive_ul",
                    found=str(tube.liquid_additive_ul),
                    expected=f"about {round(nominal_ul)} microlitres, one part to {ratio} of blood",
                    remedy=f"check the draw, the liquid and the additive {kind.additive}",
                )


def warning(file: str, entry: str, *, found: str, expected: str, remedy: str) -> Finding:
    """A finding that is no error until a plan needs what it is about."""
    return Finding(level="warning", file=file, entry=entry, found=found, expected=expected, remedy=remedy)
