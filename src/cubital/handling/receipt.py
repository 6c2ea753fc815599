"""Whether each test of a specimen that arrives is accepted, accepted with a comment, or refused, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal

import msgspec

from cubital.errors import ReceiptError
from cubital.facts.keeping import IndexKey, StorageKey, checks
from cubital.model.plan import Reason
from cubital.model.specimen import OutcomeKey, Verdict

FEWEST_IDENTIFIERS = 2
# Checks whose wording says all that was found.
_PLAIN = ("expired", "clotted", "leaked")


class LabelSeen(msgspec.Struct, frozen=True, kw_only=True):
    """What a label showed beside the order: how many identifiers agree and how many differ; never what they say.

    `labels` counts the labels on the tube; `labels_agree` None where there is one, or nobody compared.
    """

    agree: int
    differ: int = 0
    has_time: bool | None = None
    has_collector: bool | None = None
    labels: int = 1
    labels_agree: bool | None = None


class Arrival(msgspec.Struct, frozen=True, kw_only=True):
    """What was seen of a specimen as it arrived; None is not looked at, and is never taken for good.

    `fill_percent` is of the nominal draw. `came` is how it travelled, where that is not as recorded.
    `after_min` is how long after the dose, infusion or ingestion it was drawn. `indices` are hemolysis in
    g/L of free hemoglobin, and lipemia and icterus in the laboratory's own unit.
    """

    at: datetime
    label: LabelSeen | None = None
    is_expired: bool | None = None
    is_clotted: bool | None = None
    fill_percent: int | None = None
    has_leaked: bool | None = None
    was_open: bool | None = None
    was_dark: bool | None = None
    came: StorageKey | None = None
    after_min: int | None = None
    usable_ul: int | None = None
    indices: Mapping[IndexKey, Decimal] = {}


class Judgement(msgspec.Struct, frozen=True, kw_only=True):
    """The verdict on one test with its reasons; `untold` is what nobody looked at or no source tells.

    The `about` of each reason is the key of the check that it is of. `is_identity` says that it was
    refused for whose specimen it may be: then nothing and nobody accepts it.
    """

    test: str
    outcome: OutcomeKey
    wording: str = ""
    reasons: tuple[Reason, ...] = ()
    untold: tuple[str, ...] = ()
    is_identity: bool = False

    @property
    def verdict(self) -> Verdict:
        """The same as the record keeps it."""
        return Verdict(test=self.test, outcome=self.outcome, wording=self.wording, reasons=self.reasons)


def excuse(judgement: Judgement, *, irreplaceable: str | None, by: str, second: str, why: str) -> Judgement:
    """The judgement, accepted with a comment all the same, because two people decided so.

    Only for a specimen that cannot be drawn again, with the reason written down, by two different
    people, and never where the identity is in doubt. Raises `ReceiptError` otherwise.
    """
    if judgement.outcome != "refuse":
        return judgement
    if judgement.is_identity:
        raise ReceiptError(
            "found a fault of identity; expected none: no exception is made for a specimen that may be of another "
            "patient; draw again",
            where=f"test {judgement.test}",
        )
    if irreplaceable is None:
        raise ReceiptError(
            "found a specimen that can be drawn again; expected one recorded as irreplaceable; draw again",
            where=f"test {judgement.test}",
        )
    need_two(by=by, second=second, why=why)
    check = checks()["exception"]
    text = f"cannot be drawn again ({irreplaceable}); {by.strip()} and {second.strip()}: {why.strip()}"
    mark = check.marks[0]
    reason = Reason(about="exception", text=text, basis=mark.basis, sources=(mark.source,))
    return msgspec.structs.replace(
        judgement,
        outcome="comment",
        wording=f"{check.wording} {judgement.wording}",
        reasons=(*judgement.reasons, reason),
    )


def need_two(*, by: str, second: str, why: str) -> None:
    """Raise `ReceiptError` where a refusal is not set aside by two different people who say why."""
    first, other = by.strip().casefold(), second.strip().casefold()
    if not first or not other or first == other:
        raise ReceiptError("found one person; expected two different ones to make an exception", where="second")
    if not why.strip():
        raise ReceiptError("found no reason; expected in words why the exception is made", where="why")


def is_of_identity(verdict: Verdict) -> bool:
    """Whether this verdict refuses for whose specimen it may be: that stands, whatever is found later."""
    return verdict.outcome == "refuse" and any(
        (check := checks().get(reason.about)) is not None and check.is_identity for reason in verdict.reasons
    )


def holds_for_whole(reason: Reason) -> bool:
    """Whether the check behind this reason holds for every test of the tube, those added later too."""
    check = checks().get(reason.about)
    return check is not None and check.is_whole


def worded(check: str, found: str) -> str:
    """The sentence of a report: what the check says, and what was found."""
    wording = checks()[check].wording
    return wording if check in _PLAIN else f"{wording.rstrip('.')}: {found}."


def is_shared(reason: Reason) -> bool:
    """Whether this reason is said once for all the tests of an answer."""
    check = checks().get(reason.about)
    return check is not None and check.is_shared


def own_wording(verdict: Verdict | Judgement) -> str:
    """The wording without what is said once for all the tests of an answer."""
    text = verdict.wording
    for reason in verdict.reasons:
        if is_shared(reason):
            text = text.replace(worded(reason.about, reason.text), "")
    return " ".join(text.split())


def shared_wording(verdicts: Iterable[Verdict | Judgement]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What is said once for all the tests of an answer, each sentence with the tests that it is of."""
    found: dict[str, list[str]] = {}
    for verdict in verdicts:
        for reason in verdict.reasons:
            if is_shared(reason) and (text := worded(reason.about, reason.text)) in verdict.wording:
                found.setdefault(text, []).append(verdict.test)
    return tuple((text, tuple(tests)) for text, tests in found.items())
