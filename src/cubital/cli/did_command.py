"""`cubital did`: write down what was done at the bench, so that the board goes on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.bench import Times, instant, refuse
from cubital.cli.complaint import REFUSED, write_json

if TYPE_CHECKING:
    from cubital.app.deeds import Doer
    from cubital.app.record import SpecimenRecord
    from cubital.model import Site
    from cubital.model.record import Recorded
    from cubital.model.specimen import Spun

_OPTIONS = (
    click.option("--by", metavar="WHO", required=True, help="Who did it."),
    click.option("--station", metavar="WHERE", default="prompt", help="Where."),
    click.option("--at", metavar="WHEN", help="Local time instead of now, such as 2026-11-25 09:40."),
    click.option("--key", metavar="KEY", help="Of this deed, so that a retry is the same; else by the specimen."),
    wording.record_option,
    wording.as_json,
)


def _options(command: Any) -> Any:
    command = wording.site_options(command)
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.group()
def did() -> None:
    """Write down what was done at the bench: the board goes on from it. A retry writes nothing twice."""


@did.command()
@click.argument("specimens", nargs=-1, required=True)
@click.option("--rcf", "rcf_g", metavar="G", type=int, required=True, help="Force in multiples of g.")
@click.option("--min", "minutes", metavar="MIN", required=True, help="Minutes at speed.")
@click.option("--temp", "temperature_c", metavar="C", type=int, required=True, help="Degrees Celsius.")
@_options
def spun(specimens: tuple[str, ...], rcf_g: int, minutes: str, temperature_c: int, **said: Any) -> int:
    """SPECIMENS were in one run; --at is when the rotor had come to rest."""
    from cubital.app.deeds import record_spin

    return _do(
        said,
        lambda record, doer, site: record_spin(
            record, specimens, doer, rcf_g=rcf_g, spin_s=_seconds(minutes), temperature_c=temperature_c
        ),
    )


@did.command()
@click.argument("specimens", nargs=-1, required=True)
@click.option("--in", "storage", type=click.Choice(("ambient", "cold", "frozen", "warm", "ice")), required=True)
@_options
def stored(specimens: tuple[str, ...], storage: Any, **said: Any) -> int:
    """SPECIMENS were put there."""
    from cubital.app.deeds import record_storage

    return _do(said, lambda record, doer, site: record_storage(record, specimens, doer, storage=storage))


@did.command()
@click.argument("specimen")
@click.option("--into", metavar="ID", required=True, help="The name of the new specimen; label it first.")
@click.option("--ml", metavar="ML", required=True, help="How much went into it.")
@click.option("--test", "tests", metavar="TEST", multiple=True, help="A test that goes along; repeatable.")
@_options
def poured(specimen: str, into: str, ml: str, tests: tuple[str, ...], **said: Any) -> int:
    """Some of SPECIMEN was poured off into a new one."""
    from cubital.app.deeds import named_test, record_pouring

    return _do(
        said,
        lambda record, doer, site: record_pouring(
            record,
            specimen,
            doer,
            into=into,
            volume_ul=_ul(ml),
            tests=[named_test(record, specimen, word, site) for word in tests],
        ),
    )


@did.command()
@click.argument("specimen")
@click.argument("test")
@click.option("--ml", metavar="ML", default="0", help="How much the measurement used.")
@_options
def reported(specimen: str, test: str, ml: str, **said: Any) -> int:
    """A result of TEST of SPECIMEN was released."""
    from cubital.app.deeds import named_test, record_result

    return _do(
        said,
        lambda record, doer, site: record_result(
            record, specimen, doer, test=named_test(record, specimen, test, site), volume_ul=_ul(ml)
        ),
    )


@did.command()
@click.argument("specimens", nargs=-1, required=True)
@click.option("--why", metavar="WORDS", required=True, help="Why.")
@_options
def discarded(specimens: tuple[str, ...], why: str, **said: Any) -> int:
    """SPECIMENS were thrown away, for good."""
    from cubital.app.deeds import record_discard

    return _do(said, lambda record, doer, site: record_discard(record, specimens, doer, why=why))


def _seconds(text: str) -> int:
    number = wording.number_within(text, 0, 1440, where="--min", unit="minutes", times=60)
    return round(number or 0)


def _ul(text: str) -> int:
    number = wording.number_within(text, 0, 100, where="--ml", unit="mL", times=1000)
    return round(number or 0)


def _do(said: dict[str, Any], deed: Callable[[SpecimenRecord, Doer, Site], Recorded]) -> int:
    from cubital.errors import CubitalError

    site: Path | None = said["site"]
    try:
        from cubital.app import wiring
        from cubital.app.deeds import Doer, deed_document

        here = wording.open_chosen(site, demo=said["demo"])
        moment = instant(said["at"], here)
        record = wiring.open_record(said["address"])
        try:
            recorded = deed(record, Doer(said["by"], said["station"], moment, said["key"]), here)
        finally:
            record.close()
    except CubitalError as error:
        refuse(
            error, as_json=said["as_json"],
            if_reused="this deed of this specimen is written already, with other figures, words or person, and "
            "stays as written; done a second time: give it a --key of its own",
        )  # fmt: skip
        return REFUSED
    if said["as_json"]:
        write_json(deed_document(recorded))
        return 0
    print(*draw_deed(recorded, Times(here, moment)), sep="\n")
    return 0


def draw_deed(recorded: Recorded, times: Times) -> list[str]:
    """What each specimen is now, a line each."""
    lines = []
    for one in recorded.specimens:
        if one.discarded_at is not None:
            lines.append(f"{one.id}  thrown away {times.whole(one.discarded_at)}")
            continue
        words = [f"{one.left_ul} uL left"]
        words += [_spun(one.spins[-1], times)] if one.spins else []
        words += [f"{one.storage} since {times.whole(one.stays[-1].since)}"] if one.stays else []
        waits = ", ".join(one.waiting) or "nothing"
        lines.append(f"{one.id}  {', '.join(words)}; waits for {waits}")
    if recorded.is_repeat:
        lines.append("recorded before; nothing was written twice")
    return lines


def _spun(run: Spun, times: Times) -> str:
    """The last run with its figures as they were written: a slip in one is seen at once."""
    return f"spun {times.whole(run.at)} ({run.rcf_g} g, {run.spin_s / 60:g} min, {run.temperature_c} C)"
