"""How far a value may have moved while a specimen waited, as sources measured it; it never corrects a result."""

from __future__ import annotations

from collections.abc import Iterator

from cubital import facts
from cubital.facts.keeping import Drift, StateKey, StorageKey, biases, drifts
from cubital.handling.keeping import span_text


def drifts_of(test: str, additive: str, state: StateKey, storage: StorageKey) -> tuple[Drift, ...]:
    """Every measured drift of this test in a tube with this additive, in one state and storage.

    >>> [drift.mark.source for drift in drifts_of("glucose", "fluoride-oxalate", "on-cells", "ambient")]
    ['clin-chem-1987']
    """
    family = facts.additives()[additive].family
    return tuple(
        drift
        for drift in drifts()
        if test in drift.tests
        and (drift.state, drift.storage) == (state, storage)
        and (not drift.families or family in drift.families)
    )


def drifted(value: float, drift: Drift, minutes: float) -> tuple[float, float] | None:
    """What became of this value after so many minutes, lowest and highest; None where the source ends before.

    The value is in mmol/L where the drift is in steps.

    >>> drift = drifts_of("alanine-aminotransferase", "clot-activator", "off-cells", "cold")[0]
    >>> drifted(100, drift, 7 * 1440)
    (93.0, 93.0)
    """
    if minutes > drift.until_min:
        return None
    if drift.percent_per_h is not None:
        ends = sorted(value * (1 + float(percent) / 100) ** (minutes / 60) for percent in drift.percent_per_h)
        return ends[0], ends[1]
    if drift.percent_per_d is not None:
        moved = value * (1 + float(drift.percent_per_d) / 100 * minutes / 1440)
        return moved, moved
    at_min, change = 0.0, 0.0
    for step_min, step_change in drift.steps:
        if minutes < step_min:
            change += (float(step_change) - change) * (minutes - at_min) / (step_min - at_min)
            break
        at_min, change = step_min, float(step_change)
    return value + change, value + change


def drift_words(test: str, additive: str, state: StateKey, storage: StorageKey, seconds: int) -> Iterator[str]:
    """What sources say has become of a value after this time, in words with their keys."""
    minutes = seconds // 60
    for drift in drifts_of(test, additive, state, storage):
        known_min = min(minutes, drift.until_min)
        after = span_text(60 * known_min)
        if drift.steps:
            moved = drifted(0, drift, known_min)
            yield f"{moved[0] if moved else 0:+.2f} mmol/L by {after} ({drift.mark.source})"
            continue
        ends = drifted(100, drift, known_min) or (100.0, 100.0)
        low, high = sorted(end - 100 for end in ends)
        span = f"{low:+.0f} %" if round(low) == round(high) else f"{low:+.0f} to {high:+.0f} %"
        yield f"{span} by {after} ({drift.mark.source})"
    if state == "on-cells" and storage == "ambient":
        for bias in biases():
            if bias.test == test and minutes <= bias.after_min:
                after = span_text(60 * bias.after_min)
                yield f"{bias.percent:+} % on the mean by {after} ({bias.mark.source})"
