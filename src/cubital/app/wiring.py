"""The one place of the app that knows its adapters: sites and orders out of folders, files and words, the record."""

from __future__ import annotations

import contextlib
import datetime
import functools
import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import msgspec

from cubital.app.clock import now as read_now
from cubital.app.clock import today as read_today
from cubital.app.draws import Failure
from cubital.errors import CubitalError, ExchangeError, MissingLibrary, OrderError, SiteError
from cubital.model import Order, Patient, Plan, Site

if TYPE_CHECKING:
    from cubital.app.accounts import Accounts
    from cubital.app.blood_loss import DrawnBlood
    from cubital.app.known import Known
    from cubital.app.ports import Now, RecordStore
    from cubital.app.record import SpecimenRecord
    from cubital.app.site_editing import SiteVersions
    from cubital.app.taking import Takings
    from cubital.exchange.site_tables import PatchedSite
    from cubital.exchange.waiting_file import Waiting
    from cubital.model import Finding
    from cubital.model.centrifuge import RecordedTube
    from cubital.model.identity import Collection
    from cubital.model.record import Head, Link
    from cubital.model.results import ResultSet, TypedLine
    from cubital.model.site_version import SiteFiles
    from cubital.planning.directory import Directory


class ByteLines(Protocol):
    """A binary stream that is read line by line."""

    def readline(self, size: int = -1, /) -> bytes:
        """The next line, or at most `size` bytes of it; empty at the end."""
        ...


def demo_folder() -> Path:
    """The folder of the demo site, an invented small hospital."""
    from cubital.exchange.demo_folder import demo_folder

    return demo_folder()


def starter_files() -> tuple[Path, ...]:
    """The files of the starter site, which `site new` copies."""
    from cubital.facts.reading import DATA

    return tuple(sorted((DATA / "starter").glob("*.toml")))


def open_site(folder: Path | str | None = None, *, demo: bool = False) -> Site:
    """The site in this folder; the invented demo site; or the shipped defaults.

    Raises `SiteError` with every finding of the folder.

    >>> open_site(demo=True).name
    'Quillmere Hospital (invented)'
    """
    from cubital.exchange.site_folder import read_site

    if demo:
        return read_site(demo_folder())
    return read_site(None if folder is None else Path(folder))


def read_findings(folder: Path) -> tuple[Site | None, frozenset[str], tuple[Finding, ...]]:
    """The sound entries of this folder as a site, the tube kinds that are not sound, and what reading it found."""
    from cubital.exchange.site_folder import read_as_far_as_sound

    return read_as_far_as_sound(folder)


def site_files(folder: Path | str | None = None, *, demo: bool = False) -> tuple[str, dict[str, str]]:
    """The name of a site's folder and the texts of its files; neither for the shipped defaults."""
    from cubital.exchange.site_files import read_folder_files

    if not demo and folder is None:
        return "", {}
    chosen = demo_folder() if demo else Path(folder or "")
    return chosen.absolute().name, read_folder_files(chosen)


def tables_of(files: SiteFiles) -> dict[str, dict[str, Any]]:
    """The tables in the texts of a site's files; raises `SiteError` where one is no TOML."""
    from cubital.exchange import site_files

    findings: list[Finding] = []
    tables = site_files.tables_of(files, findings=findings)
    if findings:
        raise SiteError(str(findings[0]), where="site", findings=[str(one) for one in findings])
    return tables


def read_site_tables(
    tables: Mapping[str, Mapping[str, Any]], *, name: str
) -> tuple[Site | None, frozenset[str], tuple[Finding, ...]]:
    """The sound entries of these tables as a site, the tube kinds that are not sound, and what reading them found."""
    from cubital.exchange import site_files

    return site_files.read_site_tables(tables, name=name)


def change_files(files: SiteFiles, changes: Mapping[str, Mapping[str, Any | None]]) -> dict[str, str]:
    """The texts of a site's files with these entries of each file changed; None takes an entry out."""
    from cubital.exchange import site_files

    return site_files.change_files(files, changes)


def zip_site(files: SiteFiles, *, folder: str) -> bytes:
    """One archive of a folder with these files."""
    from cubital.exchange import site_files

    return site_files.zip_files(files, folder=folder)


def site_formats() -> tuple[str, ...]:
    """The formats in which a site goes out to other programs."""
    from cubital.exchange.site_tables import FORMATS

    return FORMATS


def write_site_file(site: Site, kind: str, *, on: datetime.date, cautions: tuple[str, ...]) -> bytes:
    """The site as a file of this format; raises `MissingLibrary` where a workbook's library is not installed."""
    from cubital.exchange.site_tables import write_site

    with _needing("a workbook", "web"):
        return write_site(site, kind, on=on, cautions=cautions)


def patch_site_files(
    data: bytes, files: SiteFiles, site: Site, *, name: str, where: str, replaces: bool
) -> PatchedSite:
    """What the tables in this file make of a site's files; `site` is what the files say now."""
    from cubital.exchange.site_tables import patch_with_file

    with _needing("a workbook", "web"):
        return patch_with_file(data, files, site, name=name, where=where, replaces=replaces)


def open_site_versions(
    address: str, folder: Path | str | None = None, *, demo: bool = False, now: Now = read_now
) -> SiteVersions:
    """The versions of this site in the database of the record; its folder is the base. Raises as `open_store` does."""
    from cubital.app.site_editing import SiteVersions

    name, files = site_files(folder, demo=demo)
    with _needing_server():
        from cubital.store.engine import open_engine
        from cubital.store.site_versions import sql_site_versions

    return SiteVersions(sql_site_versions(open_engine(address)), files, folder=name, now=now)


def read_order(data: bytes | str, *, where: str = "order", today: datetime.date | None = None) -> Order:
    """The order in these bytes of JSON; where it names no day, it is for today.

    >>> read_order('{"patient": {"age": "4 a"}, "tests": ["K"]}').asks[0].test
    'K'
    """
    from cubital.exchange.order_file import read_order

    return read_order(data, where=where, today=today or read_today())


def read_request(
    data: bytes,
    site: Site,
    *,
    where: str,
    on: datetime.date | None = None,
    today: datetime.date | None = None,
) -> list[Order]:
    """The orders in a file of one request: our own JSON, or FHIR R4 where it has a `resourceType`.

    `on` is the day of the draw where the person said it; an order of our own that names another
    is refused. A FHIR request whose day is past is planned for today, and says so.
    """
    from cubital.planning.directory import Directory

    return _read_request(data, lambda: Directory(site), where=where, on=on, today=today)


def _read_request(
    data: bytes,
    directory: Callable[[], Directory],
    *,
    where: str,
    on: datetime.date | None,
    today: datetime.date | None,
) -> list[Order]:
    from cubital.exchange.json_bytes import decode_json

    day = today or read_today()
    value = decode_json(data, where=where)
    if not (isinstance(value, dict) and "resourceType" in value):
        return [_on_day(read_order(data, where=where, today=on or day), on, where=where)]
    from cubital.exchange.fhir import read_fhir

    orders = read_fhir(data, directory=directory(), where=where, on=on)
    if on is None and any(order.on is None for order in orders):
        # An age from a birth date needs the day of the draw: read again with the one it will have.
        orders = read_fhir(data, directory=directory(), where=where, on=day)
    return [_brought_forward(order, day) if on is None else order for order in orders]


def read_waiting(
    data: bytes, site: Site, *, now: datetime.datetime, at: str | None, where: str, recorded: Mapping[str, RecordedTube]
) -> Waiting:
    """The tubes that wait for their spin, in these bytes of JSON and in the record, and how the centrifuges stand."""
    from cubital.exchange.waiting_file import read_waiting

    return read_waiting(data, site, now=now, at=at, where=where, recorded=recorded)


def read_specimens(data: bytes, site: Site, *, where: str) -> tuple[tuple[Known, ...], tuple[str, ...]]:
    """The specimens in a file of another system, and the paths of fields that nothing reads."""
    from cubital.app.known import Known
    from cubital.exchange.specimens_file import read_specimens

    found = read_specimens(data, site, where=where)
    return tuple(Known(*one) for one in found.specimens), found.unread


def read_local(text: str, site: Site, *, where: str) -> datetime.datetime:
    """The instant at which the clocks of this site showed so; raises `LocalTimeError` where there is none, or two."""
    from cubital.exchange.local_time import read_local

    return read_local(text, site.time_zone, where=where)


def say_local(moment: datetime.datetime, site: Site) -> str:
    """The instant as the clocks of the site show it."""
    from cubital.exchange.local_time import say_local

    return say_local(moment, site.time_zone)


def read_lines(
    stream: ByteLines,
    *,
    where: str,
    site: Site,
    on: datetime.date | None = None,
    today: datetime.date | None = None,
) -> Iterator[tuple[int, Order | Failure]]:
    """Every order of JSON Lines with the number of its line; a bad line comes out as a `Failure`.

    A line may hold our own JSON or FHIR R4; a Bundle of several patients or days gives several orders.
    """
    from cubital.exchange.order_file import BadOrder, read_orders
    from cubital.planning.directory import Directory

    day = today or read_today()
    directory = functools.cache(lambda: Directory(site))

    def read(data: bytes, place: str) -> list[Order]:
        return _read_request(data, directory, where=place, on=on, today=day)

    counted = _CountedLines(stream)
    for found in read_orders(counted, where=where, today=on or day, read_request=read):
        if isinstance(found, BadOrder):
            yield found.line, Failure(line=found.line, error=found.error, id=found.id)
            continue
        try:
            yield counted.number, _on_day(found, on, where=f"{where} line {counted.number}")
        except OrderError as error:
            yield counted.number, Failure(line=counted.number, error=error, id=found.id)


def order_of_words(fields: Mapping[str, Any], *, where: str, today: datetime.date | None = None) -> Order:
    """The order that a person wrote at the prompt, checked as an order file is."""
    from cubital.exchange.order_file import order_from_json

    return order_from_json(fields, where=where, today=today or read_today())


def read_drawn(
    data: bytes, *, where: str, today: datetime.date | None = None
) -> tuple[Patient, tuple[DrawnBlood, ...], tuple[str, ...]]:
    """The patient and the draws in a file of draws, and the paths of fields that nothing reads."""
    from cubital.app.blood_loss import DrawnBlood, DrawnTube
    from cubital.exchange.draws_file import read_draws

    found = read_draws(data, where=where, today=today or read_today())
    draws = tuple(
        DrawnBlood(
            at=draw.at,
            volume_ul=draw.volume_ul,
            tubes=tuple(DrawnTube(kind=kind, volume_ul=volume_ul) for kind, volume_ul in draw.tubes),
            tests=draw.tests,
        )
        for draw in found.draws
    )
    return found.patient, draws, found.unread


def read_collection(data: bytes, *, where: str) -> Collection:
    """Whose draw is printed: the patient's identifiers, the specimens' numbers, when and by whom taken."""
    from cubital.exchange.collection_file import read_collection

    return read_collection(data, where=where)


def read_samples(
    data: bytes | str, site: Site, *, where: str = "results", today: datetime.date | None = None
) -> tuple[ResultSet, ...]:
    """The samples in a file of results: our own JSON, FHIR R4 where it has a `resourceType`, else CSV.

    A tube is a kind of the site or an additive. Raises `ExchangeError` where it is none of the three, `UnitError` where
    a unit is missing or foreign, and `OrderError`, with the place, for the rest.

    >>> found = read_samples("code,value,unit\\nK,4.2,mmol/L\\n", open_site())
    >>> found[0].results[0].analyte
    'potassium'
    """
    from functools import partial

    from cubital.app.carry_over import additive_of

    data = data.encode() if isinstance(data, str) else data
    of_site = partial(additive_of, site=site)
    start = data.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not start:
        raise ExchangeError("found nothing; expected results in JSON, CSV or FHIR; write one at least", where=where)
    if start[:1] not in b"{[":
        from cubital.exchange.results_table import read_results_table

        return tuple(read_results_table(data, additive_of=of_site, where=where))
    from cubital.exchange.json_bytes import decode_json

    value = decode_json(data, where=where)
    if isinstance(value, dict) and "resourceType" in value:
        from cubital.exchange.fhir_results import read_fhir_results

        return tuple(read_fhir_results(data, additive_of=of_site, where=where))
    from cubital.exchange.results_file import read_results

    return tuple(read_results(data, additive_of=of_site, where=where, today=today or read_today()))


def read_typed_results(
    text: str, earlier: str, fields: Mapping[str, Any], site: Site, *, hours_before: Decimal | None
) -> tuple[tuple[TypedLine, ...], tuple[TypedLine, ...], ResultSet | None]:
    """The lines that a person typed, those of earlier results, and the sample; no sample where a line is refused.

    Raises `OrderError` and `UnitError` for the fields beside the lines, and where no analyte is known.
    """
    from functools import partial

    from cubital.app.carry_over import additive_of
    from cubital.exchange.results_typed import MOST_LINES, read_typed_lines, sample_of_lines

    lines = read_typed_lines(text)
    before = read_typed_lines(earlier, hours_before=hours_before, is_earlier=True)
    if len(lines) + len(before) > MOST_LINES:
        raise OrderError(f"found {len(lines) + len(before)} lines; expected at most {MOST_LINES}", where="results")
    is_refused = any(line.is_refused for line in (*lines, *before))
    if is_refused or not any(line.result is not None for line in lines):
        return tuple(lines), tuple(before), None
    sample = sample_of_lines(lines, before, fields, additive_of=partial(additive_of, site=site))
    return tuple(lines), tuple(before), sample


def is_results_table(text: str) -> bool:
    """Whether what was pasted is JSON or a table with a heading, which `read_samples` reads."""
    from cubital.exchange.results_typed import is_table

    return is_table(text)


def patient_of_words(fields: Mapping[str, Any], *, where: str, today: datetime.date | None = None) -> Patient:
    """The patient that a person wrote at the prompt, checked as one in an order file is."""
    from cubital.exchange.order_file import patient_from_json

    return patient_from_json(fields, where=where, today=today or read_today())[0]


def plan_document(plan: Plan) -> dict[str, Any]:
    """The plan as the JSON object that `--json` prints."""
    from cubital.exchange import plan_json

    return plan_json.plan_document(plan)


def error_document(error: CubitalError) -> dict[str, Any]:
    """The error as the JSON object that `--json` prints."""
    from cubital.exchange import plan_json

    return plan_json.error_document(error)


def read_day(text: str, *, where: str) -> datetime.date:
    """The day of the calendar in this text; raises `OrderError` for anything but year-month-day.

    >>> read_day("2026-11-25", where="--on")
    datetime.date(2026, 11, 25)
    """
    try:
        if len(text) == 10 and text.isascii():
            return datetime.date.fromisoformat(text)
    except ValueError:
        pass  # refused below, in the same words as a text of another length
    raise OrderError(f"found {text[:40]!r}; expected a day of the calendar; write it as 2026-11-25", where=where)


def read_bytes(path: str, *, stdin: Any) -> bytes:
    """What this file holds, `-` being what comes in; raises `ExchangeError` where it cannot be read."""
    from cubital.exchange.json_bytes import MOST_BYTES

    # One byte over the bound: enough for the reader to refuse it, without holding the rest.
    if path == "-":
        return bytes(stdin.read(MOST_BYTES + 1))
    try:
        with open(path, "rb") as file:
            return file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise unreadable(path, error) from None


def write_bytes(path: str, data: bytes) -> None:
    """Write these bytes as this file, `-` being what goes out; raises `ExchangeError` where it cannot be written."""
    import sys

    if path == "-":
        sys.stdout.buffer.write(data)
        return
    try:
        Path(path).write_bytes(data)
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or str(error)
        raise ExchangeError(f"found {said}; expected a file that can be written; name another", where=path) from None


def unreadable(path: str, error: Exception) -> ExchangeError:
    """The error for a file that cannot be read."""
    said = getattr(error, "strerror", None) or str(error)
    return ExchangeError(f"found {said}; expected a file that can be read; name another", where=path)


def open_store(address: str) -> RecordStore:
    """The store at this path of a SQLite file or this URL `postgresql://…`, which must hold a record.

    Raises `UnreadyRecord` where there is no such file, and `MissingLibrary` where the libraries of a
    record are not installed; a server is asked only when it is used.
    """
    with _needing_server():
        from cubital.store.engine import open_engine
        from cubital.store.record import SqlRecord

    return SqlRecord(open_engine(address))


def open_record(address: str, *, now: Now = read_now) -> SpecimenRecord:
    """The record of specimens at this path or URL, written by the clock `now`."""
    from cubital.app.record import SpecimenRecord

    return SpecimenRecord(open_store(address), now=now)


def open_accounts(address: str, *, now: Now = read_now) -> Accounts:
    """The accounts in the database of this record; raises as `open_store` does."""
    from cubital.app.accounts import Accounts

    with _needing("the accounts", "web"):
        from cubital.store.accounts import sql_accounts
        from cubital.store.engine import open_engine
        from cubital.store.password import Argon2Hasher

    return Accounts(sql_accounts(open_engine(address)), hasher=Argon2Hasher(), now=now)


def open_takings(address: str, *, record: SpecimenRecord, now: Now = read_now) -> Takings:
    """The draws in hand in the database of this record; raises as `open_store` does."""
    from cubital.app.taking import Takings

    with _needing_server():
        from cubital.store.engine import open_engine
        from cubital.store.takings import sql_takings

    return Takings(sql_takings(open_engine(address)), record=record, now=now)


def upgrade_store(address: str) -> tuple[str | None, str]:
    """Make the tables of a record there, or bring them to the newest edition: the edition before and after."""
    with _needing_server():
        from cubital.store.engine import open_engine
        from cubital.store.migration import upgrade

    engine = open_engine(address, is_new_allowed=True)
    try:
        return upgrade(engine)
    finally:
        engine.dispose()


def back_up(address: str, target: Path, *, is_portable: bool = False) -> Head:
    """Write a backup of the record into a new file, read it back, and say with which head it ends.

    A SQLite record is copied as a SQLite file, unless it `is_portable`; one in PostgreSQL is written
    as lines, which restore into either. Others may write meanwhile.
    """
    store = open_store(address)
    from cubital.app.record_care import read_back
    from cubital.exchange import record_lines
    from cubital.store.copy import copy_file, write_file

    try:
        file = store.file
        if file is not None and not is_portable:
            copy_file(file, target)
        else:
            with store.reading() as record:
                write_file(target, record_lines.write_lines(record.head(), record.links()))
        with open_backup(target) as (head, links):
            read_back(links, head)
        return head
    finally:
        store.close()


@contextlib.contextmanager
def open_backup(path: Path) -> Iterator[tuple[Head, Iterator[Link]]]:
    """The head and the entries of a backup, of either form; raises `ExchangeError` where it is none."""
    from cubital.exchange import record_lines

    where = str(path)
    try:
        file = path.open("rb")
    except OSError as error:
        raise unreadable(where, error) from None
    with file:
        start = file.read(100)
        file.seek(0)
        if record_lines.is_lines(start):
            yield record_lines.read_heading(file, where=where), record_lines.read_links(file, where=where)
            return
    if not start.startswith(b"SQLite format 3\x00"):
        raise ExchangeError("found a file of another kind; expected a backup of a record", where=where)
    store = open_store(where)
    try:
        with store.reading() as record:
            yield record.head(), record.links()
    finally:
        store.close()


def head_of_backup(path: Path) -> Head:
    """The head with which this backup ends."""
    with open_backup(path) as (head, _):
        return head


def read_head(text: str) -> Head:
    """The head that was noted so, as `cubital db check` prints it; raises `ExchangeError` for anything else.

    >>> read_head("12:" + "ab" * 32).sequence
    12
    """
    from cubital.model.record import Head

    number, _, digits = text.strip().partition(":")
    if not (number.isascii() and number.isdigit() and re.fullmatch(r"[0-9a-f]{64}", digits)):
        raise ExchangeError(
            f"found {text[:80]!r}; expected a head as the check prints it: the number of an entry, a colon, 64 digits",
            where="--head",
        )
    return Head(sequence=int(number), hash=digits)


@contextlib.contextmanager
def _needing(what: str, extra: str) -> Iterator[None]:
    try:
        yield
    except ModuleNotFoundError as error:
        raise MissingLibrary(
            f'found no {error.name}; {what} needs it; run: pip install "cubital[{extra}]"', where=what.split()[-1]
        ) from None


def _needing_server() -> contextlib.AbstractContextManager[None]:
    return _needing("the record", "server")


class _CountedLines:
    """A stream and the number of the last line that was read whole from it."""

    def __init__(self, stream: ByteLines) -> None:
        self._stream = stream
        self._is_inside = False
        self.number = 0

    def __iter__(self) -> Iterator[bytes]:
        while line := self.readline():
            yield line

    def readline(self, size: int = -1) -> bytes:
        part = self._stream.readline(size)
        if part and not self._is_inside:
            self.number += 1
        self._is_inside = bool(part) and not part.endswith(b"\n")
        return part


def _on_day(order: Order, on: datetime.date | None, *, where: str) -> Order:
    if on is not None and order.on != on:
        raise OrderError(
            f"found {order.on} in the order and {on} at the prompt; expected one day; take one out",
            where=f"{where} on",
        )
    return order


def _brought_forward(order: Order, day: datetime.date) -> Order:
    """The order on a day that is not past: an age grows with it, and the plan says what was done."""
    if order.on is None or order.on >= day:
        return order
    age_h = order.patient.age_h
    older_h = None if age_h is None else age_h + 24 * (day - order.on).days
    return msgspec.structs.replace(
        order,
        on=day,
        patient=msgspec.structs.replace(order.patient, age_h=older_h),
        unread=(*order.unread, f"the day of the request, {order.on}, is past: planned for {day}"),
    )
