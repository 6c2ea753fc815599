"""When blood is drawn, relative to what."""

from __future__ import annotations

from cubital import facts
from facts_reference.words import marks_text, table


def moments_of_draws() -> list[str]:
    known = facts.moment_facts()
    anchors = [
        (f"`{key}`", anchor.name, anchor.asks, anchor.ahead, marks_text(anchor.marks))
        for key, anchor in known.anchors.items()
    ]
    subjects = [
        (f"`{key}`", subject.name, ", ".join(subject.also), subject.act or "", marks_text(subject.marks))
        for key, subject in known.subjects.items()
    ]
    moments = [
        (f"`{key}`", moment.name, moment.anchor, moment.of or "", _window(moment), ", ".join(moment.excludes),
         _said(moment), marks_text(moment.marks))
        for key, moment in known.moments.items()
    ]  # fmt: skip
    houses = [(f"`{key}`", f"{one.minutes} min", marks_text(one.marks)) for key, one in known.house.items()]
    return [
        "## Moments",
        "When the blood of a test is drawn, in minutes from an anchor; before it they are negative. `stated` may be "
        "any time once it is written down. A series lists the window of each of its draws.",
        table(("moment", "name", "anchor", "of", "minutes", "never with", "what goes wrong", "rests on"), moments),
        "What minutes count from, which is also what an event of an order may be. `ahead` says whether it may lie "
        "after the instant of the plan: `planned` only where the plan draws blood before it.",
        table(("anchor", "name", "asks", "ahead", "rests on"), anchors),
        "What an anchor is about:",
        table(("subject", "name", "also", "done between the draws", "rests on"), subjects),
        "House rules: a window at least as wide as `loose-from` may be met in a draw made for something else; the "
        "first draw of a series is `before-within` of what it counts from; `series-tolerance` is for series that name "
        "none.",
        table(("rule", "minutes", "rests on"), houses),
    ]  # fmt: skip


def _window(moment: facts.Moment) -> str:
    if moment.draws:
        return ", ".join(str(lo) if lo == hi else f"{lo} to {hi}" for lo, hi in moment.draws)
    ends = [str(minutes) for minutes in (moment.from_min, moment.to_min) if minutes is not None]
    span = " to ".join(ends) if len(ends) == 2 else f"from {ends[0]}" if moment.to_min is None and ends else ""
    span = span or (f"to {ends[0]}" if ends else "")
    return f"{span}, stated".lstrip(", ") if moment.is_stated else span


def _said(moment: facts.Moment) -> str:
    told = (("early", moment.early), ("late", moment.late), ("", moment.caution))
    return "; ".join(f"{what}: {text}" if what else text for what, text in told if text)
