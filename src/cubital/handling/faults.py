"""What a check found: faults of age, storage and fill that receipt and adding on share."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from cubital import facts
from cubital.facts.keeping import StorageKey, checks
from cubital.handling.drift import drift_words
from cubital.handling.keeping import PolicyKey, span_text
from cubital.handling.stability import Kept, Life, is_spun_for, keep
from cubital.model.site import Site
from cubital.model.specimen import Specimen
from cubital.model.test import Test

FaultKey = Literal["comment", "refuse", "untold"]
RATIO_CRITICAL = ("citrate-9-1", "citrate-4-1")
_LEAST_FILL = 90
_STUDIED_FILLS = {"adcock-1998-pt": ("prothrombin-time", "inr"), "adcock-1998-aptt": (
    "activated-partial-thromboplastin-time",
)}  # fmt: skip


class Fault(NamedTuple):
    """One check that did not pass: what it comes to, what was found, and what that rests on."""

    check: str
    outcome: FaultKey
    text: str
    basis: str
    sources: tuple[str, ...]


def fault(key: str, outcome: FaultKey, text: str) -> Fault:
    """A fault of this check, resting on what the check rests on."""
    mark = checks()[key].marks[0]
    return Fault(key, outcome, text, mark.basis, (mark.source,))


def least_ul(test: Test, specimen: Specimen) -> int | None:
    """The least this test takes from this specimen; None where it does not accept it."""
    needs = [a.minimum_ul for a in test.accepts if specimen.kind in a.tubes and a.matrix == specimen.matrix]
    return min(needs, default=None)


def belongs(test: Test) -> StorageKey | None:
    """Where this test wants its specimen from the draw on; None where the room will do."""
    return "warm" if "warm" in test.handling else "ice" if "ice" in test.handling else None


def age_faults(test: Test, specimen: Specimen, life: Life, age_s: int, policy: PolicyKey) -> Iterator[Fault]:
    """What the age of a specimen and the places it was kept in mean for one test."""
    kept = keep(test, specimen.additive, specimen.matrix, life, policy=policy)
    standing = kept.standing(age_s)
    old = f"{span_text(age_s)} after the draw"
    if standing == "past" and kept.limit is not None:
        name = "storage" if kept.limit.seconds == 0 else "age"
        yield Fault(name, "refuse", f"{kept.limit.text}; it is {old}", kept.limit.basis, kept.limit.sources)
    elif standing == "unknown":
        yield fault("keeping", "comment", kept.unknown)
    elif standing == "mixed":
        text = f"no source says how its times, on its cells or off and by storage, add; it is {old}"
        yield fault("keeping", "comment", text)
    elif policy == "extended":
        yield from _extended(test, specimen, life, age_s, kept)


def _extended(test: Test, specimen: Specimen, life: Life, age_s: int, kept: Kept) -> Iterator[Fault]:
    """What a stricter source says, and how far the value may have moved."""
    strict = keep(test, specimen.additive, specimen.matrix, life, policy="strict")
    if strict.standing(age_s) != "past" or strict.limit is None or kept.limit is None:
        return
    words = [f"over the stricter limit ({strict.limit.text}); {kept.limit.text}"]
    if is_spun_for(test, specimen.matrix):
        on_s = age_s if life.separated_s is None else min(age_s, life.separated_s)
        words += drift_words(test.key, specimen.additive, "on-cells", "ambient", on_s)
    yield Fault("older", "comment", "; ".join(words), kept.limit.basis, kept.limit.sources)


def fill_faults(
    test: Test, specimen: Specimen, site: Site, percent: int | None, policy: PolicyKey
) -> Iterator[Fault]:
    """What the fill of the tube, in percent of its nominal draw, means for a test that depends on it."""
    is_ratio = specimen.additive in RATIO_CRITICAL
    if not is_ratio and "full_tube" not in test.handling:
        return
    if percent is None:
        yield fault("fill", "untold", "how full it is")
        return
    if not is_ratio:
        if percent < _LEAST_FILL:
            text = f"filled to {percent} %; to the mark is asked, no source says how much less will do"
            yield Fault("fill", "comment", text, "memory", ("memory",))
        return
    kind = site.kinds.get(specimen.kind)
    stated = facts.fills()[0].fill_min_percent if kind is None else kind.fill_min_percent
    least = stated or facts.fills()[0].fill_min_percent
    if percent >= least:
        return
    studied = [f for f in facts.fills() if test.key in _STUDIED_FILLS.get(f.key, ()) and f.fill_min_percent <= percent]
    if policy == "extended" and studied:
        mark = studied[0].marks[0]
        text = f"filled to {percent} %, below {least} %; {studied[0].fill_min_percent} % was found enough"
        yield Fault("fill", "comment", text, mark.basis, (mark.source,))
    else:
        yield fault("fill", "refuse", f"filled to {percent} %; at least {least} % is asked")
