"""`cubital receive`: judge a specimen that arrives, test by test, and record it."""

from __future__ import annotations

import sys
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.bench import Times, bench_options, instant, opened, refuse, source_words, who, wrapped
from cubital.cli.complaint import REFUSED, SOME_FAILED, write_json

if TYPE_CHECKING:
    from datetime import datetime

    from cubital.app.receipt import Receipt
    from cubital.cli.sheet import Sheet
    from cubital.handling.receipt import Arrival, Judgement
    from cubital.model import Site

_SEEN = (
    click.option("--identifiers", metavar="N", type=click.IntRange(0, 9), help="Identifiers that agree."),
    click.option("--differ", metavar="N", type=click.IntRange(0, 9), default=0, help="Identifiers that differ."),
    click.option("--labels", metavar="N", type=click.IntRange(1, 9), default=1, help="Labels on the tube."),
    click.option("--labels-agree/--labels-differ", default=None, help="What two labels say of each other."),
    click.option("--looked", is_flag=True, help="All below was looked at, and is good but for what is said."),
    click.option("--no-time", is_flag=True, help="No time of collection on the label."),
    click.option("--no-collector", is_flag=True, help="No collector on the label."),
    click.option("--expired", is_flag=True, help="Past its date when it was filled."),
    click.option("--clotted", is_flag=True, help="A clot in blood with an anticoagulant."),
    click.option("--leaked", is_flag=True, help="It had leaked."),
    click.option("--open", "opened_", is_flag=True, help="It came open."),
    click.option("--light", is_flag=True, help="It stood in the light."),
    click.option("--fill", metavar="PERCENT", type=click.IntRange(0, 200), help="How full, in percent of its draw."),
    click.option("--came", type=click.Choice(("ambient", "cold", "frozen", "warm", "ice")), help="How it came."),
    click.option("--after-dose", metavar="MIN", type=click.IntRange(0, 100_000), help="Minutes from dose to draw."),
    click.option("--usable-ml", metavar="ML", help="What can be pipetted, where the fill was not as planned."),
    click.option("--hemolysis", metavar="G_PER_L", help="Free hemoglobin in g/L."),
    click.option("--lipemia", metavar="INDEX", help="In the laboratory's own unit."),
    click.option("--icterus", metavar="INDEX", help="In the laboratory's own unit."),
)  # fmt: skip
_WHO = (
    click.option("--by", metavar="WHO", help="Who receives it; the record asks for it."),
    click.option("--station", metavar="WHERE", default="prompt", help="Where."),
    click.option("--second", metavar="WHO", help="The other person, for what cannot be drawn again."),
    click.option("--why", metavar="WORDS", default="", help="Why an exception is made."),
    click.option("--again", is_flag=True, help="Refused tests too, but for identity; by two people, who say why."),
    click.option("--key", metavar="KEY", help="Of this receipt, so that a retry is the same; else by the specimen."),
)


def _with_seen(command: Any) -> Any:
    for option in reversed((*_SEEN, *_WHO)):
        command = option(command)
    return command


@click.command()
@click.argument("specimen")
@_with_seen
@bench_options
def receive(
    specimen: str, file: str | None, address: str, policy: str, at: str | None, site: Path | None, demo: bool,
    as_json: bool, **said: Any,
) -> int:  # fmt: skip
    """Judge SPECIMEN as it arrives: each test accepted, with a comment, or refused, and why.

    With the record it is written there once; a file is only read. What is not said and not --looked at is
    never taken for good, and a label that nobody compared refuses all. Exit status 1 where a test is refused.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.receipt import Person, receipt_document, record_receipt
        from cubital.app.receipt import receive as receive_
        from cubital.handling.keeping import POLICIES

        here = wording.open_chosen(site, demo=demo)
        chosen = next(one for one in POLICIES if one == policy)
        person = Person(
            by=who(said["by"], is_asked=file is None), station=said["station"], second=said["second"], why=said["why"]
        )
        with opened(here, file=file, address=address) as shelf:
            known = shelf.find(specimen)
            arrival = _arrival(said, instant(at, here))
            if shelf.record is None:
                found = receive_(known, here, arrival, policy=chosen, person=person, is_again=said["again"])
            else:
                found = record_receipt(
                    shelf.record, known, here, arrival, person, policy=chosen, key=said["key"], is_again=said["again"]
                )
    except CubitalError as error:
        refuse(error, as_json=as_json)
        return REFUSED
    if as_json:
        write_json(receipt_document(found))
    else:
        from cubital.cli.sheet import sheet_for

        print(*draw_receipt(found, here, sheet_for(sys.stdout)), sep="\n")
    return SOME_FAILED if found.is_refused else 0


def _arrival(said: dict[str, Any], now: datetime) -> Arrival:
    """What was said to be seen; what was not said is good where it was looked at, else not known."""
    from cubital.facts.keeping import INDICES
    from cubital.handling.receipt import Arrival, LabelSeen

    looked = bool(said["looked"])

    def seen(fault: bool) -> bool | None:
        return True if fault else False if looked else None

    def good(fault: bool) -> bool | None:
        found = seen(fault)
        return None if found is None else not found

    label = None
    if said["identifiers"] is not None:
        label = LabelSeen(
            agree=said["identifiers"], differ=said["differ"], labels=said["labels"], labels_agree=said["labels_agree"],
            has_time=good(said["no_time"]), has_collector=good(said["no_collector"]),
        )  # fmt: skip
    fill = said["fill"] if said["fill"] is not None else 100 if looked else None
    usable_ul = wording.number_within(said["usable_ml"], 0, 100, where="--usable-ml", unit="mL", times=1000)
    return Arrival(
        at=now, label=label, is_expired=seen(said["expired"]), is_clotted=seen(said["clotted"]), fill_percent=fill,
        has_leaked=seen(said["leaked"]), was_open=seen(said["opened_"]), was_dark=good(said["light"]),
        came=said["came"], after_min=said["after_dose"], usable_ul=None if usable_ul is None else int(usable_ul),
        indices={key: _index(said[key], key) for key in INDICES if said[key] is not None},
    )  # fmt: skip


def _index(text: str, name: str) -> Decimal:
    wording.number_within(text, 0, 100_000, where=f"--{name}", unit="")
    return Decimal(text)


def draw_receipt(receipt: Receipt, site: Site, sheet: Sheet) -> list[str]:
    """The receipt as lines: each test with its verdict, the wording for the report and what it rests on."""
    from cubital.cli.bench import span
    from cubital.handling.receipt import shared_wording
    from cubital.handling.stability import seconds_between

    specimen = receipt.specimen
    times = Times(site, receipt.arrival.at)
    age = span(max(0, seconds_between(specimen.collected_at, receipt.arrival.at)))
    drawn = times.whole(specimen.collected_at)
    head = f"{specimen.id}, {specimen.kind}, drawn {drawn}, {age} old, {receipt.policy} policy"
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(head, rest="  ")]
    if receipt.is_repeat:
        lines += sheet.wrap(
            f"judged before, at {times.whole(receipt.arrival.at)}: nothing new was recorded", first="  "
        )
    if not receipt.judgements:
        lines.append("  no test of it waits: each was reported, refused or poured off")
    for judgement in receipt.judgements:
        lines += _judged(judgement, sheet)
    for text, tests in shared_wording(receipt.judgements):
        lines += ["", *sheet.wrap(f"of {', '.join(tests)}:", first="  ", rest="    "), *wrapped(sheet, text, indent=4)]
    untold = list(dict.fromkeys(text for one in receipt.judgements for text in one.untold))
    if untold:
        lines += ["", *sheet.wrap(f"cannot tell: {'; '.join(untold)}", first="  ", rest="    ")]
    if not receipt.is_recorded:
        lines += ["", *sheet.wrap("nothing was recorded: specimens of a file are only judged", first="  ")]
    return lines


def _judged(judgement: Judgement, sheet: Sheet) -> list[str]:
    from cubital.handling.receipt import is_shared, own_wording

    how = {"refuse": "stop", "comment": "warn"}.get(judgement.outcome)
    word = f"  {judgement.outcome.upper() if how else judgement.outcome:<9}"
    row = f"{sheet.mark(word, how) if how else word}{judgement.test}"
    wording = own_wording(judgement)
    lines = ["", row] if wording else [row]
    if wording:
        lines += wrapped(sheet, wording, indent=11)
    sources = source_words(tuple(reason for reason in judgement.reasons if not is_shared(reason)))
    return [*lines, *wrapped(sheet, f"[{'; '.join(sources)}]", indent=11)] if sources else lines
