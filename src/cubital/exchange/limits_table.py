"""`[limits.KEY]` of `site.toml`: the blood limits that a site writes itself."""

from __future__ import annotations

from collections.abc import Container, Iterable
from decimal import Decimal

from cubital import facts
from cubital.exchange.table import Table, words
from cubital.units import exact

LIMIT_KEYS = ("name", "for_whom", "program", "weight_min_kg", "caps")
CAP_KEYS = (
    "period_h", "period_weeks", "percent_of_tbv", "ml_per_kg", "ml", "by_weight", "age_min_d", "age_max_d",
)  # fmt: skip
ROW_KEYS = ("weight_max_kg", "ml")
AMOUNTS = ("percent_of_tbv", "ml_per_kg", "ml", "by_weight")
MOST_PERCENT = 10
MOST_ML_PER_KG = 10
"""A tenth of the blood of a newborn, 100 mL/kg: what no published policy passes either in two months."""
MOST_ML = 1000
MOST_WEEKS = 52
MOST_AGE_D = 130 * 366
MOST_G = 500_000


def read_limits(top: Table, *, shipped: Container[str], reserved: Container[str]) -> dict[str, facts.SamplingLimit]:
    """The sound limits of the site; `shipped` are the keys that stand for others, `reserved` words that are none.

    A limit with a fault in one of its caps is left out whole: what is left of it would allow more.
    """
    section = top.section("limits")
    found = {}
    for key in section.content if section is not None else ():
        row = section.table(key) if section is not None else None
        if row is None:
            continue
        table = Table(row.content, file=row.file, findings=row.findings, header=f"[limits.{key[:60]}]")
        if key in shipped or key in reserved:
            what = words("the key of a shipped limit" if key in shipped else "a word that means no limit")
            table.fault("", found=what, expected="a key of the site's own", remedy="give it another")
            continue
        limit = _read_limit(table, key)
        if limit is not None:
            found[key] = limit
    return found


def note_idle_limits(top: Table, limits: Iterable[facts.SamplingLimit], chosen: str | None) -> None:
    """Warn of every limit that neither the policy chooses nor a program brings: it limits nobody."""
    for limit in limits:
        if limit.program is None and limit.key != chosen:
            top.fault(
                f"[limits.{limit.key[:60]}]", found=words("a limit that nothing takes"),
                expected="its key as blood_limit under [planning], or a program",
                remedy=f'write blood_limit = "{limit.key[:60]}", or take it out', level="warning",
            )  # fmt: skip


def _read_limit(table: Table, key: str) -> facts.SamplingLimit | None:
    before = len(table.findings)
    table.refuse_unknown(LIMIT_KEYS)
    name = table.text("name", default=key) or key
    for_whom = table.text("for_whom")
    if "for_whom" not in table.content:
        table.missing("for_whom", expected="whom it is for, in words")
    program = _read_program(table)
    caps = [_read_cap(cap) for cap in table.tables("caps")]
    if not caps and isinstance(table.content.get("caps", []), list):
        table.fault("caps", found=words("no cap"), expected="one cap at least", remedy=_CAP_REMEDY)
    weight_min_g = _read_weight_g(table, "weight_min_kg")
    if len(table.findings) > before or for_whom is None:
        return None
    known = tuple(cap for cap in caps if cap is not None)
    return facts.SamplingLimit(
        key=key, name=name, for_whom=for_whom, program=program, caps=known, weight_min_g=weight_min_g
    )  # fmt: skip


_CAP_REMEDY = "write it as caps = [{period_h = 24, ml_per_kg = 2.0}]"


def _read_program(table: Table) -> str | None:
    """The flag of a program's patients, as flags are compared."""
    text = table.text("program")
    if text is None:
        return None
    word = facts.flag_word(text)
    if any(word in (flag.key, *flag.also) for flag in facts.flags().values()):
        table.fault(
            "program", found=text, expected="a word of the site's own, for a shipped flag means something else",
            remedy="write another, such as the name of the study",
        )  # fmt: skip
    return word


def _read_cap(table: Table) -> facts.Cap | None:
    before = len(table.findings)
    table.refuse_unknown(CAP_KEYS)
    period_h = _read_period_h(table)
    percent = _read_number(table, "percent_of_tbv", most=MOST_PERCENT, unit="percent of the blood volume")
    ml_per_kg = _read_number(table, "ml_per_kg", most=MOST_ML_PER_KG, unit="millilitres per kilogram")
    ml = table.draw_ul("ml", most_ml=MOST_ML) if "ml" in table.content else None
    by_weight = _read_rows(table)
    age_min_d = table.whole("age_min_d", least=0, most=MOST_AGE_D, unit="days") or 0
    age_max_d = table.whole("age_max_d", least=1, most=MOST_AGE_D, unit="days")
    if age_max_d is not None and age_max_d <= age_min_d:
        table.fault("age_max_d", found=age_max_d, expected=f"days above {age_min_d}", remedy="correct it")
    if ml_per_kg is not None and (1000 * ml_per_kg) % 1:
        table.fault("ml_per_kg", found=ml_per_kg, expected="whole microlitres", remedy="write at most three decimals")
    if len(table.findings) == before and not (percent or ml_per_kg or ml or by_weight):
        table.fault("", found=words("no amount"), expected=f"one at least of {', '.join(AMOUNTS)}", remedy="write one")
    if len(table.findings) > before or period_h is None:
        return None
    return facts.Cap(
        period_h=period_h, percent_of_tbv=percent, ul_per_kg=None if ml_per_kg is None else int(1000 * ml_per_kg),
        cap_ul=ml, by_weight=by_weight, age_min_d=age_min_d, age_max_d=age_max_d,
    )  # fmt: skip


def _read_period_h(table: Table) -> int | None:
    given = [key for key in ("period_h", "period_weeks") if key in table.content]
    if len(given) != 1:
        table.fault(
            "", found=words(" and ".join(given) or "no period"), expected="one of period_h and period_weeks",
            remedy="write period_h = 24",
        )  # fmt: skip
        return None
    if given[0] == "period_h":
        return table.whole("period_h", least=1, most=MOST_WEEKS * 168, unit="hours")
    weeks = table.whole("period_weeks", least=1, most=MOST_WEEKS, unit="weeks")
    return None if weeks is None else 168 * weeks


def _read_number(table: Table, key: str, *, most: int, unit: str) -> Decimal | None:
    """A number above 0 and up to the most."""
    if key not in table.content:
        return None
    value = table.content[key]
    expected = f"{unit}, above 0 and at most {most}"
    try:
        number = exact(value if not isinstance(value, str) else None, where=key)
    except ValueError:
        table.fault(key, found=value, expected=expected, remedy="write a number without quotes")
        return None
    if not 0 < number <= most:
        table.fault(key, found=value, expected=expected, remedy="correct it")
        return None
    return Decimal(str(value))


def _read_rows(table: Table) -> tuple[facts.WeightCap, ...]:
    rows = []
    for row in table.tables("by_weight"):
        row.refuse_unknown(ROW_KEYS)
        if "ml" not in row.content:
            row.missing("ml", expected="the most blood up to this weight, in millilitres")
        ml = row.draw_ul("ml", most_ml=MOST_ML) if "ml" in row.content else None
        if ml is not None:
            rows.append(facts.WeightCap(cap_ul=ml, weight_max_g=_read_weight_g(row, "weight_max_kg")))
    weights = [row.weight_max_g for row in rows]
    bounded = [weight for weight in weights if weight is not None]
    is_open_last = not weights or (weights[-1] is None and None not in weights[:-1])
    if not is_open_last or bounded != sorted(set(bounded)):
        table.fault(
            "by_weight", found=words("weights that do not rise to a row without one"),
            expected="rising weights, each once, and a last row without weight_max_kg for all above",
            remedy="put them in order",
        )  # fmt: skip
    return tuple(rows)


def _read_weight_g(table: Table, key: str) -> int | None:
    if key not in table.content:
        return None
    value = table.content[key]
    expected = "kilograms, above 0 and at most 500, to the gram"
    try:
        grams = 1000 * exact(value if not isinstance(value, str) else None, where=key)
    except ValueError:
        table.fault(key, found=value, expected=expected, remedy="write a number without quotes")
        return None
    if not 0 < grams <= MOST_G or grams.denominator != 1:
        table.fault(key, found=value, expected=expected, remedy="correct it")
        return None
    return grams.numerator
