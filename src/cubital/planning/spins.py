"""Which setting of a centrifuge suits a tube and what its tests ask for, and that setting in words."""

from __future__ import annotations

from collections.abc import Callable, Collection

from cubital import facts

COLD, TWICE, WARM = "cold_spin", "double_spin", "warm"
BODY_C, FRIDGE_C = 37, 10
_ASKED: tuple[tuple[str, Callable[[facts.Spin], bool]], ...] = (
    (COLD, lambda spin: spin.temp_high_c < FRIDGE_C),
    (TWICE, lambda spin: spin.spins == 2),
    (WARM, lambda spin: spin.temp_low_c == BODY_C),
)


def spin_for(family: str, gel: bool, terms: Collection[str]) -> facts.Spin | None:
    """The setting for a tube of this family of additives whose tests ask for these terms of handling.

    None where no source gives one. What is asked for cold is never given a setting at room temperature instead.

    >>> spin_for("citrate", False, ["cold_spin"]) is None
    True
    """
    fitting = [spin for spin in facts.spins() if family in spin.families and spin.gel in (None, gel)]
    for term, suits in _ASKED:
        if term in terms:
            return next((spin for spin in fitting if suits(spin)), None)
    return fitting[0] if fitting else None


def spin_text(spin: facts.Spin) -> str:
    """Force in g, minutes and degrees Celsius.

    >>> spin_text(spin_for("heparin", False, ["cold_spin"]))
    '1300-2000 g, 10 min, 4 C'
    """
    times = "twice, " if spin.spins == 2 else ""
    force, warmth = _span(spin.rcf_low_g, spin.rcf_high_g), _span(spin.temp_low_c, spin.temp_high_c)
    return f"{times}{force} g, {spin.minutes} min, {warmth} C"


def _span(low: int, high: int) -> str:
    return f"{low}" if low == high else f"{low}-{high}"
