"""What may have gone into a tube, as a page shows it: verdict in words, likelihoods, each result, reasons, sources."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import msgspec

from cubital import facts
from cubital.app.explanation import Explanation, Statement, marked, sections_of
from cubital.app.suspicion import suspect
from cubital.app.wiring import is_results_table, read_samples, read_typed_results
from cubital.errors import CubitalError, OrderError
from cubital.facts.causes import Cause, causes
from cubital.facts.population import population
from cubital.facts.screens import screens
from cubital.model import Site
from cubital.model.results import ResultSet, TypedLine

if TYPE_CHECKING:
    from decimal import Decimal

    from cubital.inference.verdict import Suspicion

MOST_SHOWN = 50
# Causes under this are shown together; a cause from the other on is told with its sources.
_LEAST_SHOWN, _LEAST_TOLD = 0.005, 0.02
_OF_HEADLINE = 0.05
ACT = "Draw again before acting"
# What each verdict asks of the reader where nothing has to be drawn again at once.
_OTHERWISE = {
    "nothing found": "A small share is never excluded.",
    "suspect": "What is trusted below holds.",
    "cannot tell": "Look at it before anything is released.",
}


class Likelihood(msgspec.Struct, frozen=True, kw_only=True):
    """One cause and how likely it is; `family` says what it is a kind of."""

    key: str
    name: str
    family: str
    chance: float
    words: str


class ShownResult(msgspec.Struct, frozen=True, kw_only=True):
    """One result: as measured and, where the likeliest cause would have moved it, as it would be without."""

    name: str
    measured: str
    is_trusted: bool
    without: str | None = None


class Share(msgspec.Struct, frozen=True, kw_only=True):
    """The contaminating share of the plasma, of all 1, and the same in words."""

    estimate: float
    low: float
    high: float
    words: str


class SampleAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The answer for one sample; `others` is the chance of all causes that are not in `likelihoods`.

    `lead` is the cause by which results are computed back, empty where none is likely enough to be named.
    """

    id: str | None
    verdict: str
    headline: str
    odds: str
    is_drawn_again: bool
    act: str
    why: str
    screens: tuple[str, ...]
    likelihoods: tuple[Likelihood, ...]
    others: str
    share: Share | None
    lead: str
    results: tuple[ShownResult, ...]
    reasons: tuple[str, ...]
    caution: str
    unread: tuple[str, ...]
    told: Explanation


class ResultsAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of what was typed or sent: every line as it was read, and the answers, or why there are none.

    Neither `samples` nor `refusal` with no line that is refused: nothing to weigh was typed.
    """

    lines: tuple[TypedLine, ...] = ()
    earlier: tuple[TypedLine, ...] = ()
    refusal: CubitalError | None = None
    note: str = ""
    samples: tuple[SampleAnswer, ...] = ()

    @property
    def refused_lines(self) -> tuple[TypedLine, ...]:
        """The lines that must be corrected before anything is weighed."""
        return tuple(line for line in (*self.lines, *self.earlier) if line.is_refused)


def answer_typed_results(
    text: str, earlier: str, fields: Mapping[str, Any], site: Site, *, hours_before: Decimal | None = None
) -> ResultsAnswer:
    """The answer for what was typed or pasted in the box, with the other fields as an order file writes them.

    JSON and a table with a heading are read as a file is, and say themselves what the fields would.

    >>> from cubital.app.wiring import open_site
    >>> found = answer_typed_results("K 4.2 mmol/L\\nNa 140 mmol/L\\nCa 2.3 mmol/L", "", {}, open_site())
    >>> found.samples[0].headline
    'Nothing found'
    """
    try:
        if is_results_table(text):
            answer = answer_file(text.encode(), site, where="results")
            is_more = bool(fields or earlier.strip())
            note = "What stands in the other fields is not used: a table says it in its own columns." if is_more else ""
            return msgspec.structs.replace(answer, note=note)
        lines, before, sample = read_typed_results(text, earlier, fields, site, hours_before=hours_before)
    except CubitalError as error:
        return ResultsAnswer(refusal=error)
    found = () if sample is None else _answers((sample,))
    return ResultsAnswer(lines=lines, earlier=before, samples=found)


def answer_file(data: bytes, site: Site, *, where: str) -> ResultsAnswer:
    """The answers for a file of results: JSON, CSV or FHIR R4."""
    try:
        samples = read_samples(data, site, where=where)
        if len(samples) > MOST_SHOWN:
            raise OrderError(
                f"found {len(samples)} samples; expected at most {MOST_SHOWN} on a page; "
                "split the file, or run: cubital suspect",
                where=where,
            )
        return ResultsAnswer(samples=_answers(samples))
    except CubitalError as error:
        return ResultsAnswer(refusal=error)


def _answers(samples: tuple[ResultSet, ...]) -> tuple[SampleAnswer, ...]:
    return tuple(_shown(sample, found) for sample, found in zip(samples, suspect(samples), strict=True))


def _shown(sample: ResultSet, found: Suspicion) -> SampleAnswer:
    likely = sorted(found.causes, key=lambda pair: -pair[1])
    shown = tuple(_likelihood(causes()[key], chance) for key, chance in likely if chance >= _LEAST_SHOWN)
    others = sum(chance for _, chance in likely if chance < _LEAST_SHOWN)
    *reasons, caution = found.reasons
    met = tuple(screens()[key].words() for key in found.screens)
    why = reasons.pop(0) if found.redraw else ""
    return SampleAnswer(
        id=found.id, verdict=found.verdict, headline=_headline(found), odds=odds_of(found),
        is_drawn_again=found.redraw,
        act=ACT if found.redraw else _OTHERWISE[found.verdict],
        why=why.removeprefix(f"{ACT.lower()}: ").removeprefix("draw again: "),
        screens=met, likelihoods=shown, others=_percent(others), share=_share(found), lead=_lead(found),
        results=_results(sample, found), reasons=tuple(reason for reason in reasons if reason not in met),
        caution=caution, unread=found.unread,
        told=_told(found),
    )  # fmt: skip


def _headline(found: Suspicion) -> str:
    """The verdict in words, with what is suspected."""
    if found.verdict != "suspect":
        return found.verdict.capitalize()
    named = sorted((pair for pair in found.causes if pair[0] != "none"), key=lambda pair: -pair[1])
    family = causes()[named[0][0]].family
    names = [
        causes()[key].name for key, chance in named if causes()[key].family == family and chance >= _OF_HEADLINE
    ]
    return f"Suspect: {' or '.join(names)}"


def odds_of(found: Suspicion) -> str:
    """How likely what is suspected is, against nothing: it may be suspected while nothing is likelier."""
    if found.verdict != "suspect":
        return ""
    named = max((pair for pair in found.causes if pair[0] != "none"), key=lambda pair: pair[1])
    family = causes()[named[0]].family
    chance = sum(chance for key, chance in found.causes if causes()[key].family == family)
    return f"{_percent(chance)} likely; nothing, {_percent(found.probability('none'))}"


def _lead(found: Suspicion) -> str:
    """The likeliest cause other than nothing, where it is one by which results are computed back."""
    if not found.moved and found.fraction.estimate is None:
        return ""
    return causes()[max((pair for pair in found.causes if pair[0] != "none"), key=lambda pair: pair[1])[0]].name


def _likelihood(cause: Cause, chance: float) -> Likelihood:
    return Likelihood(key=cause.key, name=cause.name, family=cause.family, chance=chance, words=_percent(chance))


def _percent(chance: float) -> str:
    """A chance in words that never says certain or impossible.

    >>> _percent(0.002), _percent(0.42), _percent(0.9999)
    ('under 1 %', '42 %', 'over 99 %')
    """
    if chance < 0.01:
        return "under 1 %"
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def _share(found: Suspicion) -> Share | None:
    share = found.fraction
    if share.estimate is None or share.low is None or share.high is None:
        return None
    words = f"{100 * share.estimate:.2g} % of the plasma, {100 * share.low:.2g} to {100 * share.high:.2g} % with 95 %"
    return Share(estimate=share.estimate, low=share.low, high=share.high, words=words)


def _results(sample: ResultSet, found: Suspicion) -> tuple[ShownResult, ...]:
    """Every result, what is not trusted first."""
    moved = {one.analyte: one.without for one in found.moved}
    rows = []
    for result in sample.results:
        known, is_trusted = population().analytes[result.analyte], result.analyte in found.trusted
        without = None
        if not is_trusted and result.analyte in moved:
            back = moved[result.analyte]
            without = "nearly all of it hidden" if back is None else f"{back:.3g} {known.unit}"
        rows.append(
            ShownResult(
                name=known.name, measured=f"{result.value:.4g} {known.unit}", is_trusted=is_trusted, without=without
            )
        )
    return tuple(sorted(rows, key=lambda row: row.is_trusted))


def _told(found: Suspicion) -> Explanation:
    """What each likely cause and each screen that is met rest on."""
    likely = [key for key, chance in found.causes if chance >= _LEAST_TOLD and key != "none"]
    met = [screens()[key] for key in found.screens]
    sections = sections_of(
        *((f"Screen for {one.means}", [marked(one.text, mark) for mark in one.marks]) for one in met),
        *((causes()[key].name, _statements(causes()[key])) for key in likely),
    )
    return Explanation(subject="results", title="What this rests on", sections=sections)


def _statements(cause: Cause) -> Iterator[Statement]:
    if cause.share is not None:
        yield marked(f"taken as met in {float(100 * cause.share):.2g} % of samples", cause.share_mark)
    if cause.doubted_mark is not None:
        names = ", ".join(population().analytes[key].name for key in cause.doubted)
        yield marked(f"not trusted beside it, whatever is computed: {names}", cause.doubted_mark)
    if cause.additive is not None and cause.additive in facts.additives():
        yield Statement(text="what it does to each result comes from the mass in a full tube", rests_on="computed")
