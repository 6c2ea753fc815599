"""A plan as a schema, key by key as docs/reference/plan.md says; volumes are in mL unless the key says `_ul`."""

from __future__ import annotations

from typing import Any, get_args

from cubital.model.vocabulary import (
    ACCESSES,
    ADDITIVES,
    MATRICES,
    OBJECTIVES,
    PRIORITIES,
    RANKS,
    PurposeKey,
    VolumeKey,
)

Schema = dict[str, Any]
TEXT: Schema = {"type": "string"}
TEXTS: Schema = {"type": "array", "items": TEXT}
FLAG: Schema = {"type": "boolean"}
COUNT: Schema = {"type": "integer", "minimum": 0}
ML: Schema = {"type": "number", "minimum": 0}
LEVELS = ("stop", "warn", "note")


def plan_schema() -> Schema:
    """The object that a plan is."""
    return {
        "type": "object",
        **_all_of(
            format={"const": "cubital.plan/1"}, id=_or_null(TEXT), site=TEXT, edition=TEXT,
            objective={"enum": [*OBJECTIVES]}, optimal=FLAG, volumes={"enum": [*get_args(VolumeKey)]}, policy=TEXT,
            access={"enum": [*ACCESSES]}, draws=_list(_draw()), tubes=_list(_tube()), totals=_totals(), bound=_bound(),
            unplaced=_list(_unplaced()), unsettled=_list(_unsettled()), choices=_list(_choice()),
            cautions=_list(_caution()),
            reasons=_list(_reason()),
        ),
    }  # fmt: skip


def _draw() -> Schema:
    instant = _or_null({"type": "string", "description": "an instant with its offset from UTC, to the minute"})
    return _object(
        number=COUNT, at_min=_or_null(COUNT), label=TEXT, moment=_or_null(TEXT), steps=TEXTS, asks=TEXTS,
        due_from=instant, due_to=instant, blood_ml=ML,
    )  # fmt: skip


def _tube() -> Schema:
    return _object(
        position=COUNT, draw=COUNT, purpose={"enum": [*get_args(PurposeKey)]}, kind=TEXT, name=TEXT,
        additive={"enum": [*ADDITIVES]}, gel=FLAG, stopper=_or_null(TEXT), mark=TEXT, draw_ml=ML, size_ml=ML,
        returned=FLAG, liquid_additive_ul=COUNT,
        matrix={"enum": [*MATRICES, None]}, bench=_or_null(TEXT), benches=TEXTS, tests=TEXTS, usable_ml=_or_null(ML),
        needed_ml=_or_null(ML), reserve_ml=ML, fill_min_percent=_or_null(COUNT), inversions=_or_null(COUNT),
        clot_s=_or_null(COUNT), spin=_or_null(TEXT), handling=TEXTS, reasons=_list(_reason()),
    )  # fmt: skip


def _totals() -> Schema:
    return _object(
        tubes=COUNT, blood_ml=ML, preference=COUNT, all_tubes=COUNT, all_blood_ml=ML, discard_ml=ML, returned_ml=ML,
        already_drawn_ml=ML, limit_ml=_or_null(ML), blood_volume_ml=_or_null(ML),
    )  # fmt: skip


def _bound() -> Schema:
    return _object(tubes=COUNT, blood_ml=ML, preference=COUNT, searched=COUNT, finished=FLAG)


def _unplaced() -> Schema:
    return _object(test=TEXT, priority={"enum": [*PRIORITIES]}, rank={"enum": [*RANKS, None]}, why=TEXT, needs=TEXT)


def _unsettled() -> Schema:
    trouble: Schema = {"enum": ["unknown", "ambiguous", "not-blood"]}
    return _object(word=TEXT, where=TEXT, trouble=trouble, message=TEXT, near=TEXTS, choices=TEXTS, looks=TEXTS)


def _choice() -> Schema:
    return _object(keep=TEXT, left_out=TEXTS, tubes=COUNT, all_blood_ml=ML, optimal=FLAG)


def _caution() -> Schema:
    return _object(level={"enum": [*LEVELS]}, text=TEXT, about=TEXT, basis=TEXT, sources=TEXTS)


def _reason() -> Schema:
    return _object(about=TEXT, text=TEXT, basis=TEXT, sources=TEXTS)


def _all_of(**properties: Schema) -> Schema:
    """These keys, every one of them there."""
    return {"required": [*properties], "properties": properties}


def _object(**properties: Schema) -> Schema:
    return {"type": "object", **_all_of(**properties)}


def _list(of: Schema) -> Schema:
    return {"type": "array", "items": of}


def _or_null(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}
