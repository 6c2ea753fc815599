"""What the commands of the bench share: where the specimens are, the policy, the instant, and how times are said."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from cubital.cli import wording
from cubital.cli.complaint import complain, document, write_json

if TYPE_CHECKING:
    from cubital.app.known import Shelf
    from cubital.cli.sheet import Sheet
    from cubital.errors import CubitalError
    from cubital.model import Reason, Site

_Command = TypeVar("_Command", bound=Callable[..., Any])
_OPTIONS = (
    click.option("--specimens", "file", metavar="FILE", help="JSON of specimens instead of the record; - reads it in."),
    wording.record_option,
    click.option(
        "--policy", type=click.Choice(("strict", "extended")), default="strict", show_default=True,
        help="Where sources disagree: the strictest, or the longest that was read.",
    ),
    click.option("--at", metavar="WHEN", help="Local time instead of now, such as 2026-11-25 09:40."),
)  # fmt: skip


def bench_options(command: _Command) -> _Command:
    """The options of every command of the bench."""
    command = wording.site_options(wording.as_json(command))
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@contextmanager
def opened(site: Site, *, file: str | None, address: str) -> Iterator[Shelf]:
    """The specimens of the file, else of the record; says on stderr what of a file nothing reads."""
    from cubital.app import wiring
    from cubital.app.known import Shelf

    if file is not None:
        where = "stdin" if file == "-" else Path(file).name
        known, unread = wiring.read_specimens(wiring.read_bytes(file, stdin=sys.stdin.buffer), site, where=where)
        for path in unread:
            print(f"cubital: {where} {path}: nothing reads it", file=sys.stderr)
        yield Shelf(known)
        return
    record = wiring.open_record(address)
    try:
        yield Shelf(record=record)
    finally:
        record.close()


def instant(at: str | None, site: Site) -> datetime:
    """The instant that was said, else now."""
    from cubital.app.clock import now
    from cubital.app.wiring import read_local

    return now() if at is None else read_local(at, site, where="--at")


def local_day(moment: datetime, site: Site) -> date:
    """The day that it is then at the site."""
    from zoneinfo import ZoneInfo

    return moment.astimezone(ZoneInfo(site.time_zone)).date()


def who(said: str | None, *, is_asked: bool) -> str:
    """The person who was named; raises `OrderError` where the record asks for one."""
    from cubital.errors import OrderError

    if is_asked and not (said or "").strip():
        raise OrderError("found nobody; expected who does it, for the record; name a handle of the site", where="--by")
    return said or "unknown"


def refuse(error: CubitalError, *, as_json: bool, if_reused: str = "") -> None:
    """Say an error raised on purpose in words, and with --json as a document too.

    `if_reused` says what to do where the same key stands in the record for something else: nobody typed that key.
    """
    from cubital.errors import KeyReused

    complain(error)
    if if_reused and isinstance(error, KeyReused):
        print(f"  {if_reused}", file=sys.stderr)
    if as_json:
        write_json(document(error))


class Times:
    """How instants are said on one page: the hour, with the day where it is not the page's own."""

    def __init__(self, site: Site, now: datetime) -> None:
        self.site = site
        self.now = now
        self.today = self._local(now)[:10]

    def _local(self, moment: datetime) -> str:
        from cubital.app.wiring import say_local

        return say_local(moment, self.site)

    def whole(self, moment: datetime) -> str:
        """Day and hour, with the offset where the clocks showed it twice."""
        text = self._local(moment)
        return text[:16] + text[19:]

    def short(self, moment: datetime | None) -> str:
        """The hour, with the day where it is another one; a dash for none."""
        if moment is None:
            return "-"
        text = self.whole(moment)
        if text[:10] == self.today:
            return text[11:]
        # Without its year a day more than half a year away would be taken for the nearer one.
        return text if abs(moment - self.now) > timedelta(days=180) else text[5:]

    def until(self, moment: datetime | None) -> str:
        """How long until then, or since then."""
        if moment is None:
            return ""
        seconds = (moment - self.now) // timedelta(seconds=1)
        return f"in {span(seconds)}" if seconds >= 0 else f"{span(-seconds)} ago"


def span(seconds: int) -> str:
    """A span in the unit a bench uses; never rounded up."""
    from cubital.handling.keeping import span_text

    return span_text(seconds) if seconds >= 60 else f"{seconds} s"


def source_words(reasons: tuple[Reason, ...]) -> list[str]:
    """What each reason rests on, in a few words, each once."""
    from cubital.facts import Mark

    found: dict[str, None] = {}
    for reason in reasons:
        for source in reason.sources:
            basis: Any = reason.basis
            found["this site" if basis == "site" else Mark(basis=basis, source=source).label()] = None
    return list(found)


def wrapped(sheet: Sheet, text: str, *, indent: int) -> list[str]:
    """A line of detail under a row."""
    blank = " " * indent
    return sheet.wrap(text, first=blank, rest=blank + "  ")
