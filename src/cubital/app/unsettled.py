"""A plan of the words that settle: what it says of the others, and that nothing of it is taken before they do."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from cubital.errors import UnsettledWords
from cubital.model import Caution, Plan, Site, Unsettled

SAID = {
    "unknown": "no test or panel of this site goes by this name",
    "ambiguous": "this name stands for several tests",
    "not-blood": "this is not a blood test",
}
PERHAPS_ELSEWHERE = "this name also stands for a test not of blood"


def with_unsettled(plan: Plan, unsettled: tuple[Unsettled, ...]) -> Plan:
    """The plan, saying which words of its order it leaves out: a stop, for nothing of it may be taken.

    Nothing else of the plan is changed.
    """
    if not unsettled:
        return plan
    words = ", ".join(repr(_short(one.word)) for one in unsettled)
    many = f"{len(unsettled)} word{'' if len(unsettled) == 1 else 's'} of the order"
    stop = Caution(
        level="stop", basis="computed",
        text=f"NOT ALL: {many} not settled and not in this plan: {words}; take nothing until each is settled",
    )  # fmt: skip
    return msgspec.structs.replace(plan, unsettled=unsettled, cautions=(stop, *plan.cautions))


def said_of(one: Unsettled) -> str:
    """What is wrong with this word, in a few words.

    >>> said_of(Unsettled(word="UA", where="tests[0]", trouble="ambiguous", said="", choices=("urate",)))
    'this name also stands for a test not of blood'
    """
    if one.trouble == "not-blood":
        return one.said
    if one.looks:
        return f"this is how the stopper of {', '.join(one.looks)} looks, a tube and no test: name the test"
    return PERHAPS_ELSEWHERE if one.trouble == "ambiguous" and len(one.choices) == 1 else SAID[one.trouble]


def offers_of(one: Unsettled) -> tuple[str, ...]:
    """The keys of what this word may mean: its choices, or the names near it."""
    return one.choices or one.near


def unsettled_line(one: Unsettled) -> str:
    """The word, its place, what is wrong with it and the keys of what it may mean, in one line."""
    keys = ", ".join(offers_of(one))
    offered = f"; {'one of' if one.choices else 'near'}: {keys}" if keys else ""
    return f"{_short(one.word)!r} ({one.where}): {said_of(one)}{offered}"


def name_of(key: str, site: Site) -> str:
    """The name of a test or panel of this site."""
    record = site.tests.get(key) or site.panels.get(key)
    return key if record is None else record.name


def refuse_unsettled(unsettled: Sequence[Unsettled]) -> None:
    """Raise `UnsettledWords` where any word is not settled: nothing of such a plan is taken, labelled or recorded."""
    if not unsettled:
        return
    many = f"{len(unsettled)} word{'' if len(unsettled) == 1 else 's'}"
    raise UnsettledWords(
        f"found {many} not settled: {'; '.join(_named(one) for one in unsettled)}; expected every word of the order to "
        "name one test before anything of it is taken; write the one meant, take the word out, or add it to the "
        "tests of the site, and plan again",
        where=unsettled[0].where, words=[one.word for one in unsettled],
    )  # fmt: skip


def _named(one: Unsettled) -> str:
    offered = f", {'one of' if one.choices else 'near'} {', '.join(offers_of(one))}" if offers_of(one) else ""
    return f"{_short(one.word)!r} ({one.trouble.replace('-', ' ')}{offered})"


def _short(word: str) -> str:
    return word if len(word) <= 60 else word[:57] + "..."
