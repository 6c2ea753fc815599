"""`tests.toml` and `panels.toml`: TOML tables to tests and panels, and the names that clash."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any, cast

from cubital.exchange.table import Table, is_text, words
from cubital.facts import anchors, moments, subjects
from cubital.model import Accept, Finding, Panel, SeriesStep, Test
from cubital.model.finding import LevelKey
from cubital.model.vocabulary import MATRICES, RANKS, RankKey
from cubital.planning.directory import LOINC_SYSTEMS, has_loinc_check_digit, is_loinc_shaped
from cubital.planning.spellings import fold

MOST_VOLUME_UL = 100_000
MOST_SERIES_MIN = 60 * 24 * 7
TEST_KEYS = (
    "name", "also", "codes", "bench", "accepts", "own_tube", "timed", "moment", "caution", "culture", "rank", "from",
)  # fmt: skip
ACCEPT_KEYS = ("matrix", "tubes", "volume_ul", "minimum_ul")
PANEL_KEYS = ("name", "also", "codes", "tests", "series", "anchor", "of", "from")
STEP_KEYS = ("at_min", "tests")
CULTURES = ("aerobic", "anaerobic", "set")


KeptTests = dict[tuple[str, str], tuple[object, Test | None, tuple[Finding, ...]]]
"""By file and key: the entry that was read, and what reading it gave."""


def read_tests(
    content: Mapping[str, Any], *, file: str, findings: list[Finding], handling: tuple[str, ...],
    kept: KeptTests | None = None,
) -> dict[str, Test]:  # fmt: skip
    """The tests of one file, in its order; `handling` lists the terms a test may carry.

    `kept` holds what was read before: an entry that is the very same object, which nobody may have changed since, is
    not read again. Equal ones are, for 1 equals true and reads otherwise.
    """
    tests: dict[str, Test] = {}
    for key, entry in content.items():
        found = None if kept is None else kept.get((file, key))
        if found is None or found[0] is not entry:
            told: list[Finding] = []
            table = _entry_table(key, entry, content, file, told, "a table of one test")
            test = None if table is None else _read_test(key, table, known=(*TEST_KEYS, *handling), handling=handling)
            found = (entry, test, tuple(told))
            if kept is not None:
                kept[file, key] = found
        findings += found[2]
        if found[1] is not None:
            tests[key] = found[1]
    if kept is not None:
        for place in [place for place in list(kept) if place[0] == file and place[1] not in content]:
            kept.pop(place, None)
    return tests


def read_panels(content: Mapping[str, Any], *, file: str, findings: list[Finding]) -> dict[str, Panel]:
    """The panels of one file, in its order."""
    panels: dict[str, Panel] = {}
    for key, entry in content.items():
        table = _entry_table(key, entry, content, file, findings, "a table of one panel")
        if table is not None:
            panel = _read_panel(key, table)
            if panel is not None:
                panels[key] = panel
    return panels


def find_clashes(tests: Mapping[str, Test], panels: Mapping[str, Panel], *, files: Mapping[str, str]) -> list[Finding]:
    """Every name, abbreviation or code that two entries claim; `files` says where tests and panels stand.

    What is the key or the name of one of the two is an error: a key always means itself, and what the pages show by one
    name must be one thing. An abbreviation or a code of both is a warning: whoever orders by it is asked.
    """
    owners: dict[tuple[str, str], tuple[str, str]] = {}
    findings = []
    records: list[tuple[str, Test | Panel]] = [
        *(("tests", t) for t in tests.values()),
        *(("panels", p) for p in panels.values()),
    ]
    own = {fold(name) for _, record in records for name in (record.key, record.name)}
    for family, record in records:
        claims = [("", fold(n), n) for n in (record.key, record.name, *record.also)]
        claims += [(system, code.casefold(), f"{system} {code}") for system, code in record.codes.items()]
        for system, folded, written in claims:
            owner = owners.setdefault((system, folded), (family, record.key))
            if owner != (family, record.key) and folded:
                level: LevelKey = "error" if not system and folded in own else "warning"
                findings.append(_clash(level, files, family, record.key, written, owner))
    return list(dict.fromkeys(findings))


def _clash(
    level: LevelKey, files: Mapping[str, str], family: str, key: str, written: str, owner: tuple[str, str]
) -> Finding:
    owner_file = files[owner[0]]
    return Finding(
        level=level,
        file=files[family],
        entry=f"[{key}]",
        found=f'"{written}", which [{owner[1]}] of {owner_file} has too',
        expected="a name, abbreviation or code that no other entry has, whatever its case",
        remedy=f"remove it here or at [{owner[1]}]",
    )


def _entry_table(
    key: str, entry: object, content: Mapping[str, Any], file: str, findings: list[Finding], what: str
) -> Table | None:
    whole = Table(content, file=file, findings=findings)
    if not isinstance(entry, dict):
        whole.fault(key[:60], found=entry, expected=what, remedy=f"write [{key[:60]}]")
    elif not is_text(key) or not fold(key):
        whole.fault("", found=key, expected="a printable name with a letter or digit", remedy="rename it")
    else:
        return Table(entry, file=file, findings=findings, header=f"[{key}]")
    return None


def _read_test(key: str, table: Table, *, known: tuple[str, ...], handling: tuple[str, ...]) -> Test | None:
    table.refuse_unknown(known)
    bench = table.text("bench")
    if "bench" not in table.content:
        table.missing("bench", expected="the bench that runs the test")
    culture = table.choice("culture", CULTURES)
    accepts = _read_accepts(table)
    if culture is None and "culture" not in table.content and "accepts" not in table.content:
        table.missing("accepts", expected='such as [{matrix = "plasma", tubes = ["heparin"], volume_ul = 100}]')
    terms, said = _read_handling(table, handling)
    own_tube = table.flag("own_tube")
    name = table.text("name", default=key.replace("-", " "))
    identity = _read_identity(table)
    timed = _read_timed(table)
    times = {key: moment for key, moment in moments().items() if not moment.draws}
    moment = _read_key(table, "moment", times, what="moments of one draw")
    rank = _read_rank(table)
    cautions = table.words("caution")
    if bench is None or name is None or (not accepts and culture is None):
        return None
    return Test(
        key=key,
        name=name,
        bench=bench,
        accepts=accepts,
        own_tube=own_tube,
        handling=terms,
        timed=timed,
        moment=moment,
        cautions=(*cautions, *said),
        culture=culture,
        rank=rank,
        **identity,
    )


def _read_identity(table: Table) -> dict[str, Any]:
    codes = {}
    inner = table.table("codes")
    for system in inner.content if inner else ():
        code = inner.text(system) if inner else None
        if inner is not None and code is not None and system in LOINC_SYSTEMS and not _is_loinc(code):
            inner.fault(
                system,
                found=code,
                expected="a LOINC code with its check digit, such as 2823-3",
                remedy="correct it",
                level="warning",
            )
        if code is not None:
            codes[system] = code
    return {"also": table.words("also"), "codes": codes, "basis": _read_basis(table.content.get("from"))}


def _is_loinc(code: str) -> bool:
    return is_loinc_shaped(code) and has_loinc_check_digit(code)


def _read_basis(source: object) -> dict[str, tuple[str, str]]:
    if not isinstance(source, dict):
        return {"entry": ("site", "site")}
    if isinstance(source.get("basis"), str):
        return {"entry": (source["basis"], str(source.get("source", "")))}
    return {
        claim: (str(mark[0]), str(mark[1]))
        for claim, mark in source.items()
        if isinstance(mark, list) and len(mark) >= 2
    }


def _read_accepts(table: Table) -> tuple[Accept, ...]:
    if table.content.get("accepts") == [] and "culture" not in table.content:
        table.fault(
            "accepts",
            found=words("an empty list"),
            expected="at least one way to run the test",
            remedy="write one",
        )
    accepts = []
    seen: dict[tuple[str, str], str] = {}
    for row in table.tables("accepts"):
        accept = _read_accept(row)
        if accept is None:
            continue
        for tube in accept.tubes:
            first = seen.setdefault((accept.matrix, tube), row.path)
            if first != row.path or accept.tubes.count(tube) > 1:
                row.fault(
                    "tubes",
                    found=tube,
                    expected=f"each kind once for {accept.matrix}",
                    remedy="remove one of the two",
                )
                break
        accepts.append(accept)
    return tuple(accepts)


def _read_accept(row: Table) -> Accept | None:
    row.refuse_unknown(ACCEPT_KEYS)
    for key, expected in (
        ("matrix", "one of " + ", ".join(MATRICES)),
        ("tubes", "a list of tube kinds"),
        ("volume_ul", "whole microlitres"),
    ):
        if key not in row.content:
            row.missing(key, expected=expected)
    matrix = row.choice("matrix", MATRICES)
    tubes = row.words("tubes")
    if row.content.get("tubes") == []:
        row.fault("tubes", found=words("an empty list"), expected="at least one tube kind", remedy="write one")
    volume_ul = row.whole("volume_ul", least=1, most=MOST_VOLUME_UL, unit="microlitres")
    minimum_ul = row.whole("minimum_ul", least=1, most=MOST_VOLUME_UL, unit="microlitres")
    if volume_ul is not None and minimum_ul is not None and minimum_ul > volume_ul:
        row.fault(
            "minimum_ul",
            found=minimum_ul,
            expected=f"at most volume_ul, {volume_ul}",
            remedy="exchange the two, or correct one",
        )
        return None
    if matrix is None or not tubes or volume_ul is None:
        return None
    return Accept(matrix=matrix, tubes=tubes, volume_ul=volume_ul, minimum_ul=minimum_ul or volume_ul)  # type: ignore[arg-type]


def _read_handling(table: Table, handling: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The handling terms that apply, and what the entry says of them in words of its own."""
    terms, said = [], []
    for term in handling:
        value = table.content.get(term, False)
        if isinstance(value, str) and is_text(value):
            terms.append(term)
            said.append(f"{term.replace('_', ' ')}: {value.strip()}")
        elif table.flag(term):
            terms.append(term)
    return tuple(terms), tuple(said)


def _read_timed(table: Table) -> str | None:
    value = table.content.get("timed")
    if value is None or value is False:
        return None
    if value is True:
        return "timed"
    if isinstance(value, dict):
        inner = table.inner(value, "timed")
        inner.refuse_unknown(("rule",))
        if "rule" not in value:
            inner.missing("rule", expected="when to draw, in words")
        return inner.text("rule")
    return table.text("timed")


def _read_key(table: Table, name: str, known: Mapping[str, object], *, what: str) -> str | None:
    """A key of one of the closed lists of moments.toml; `false` takes a shipped one away."""
    found = None if table.content.get(name) is False else table.text(name)
    if found is None or found in known:
        return found
    near = get_close_matches(found, known, n=3) or sorted(known)[:3]
    table.fault(
        name,
        found=found,
        expected=f"one of the {len(known)} {what} of moments.toml, such as {', '.join(near)}",
        remedy="correct it or take it out",
    )
    return None


def _read_rank(table: Table) -> RankKey | None:
    """How the site ranks the test; `false` where it takes away the shipped rank."""
    if table.content.get("rank") is False:
        return None
    return cast("RankKey | None", table.choice("rank", RANKS))


def _read_panel(key: str, table: Table) -> Panel | None:
    table.refuse_unknown(PANEL_KEYS)
    name = table.text("name", default=key.replace("-", " "))
    tests = table.words("tests")
    series = []
    for row in table.tables("series"):
        row.refuse_unknown(STEP_KEYS)
        for wanted, expected in (("at_min", "minutes after the first draw"), ("tests", "a list of tests")):
            if wanted not in row.content:
                row.missing(wanted, expected=expected)
        at_min = row.whole("at_min", least=0, most=MOST_SERIES_MIN, unit="minutes")
        of_step = row.words("tests")
        if at_min is not None and of_step:
            series.append(SeriesStep(at_min=at_min, tests=of_step))
    if not tests and not series:
        table.fault(
            "tests",
            found=words("no tests"),
            expected="the tests that the panel stands for",
            remedy="write tests or series",
        )
        return None
    anchor = _read_key(table, "anchor", anchors(), what="anchors")
    of = _read_key(table, "of", subjects(), what="subjects")
    for alone in () if series else ("anchor", "of"):
        if alone in table.content:
            table.fault(alone, found=table.content[alone], expected="it beside series alone", remedy="remove it")
    identity = _read_identity(table)
    return Panel(key=key, name=name or key, tests=tests, series=tuple(series), anchor=anchor, of=of, **identity)
