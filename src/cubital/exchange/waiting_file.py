"""Tubes that wait for their spin, and how the centrifuges stand, in JSON; every time with its place."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import NoReturn

import msgspec

from cubital import facts
from cubital.exchange.form import Form, show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.local_time import read_local
from cubital.exchange.table import is_text, near_misses
from cubital.handling.spin_programs import purposes_for
from cubital.model import Site, TubeKind
from cubital.model.centrifuge import MeasureKey, RecordedTube, Standing, WaitingTube
from cubital.units import millilitres_text

FILE_KEYS = ("at", "centrifuges", "tubes")
CENTRIFUGE_KEYS = ("name", "free_at", "temp_c", "in_use")
TUBE_KEYS = (
    "id", "kind", "draw_ml", "diameter_mm", "fill_ml", "mass_g", "spin", "ready_at", "spun_by", "spun_before",
)  # fmt: skip
MOST_TUBES, MOST_CENTRIFUGES, MOST_PURPOSES = 1000, 20, 10
MOST_MASS_G, MOST_FILL_ML, MOST_DIAMETER_MM = 100, 25, 60
MOST_AWAY = timedelta(days=7)
# Blood of 1 mL weighs about 1.06 g (from memory). It turns a difference of fill into one of mass.
BLOOD_UG_PER_UL = 1060
_IN_WORDS = "as 2026-11-25 09:40, with its offset where the clocks show it twice"


class Waiting(msgspec.Struct, frozen=True, kw_only=True):
    """What waits, in seconds from `at`; `idle` are the centrifuges out of use, `unread` fields that nothing reads."""

    at: datetime
    tubes: tuple[WaitingTube, ...]
    standing: Mapping[str, Standing]
    idle: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()


def read_waiting(
    data: bytes | str, site: Site, *, now: datetime, at: str | None = None, where: str,
    recorded: Mapping[str, RecordedTube] | None = None,
) -> Waiting:  # fmt: skip
    """The tubes and centrifuges in these bytes, as they are at the file's `at`, else at `now`.

    A width that the file leaves out is that of the size in the site's stock, where the site says it.
    Of a tube that is `recorded` by its id the file may leave out all but its width and its fill; kind and size that it
    gives must be those of the record, and times that it gives go before those of the record.

    Times are local to the site, or carry their offset. Raises `ExchangeError` where the bytes are not JSON and
    `OrderError`, with the path, for what is not sound: a kind that the site does not stock, a purpose that is not
    one of its additive, a tube without fill or mass, a clotting tube without `ready_at`, a name given twice.
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    form = Form({"tubes": value} if isinstance(value, list) else value, where=where)
    unread = form.take_unknown(FILE_KEYS)
    said = form.text("at")
    if at is not None and said is not None:
        form.refuse("at", found="--at beside it", expected="one of the two", remedy="take one out")
    moment = now
    if at is not None or said is not None:
        moment = read_local(at or said or "", site.time_zone, where=f"{where} at" if at is None else "--at")
    moment = moment.replace(microsecond=0)
    standing, idle, more = _read_standings(form, site, moment)
    items = form.items("tubes", most=MOST_TUBES, what="tubes")
    if not items:
        form.refuse("tubes", found="no tubes", expected="one tube at least", remedy="write them in brackets")
    tubes: list[WaitingTube] = []
    for i, item in enumerate(items):
        row = Form(item, where=where, path=f"tubes[{i}]")
        more += row.take_unknown(TUBE_KEYS)
        tube = _read_tube(row, site, moment, (recorded or {}).get(str(row.content.get("id"))))
        if any(tube.id == other.id for other in tubes):
            row.refuse("id", found=f"{tube.id!r} again", expected="each tube once", remedy="take one out")
        tubes.append(tube)
    return Waiting(at=moment, tubes=tuple(tubes), standing=standing, idle=idle, unread=(*unread, *more))


def _read_standings(
    form: Form, site: Site, moment: datetime
) -> tuple[dict[str, Standing], tuple[str, ...], tuple[str, ...]]:
    keys = tuple(centrifuge.key for centrifuge in site.centrifuges)
    standing: dict[str, Standing] = {}
    idle: list[str] = []
    unread: tuple[str, ...] = ()
    for i, item in enumerate(form.items("centrifuges", most=MOST_CENTRIFUGES, what="centrifuges")):
        row = Form(item, where=form.where, path=f"centrifuges[{i}]")
        unread += row.take_unknown(CENTRIFUGE_KEYS)
        name = row.choice("name", keys) or _missing(row, "name", "one of " + (", ".join(keys) or "none here"))
        if name in standing:
            row.refuse("name", found=f"{name!r} again", expected="each centrifuge once", remedy="take one out")
        free_s = _seconds(row, "free_at", site, moment)
        temp_c = row.whole("temp_c", least=-20, most=50, unit="degrees Celsius")
        standing[name] = Standing(free_s=max(0, free_s or 0), temp_c=temp_c)
        if row.flag("in_use") is False:
            idle.append(name)
    return standing, tuple(idle), unread


def _read_tube(row: Form, site: Site, moment: datetime, known: RecordedTube | None) -> WaitingTube:
    name = row.text("id") or _missing(row, "id", "what the tube is called")
    kind = _read_kind(row, site, known)
    draw_ul = _read_draw(row, kind, known)
    diameter = f"millimetres above 0, at most {MOST_DIAMETER_MM}"
    diameter_um = _scaled(row, "diameter_mm", 1000, diameter, most=MOST_DIAMETER_MM)
    if diameter_um is None:
        diameter_um = kind.diameter_um_of(draw_ul)
    if diameter_um is None:
        _missing(row, "diameter_mm", f"the outer diameter in {diameter}, here or with its size in tubes.toml")
    measure, load_mg = _read_load(row)
    ready_s = _seconds(row, "ready_at", site, moment)
    due_s = _seconds(row, "spun_by", site, moment)
    if known is not None:
        ready_s = _from(moment, known.ready_at) if ready_s is None else ready_s
        due_s = _from(moment, known.due_at) if due_s is None and known.due_at is not None else due_s
    if ready_s is None and facts.clotting(kind.additive, kind.gel) is not None:
        _missing(row, "ready_at", "when its clot is firm")
    return WaitingTube(
        id=name, type=f"{kind.key} {millilitres_text(draw_ul)} mL", diameter_um=diameter_um, load_mg=load_mg,
        measure=measure, programs=_read_purposes(row, kind, known), ready_s=0 if ready_s is None else ready_s,
        due_s=due_s, gel=kind.gel, was_spun=bool(row.flag("spun_before")) or (known is not None and known.was_spun),
    )  # fmt: skip


def _read_draw(row: Form, kind: TubeKind, known: RecordedTube | None) -> int:
    expected = f"one of {_sizes(kind)} mL"
    draw_ul = _scaled(row, "draw_ml", 1000, expected)
    if known is not None:
        if draw_ul is not None and draw_ul != known.draw_ul:
            found, wanted = millilitres_text(draw_ul), millilitres_text(known.draw_ul)
            row.refuse("draw_ml", found=found, expected=f"{wanted}, as recorded", remedy="look which is right")
        return known.draw_ul
    if draw_ul is None:
        _missing(row, "draw_ml", expected)
    if draw_ul not in {size.draw_ul for size in kind.sizes}:
        remedy = "write a size of the site's stock"
        row.refuse("draw_ml", found=millilitres_text(draw_ul), expected=expected, remedy=remedy)
    return draw_ul


def _read_kind(row: Form, site: Site, known: RecordedTube | None) -> TubeKind:
    said = row.text("kind")
    if said is not None and known is not None and said != known.kind:
        expected = f"{show_json(known.kind)}, as recorded"
        row.refuse("kind", found=show_json(said), expected=expected, remedy="look at the tube")
    name = (
        said or (None if known is None else known.kind) or _missing(row, "kind", "the key of a tube kind of this site")
    )
    kind = site.kinds.get(name)
    if kind is None:
        near = near_misses(name, site.kinds)
        row.refuse(
            "kind", found=show_json(name), expected="the key of a tube kind of this site",
            remedy=f"write {near[0]}" if near else "see tubes.toml",
        )  # fmt: skip
    return kind


def _read_purposes(row: Form, kind: TubeKind, recorded: RecordedTube | None) -> tuple[str, ...]:
    """The purposes, each one that the facts know for the additive: what a tube is spun for is never guessed."""
    value = row.content.get("spin")
    known = purposes_for(kind.additive, gel=kind.gel)
    expected = "one of " + "; ".join(known) if known else f"no spin: no source says how to spin {kind.key}"
    if value is None and recorded is not None and recorded.purpose in known:
        return (recorded.purpose,)
    if value is None:
        _missing(row, "spin", expected)
    names = value if isinstance(value, list) else [value]
    if not 1 <= len(names) <= MOST_PURPOSES:
        row.refuse("spin", found=f"{len(names)} purposes", expected=expected, remedy="write what it is spun for")
    for name in names:
        if not isinstance(name, str) or name not in known:
            near = near_misses(name, known) if isinstance(name, str) and is_text(name) else []
            remedy = f'write "{near[0]}"' if near else "write one of them, or take the tube out"
            row.refuse("spin", found=show_json(name), expected=expected, remedy=remedy)
    return tuple(dict.fromkeys(str(name) for name in names))


def _read_load(row: Form) -> tuple[MeasureKey, int]:
    fill_ul = _scaled(row, "fill_ml", 1000, "millilitres of blood", most=MOST_FILL_ML)
    mass_mg = _scaled(row, "mass_g", 1000, "grams of the whole tube", most=MOST_MASS_G)
    if fill_ul is not None and mass_mg is None:
        return "fill", -(-fill_ul * BLOOD_UG_PER_UL // 1000)
    if mass_mg is not None and fill_ul is None:
        return "mass", mass_mg
    return row.refuse(
        "fill_ml", found="both" if fill_ul is not None else "neither fill_ml nor mass_g",
        expected="one of the two: what is not known cannot be balanced", remedy="measure one and write it",
    )  # fmt: skip


def _scaled(row: Form, key: str, times: int, expected: str, *, most: int | None = None) -> int | None:
    """The number of a field in the smallest unit; a finer one is refused."""
    number = row.number(key, expected=expected)
    if number is None:
        return None
    whole = number * times
    if number <= 0 or (most is not None and number > most) or whole.denominator != 1:
        remedy = "write at most three decimals, and mind the unit"
        row.refuse(key, found=show_json(row.content[key]), expected=expected, remedy=remedy)
    return whole.numerator


def _seconds(row: Form, key: str, site: Site, moment: datetime) -> int | None:
    text = row.text(key)
    if text is None:
        return None
    found = read_local(text, site.time_zone, where=f"{row.where} {row.place(key)}")
    if abs(found - moment) > MOST_AWAY:
        row.refuse(key, found=show_json(text), expected="a time within 7 days", remedy=f"write it {_IN_WORDS}")
    return _from(moment, found)


def _from(moment: datetime, instant: datetime) -> int:
    return round((instant - moment).total_seconds())


def _sizes(kind: TubeKind) -> str:
    return ", ".join(millilitres_text(size.draw_ul) for size in kind.sizes)


def _missing(row: Form, key: str, expected: str) -> NoReturn:
    row.refuse(key, found="nothing", expected=expected, remedy=f"write {key}")
