"""What may have gone into the tube of each sample, as an answer and as a document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from cubital.errors import MissingLibrary
from cubital.model.results import ResultSet

if TYPE_CHECKING:
    from cubital.inference.verdict import Suspicion

FORMAT = "cubital.suspect/1"
# Of a probability and a share that are not 0, nothing finer is said.
_DIGITS = 6


def suspect(samples: Sequence[ResultSet]) -> tuple[Suspicion, ...]:
    """What may have gone into each of these tubes, in their order.

    Raises `MissingLibrary` where numpy, which computes it, is not installed. It supports review and never replaces it.

    >>> from cubital.app.wiring import open_site, read_samples
    >>> data = b"code,value,unit\\nK,4.2,mmol/L\\nCa,2.3,mmol/L\\nNa,140,mmol/L\\n"
    >>> suspect(read_samples(data, open_site(), where="results"))[0].verdict
    'nothing found'
    """
    try:
        from cubital.inference.verdict import suspicions
    except ModuleNotFoundError as error:
        if error.name != "numpy":
            raise
        raise MissingLibrary.of("numpy", need="weighing the causes", extra="inference", where="suspect") from None
    return suspicions(samples)


def suspicion_document(found: Suspicion) -> dict[str, Any]:
    """The answer as one JSON object; members of `fraction` are null where no share applies."""
    share = found.fraction
    document: dict[str, Any] = {
        "format": FORMAT,
        "causes": [{"cause": key, "probability": round(chance, _DIGITS)} for key, chance in found.causes],
        "fraction": {
            name: None if value is None else round(value, _DIGITS)
            for name, value in (("estimate", share.estimate), ("low", share.low), ("high", share.high))
        },
        "trusted": list(found.trusted),
        "verdict": found.verdict,
        "redraw": found.redraw,
        "reasons": list(found.reasons),
    }
    document |= {} if found.id is None else {"id": found.id}
    return document | ({"unread": list(found.unread)} if found.unread else {})
