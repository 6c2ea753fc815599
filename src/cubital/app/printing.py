"""Printing as use cases: the labels and the sheet of a plan, in the same words as the tray."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from typing import Final

import msgspec

from cubital import facts
from cubital.app.draw_words import tags_of
from cubital.app.tray import Tray, TubeRow, lay_tray
from cubital.app.unsettled import refuse_unsettled
from cubital.errors import PaperError
from cubital.facts.labels import LabelStock, PaperKey, label_stock
from cubital.model import Order, Plan, PlannedTube, Site
from cubital.model.identity import Collection, Identity
from cubital.model.record import NotedEnds
from cubital.paper.day_sheet import DaySheet, print_day_sheet
from cubital.paper.flow import Imprint
from cubital.paper.gauge import BloodGauge
from cubital.paper.label import Slip, print_labels
from cubital.paper.label_face import SpecimenLabel
from cubital.paper.sheet import CollectorSheet, SheetDraw, SheetTube, print_sheet
from cubital.paper.tube import TubePicture
from cubital.planning.directory import Directory
from cubital.planning.patient import describe

DEFAULT_STOCK: Final = "roll-50x25"
DEFAULT_PAPER: Final = "a4"
# What stands on every paper, however small it is.
ON_EVERY_PAPER = ("support-only", "two-identifiers", "label-after")
NOT_KEPT = "discard"
# Of the invented patient: the birth date where the order gives no age, and what her age is past the order's.
INVENTED_BIRTH, INVENTED_EXTRA_H = datetime.date(1958, 3, 2), 12
# How far an age and a birth date may be apart: an age is told in whole years, under two in whole months.
_APART_D, _APART_YOUNG_D, _YOUNG_H = 367, 32, 2 * 8766


def invented_collection(plan: Plan, order: Order, *, today: datetime.date) -> Collection:
    """A patient who does not exist, of the order's age, for this plan's tubes: for demonstrations only, and says so."""
    age_h = order.patient.age_h
    born = INVENTED_BIRTH if age_h is None else (order.on or today) - datetime.timedelta(hours=age_h + INVENTED_EXTRA_H)
    identity = Identity(name="Invented, Ottoline", number="X-000123", birth_date=born, is_invented=True)
    count = len(kept_tubes(plan))
    return Collection(identity=identity, specimens=tuple(f"Q26004{number:02}" for number in range(1, count + 1)))


def kept_tubes(plan: Plan) -> tuple[PlannedTube, ...]:
    """The tubes of a plan that become specimens: all but those that are thrown away."""
    return tuple(tube for tube in plan.tubes if tube.purpose != NOT_KEPT)


def find_stock(key: str) -> LabelStock:
    """The label stock of this key; raises `PaperError` with the keys there are."""
    found = label_stock().get(key)
    if found is None:
        raise PaperError(
            f"found {key[:40]!r}; expected one of {', '.join(label_stock())}; choose one", where="stock", field="stock"
        )
    return found


def labels_of(
    plan: Plan, order: Order, site: Site, collection: Collection, *, stock: str = DEFAULT_STOCK, skip: int = 0,
    today: datetime.date,
) -> bytes:  # fmt: skip
    """The PDF of the labels of this plan, one for each specimen in order of draw, behind a slip.

    Raises `PaperError` where a number is missing or a text does not fit, and names the field; `UnsettledWords` where
    the plan leaves out words of its order.
    """
    refuse_unsettled(plan.unsettled)
    refuse_another_age(order, collection, today)
    labels = _labels(plan, order, site, collection)
    return print_labels(labels, _slip(plan, today), find_stock(stock), skip=skip)


def labels_at_chair(
    plan: Plan, order: Order, site: Site, collection: Collection, *, filled: Mapping[str, datetime.datetime],
    stock: str, today: datetime.date,
) -> bytes:  # fmt: skip
    """The PDF of the labels of those specimens of the plan that were `filled`, each with its own local time."""
    refuse_unsettled(plan.unsettled)
    refuse_another_age(order, collection, today)
    labels = [
        msgspec.structs.replace(label, collected=filled[label.specimen])
        for label in _labels(plan, order, site, collection)
        if label.specimen in filled
    ]
    return print_labels(labels, _slip(plan, today), find_stock(stock))


def _labels(plan: Plan, order: Order, site: Site, collection: Collection) -> list[SpecimenLabel]:
    numbers = _numbers_of(plan, collection)
    stat = frozenset(_stat_tests(order, site))
    tags = [tag for tube, tag in zip(plan.tubes, tags_of(plan, site), strict=True) if tube.purpose != NOT_KEPT]
    counts = {draw.number: sum(1 for tube in plan.tubes if tube.draw == draw.number) for draw in plan.draws}
    return [
        SpecimenLabel(
            identity=collection.identity, specimen=number, mark=tube.mark, tube=tube.name, letters=row.letters,
            family=facts.additives()[tube.additive].family, draw_ul=tube.draw_ul, position=tube.position,
            positions=counts[tube.draw], collected=collection.collected, collector=collection.collector,
            draw=tag,
            is_stat=bool(stat.intersection(tube.tests)),
        )
        for number, tube, row, tag in zip(numbers, kept_tubes(plan), _kept_rows(plan, order, site), tags, strict=True)
    ]  # fmt: skip


def _slip(plan: Plan, today: datetime.date) -> Slip:
    return Slip(site=plan.site, edition=plan.edition or facts.edition(), on=today, cautions=cautions())


def sheet_of(
    plan: Plan, order: Order, site: Site, *, collection: Collection | None = None, paper: PaperKey = DEFAULT_PAPER,
    today: datetime.date,
) -> bytes:  # fmt: skip
    """The PDF of the collector's sheet of this plan; without a collection, with lines to write on.

    Raises `UnsettledWords` where the plan leaves out words of its order: the sheet is what blood is drawn by.
    """
    refuse_unsettled(plan.unsettled)
    if collection is not None:
        refuse_another_age(order, collection, today)
    tray = lay_tray(plan, order, site)
    sheet = CollectorSheet(
        imprint=Imprint(
            title="Collector's sheet", site=plan.site, edition=plan.edition or facts.edition(), on=today,
            cautions=tray.always, detail=_setting(plan, order), patient=_patient_line(collection),
        ),
        headline=tray.headline,
        patient=describe(order.patient),
        collection=collection,
        stops=tray.stops, left_out=tray.left_out, instead=tuple(other.words for other in tray.instead),
        warnings=tray.warnings,
        draws=tuple(_sheet_draws(plan, tray, collection, frozenset(_stat_tests(order, site)))),
        blood=tray.total,
        gauge=None if tray.gauge is None else msgspec.convert(msgspec.to_builtins(tray.gauge), BloodGauge),
        notes=tray.notes, proof=tuple(text for text in (tray.proof, tray.aim, tray.reserve) if text),
    )  # fmt: skip
    return print_sheet(sheet, paper)


def day_sheet_of(
    ends: NotedEnds, site: Site, *, database: str, paper: PaperKey = DEFAULT_PAPER, today: datetime.date
) -> bytes:
    """The PDF of the day's sheet: where the record and the trail ended, to be kept out of the database's reach."""
    return print_day_sheet(
        DaySheet(
            imprint=Imprint(
                title="The day's sheet of heads", site=site.name, edition=facts.edition(), on=today,
                cautions=("cubital db check --head NUMBER:DIGITS --trail-head NUMBER:DIGITS",),
            ),
            database=database,
            moment=f"{ends.at:%Y-%m-%d %H:%M} UTC",
            ends=tuple(
                (name, end.sequence, end.hash) for name, end in (("record", ends.record), ("trail", ends.trail))
            ),
        ),
        paper,
    )


def cautions() -> tuple[str, ...]:
    """What stands on every paper."""
    return tuple(facts.safety()[key].text for key in ON_EVERY_PAPER)


def picture_of(tube: PlannedTube) -> TubePicture:
    """How a planned tube is drawn."""
    return TubePicture(
        mark=tube.mark, family=facts.additives()[tube.additive].family, stopper=tube.stopper, gel=tube.gel,
        blood_ul=tube.draw_ul, liquid_ul=tube.liquid_additive_ul, is_discarded=tube.purpose == NOT_KEPT,
        is_bottle=tube.purpose == "culture", size_ul=tube.size_ul,
    )  # fmt: skip


def _numbers_of(plan: Plan, collection: Collection) -> tuple[str, ...]:
    wanted = len(kept_tubes(plan))
    if len(collection.specimens) != wanted:
        raise PaperError(
            f"found {len(collection.specimens)} numbers of specimens; expected {wanted}, one for each tube that is "
            "kept, in order of draw; correct them",
            where="specimens", field="specimen",
        )  # fmt: skip
    return collection.specimens


def refuse_another_age(order: Order, collection: Collection, today: datetime.date) -> None:
    """Refuse a birth date that the age of the order contradicts: one of the two is another person's."""
    age_h = order.patient.age_h
    lived = (order.on or today) - collection.identity.birth_date
    if lived.days < 0:
        raise PaperError(
            "found a birth date after the day of the draw; expected one before it; correct it",
            where="birth_date", field="birth_date",
        )  # fmt: skip
    if age_h is None:
        return
    apart_d = _APART_YOUNG_D if age_h < _YOUNG_H else _APART_D
    if not -2 <= lived.days - age_h / 24 <= apart_d:
        raise PaperError(
            "found a birth date and an age that do not agree; expected those of one person; correct one of them",
            where="birth_date", field="birth_date",
        )  # fmt: skip


def _kept_rows(plan: Plan, order: Order, site: Site) -> tuple[TubeRow, ...]:
    rows = [row for draw in lay_tray(plan, order, site).draws for row in draw.rows]
    return tuple(row for row in rows if row.purpose != NOT_KEPT)


def _stat_tests(order: Order, site: Site) -> Iterator[str]:
    """The tests that the order asks for at once, panels and series opened."""
    directory = Directory(site)
    for ask in order.asks:
        if ask.priority == "stat":
            kind, key = directory.resolve(ask.test, system=ask.system)
            if kind == "test":
                yield key
            else:
                panel = site.panels[key]
                yield from panel.tests
                yield from (test for step in panel.series for test in step.tests)


def _patient_line(collection: Collection | None) -> str:
    """Whose sheet it is, for the pages after the first; lines to write on where that is not known."""
    if collection is None:
        return "name ____________________ number ____________"
    who = collection.identity
    return f"{who.name}   {who.number}   born {who.birth_date.isoformat()}"


def _setting(plan: Plan, order: Order) -> str:
    access = facts.accesses()[plan.access].name
    day = f"draw of {order.on}, " if order.on is not None else ""
    number = f"order {plan.id}, " if plan.id else ""
    return f"{number}{day}{access}; order of draw: {facts.order_policies()[plan.policy].name}"


def _sheet_draws(plan: Plan, tray: Tray, collection: Collection | None, stat: frozenset[str]) -> Iterator[SheetDraw]:
    numbers = iter(() if collection is None or not collection.specimens else _numbers_of(plan, collection))
    for draw, rows in zip(plan.draws, tray.draws, strict=True):
        tubes = [tube for tube in plan.tubes if tube.draw == draw.number]
        if not tubes:
            continue
        yield SheetDraw(
            title=rows.title,
            before=tuple((one.flag, one.text) for one in rows.before),
            tubes=tuple(
                SheetTube(
                    position=row.position, purpose=row.purpose, picture=picture_of(tube), name=row.kind,
                    additive=row.additive, letters=row.letters, stopper=row.stopper, volume=row.size,
                    inversions=tube.inversions, contents=row.contents, care=row.care,
                    is_stat=bool(stat.intersection(tube.tests)), is_returned=row.is_returned,
                    specimen=None if row.purpose == NOT_KEPT else next(numbers, None),
                )
                for tube, row in zip(tubes, rows.rows, strict=True)
            ),
        )  # fmt: skip
