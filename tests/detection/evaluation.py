"""The whole evaluation of one half of the clean set, as one JSON document: minutes, not for the suite.

    .venv/bin/python -m tests.detection.evaluation evaluation > docs/pictures/detection.json

`scripts/write_docs_pictures.py` draws it, docs/explanation/what-went-into-the-tube.md reports it.
"""

from __future__ import annotations

import json
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache
from multiprocessing import get_context
from typing import Any, NamedTuple

import numpy as np

from cubital.facts.causes import CAUSES
from cubital.inference.posterior import default_log_shares
from cubital.inference.verdict import suspicions
from tests.detection.clean_set import Floats, Half, collections
from tests.detection.rules import RULES, Rule
from tests.detection.scores import (
    NONE,
    area_under,
    calibration,
    calibration_error,
    chances,
    curve,
    limit_at,
    of_family,
    sensitivity_at,
)  # fmt: skip
from tests.detection.trials import CLEAN, Setting, trial

DOSES: dict[str, tuple[float, ...]] = {
    "k2-edta": (0.01, 0.02, 0.03, 0.05, 0.1, 0.2),
    "k3-edta": (0.05, 0.1),
    "sodium-citrate": (0.1, 0.2, 0.3),
    "citrate-lock": (0.005, 0.01, 0.02, 0.05),
    "fluoride-oxalate": (0.02, 0.05, 0.1),
    "saline": (0.05, 0.1, 0.2, 0.3),
    "dextrose": (0.02, 0.05, 0.1, 0.2),
    "balanced-fluid": (0.1, 0.2, 0.3),
    "hemolysis": (1.0, 3.0, 6.0),
    "delayed-separation": (8.0, 24.0, 48.0),
}
ADDED = ("k2-edta", "k3-edta", "sodium-citrate", "fluoride-oxalate", "saline", "dextrose", "balanced-fluid")
ROC_OF = (("k2-edta", 0.03), ("k2-edta", 0.05), ("k2-edta", 0.1), ("saline", 0.1), ("sodium-citrate", 0.2))
# Of the calibration: the share of the samples with something in them, and the doses, evenly in the logarithm.
BAD_SHARE, LEAST_DOSE, MOST_DOSE = 0.5, 0.01, 0.5


class Scored(NamedTuple):
    """A trial with the probabilities of its samples."""

    now: dict[str, Floats]
    before: dict[str, Floats]
    found: Floats


@lru_cache(maxsize=400)
def scored(setting: Setting, cause: str = CLEAN, dose: float = 0.0) -> Scored:
    """The trial and the probabilities."""
    made = trial(setting, cause, dose)
    return Scored(made.now, made.before, chances(made.samples))


def evaluate(half: Half, *, panels: tuple[str, ...] = ("8", "18", "22")) -> dict[str, Any]:
    """Every figure of a half."""
    settings = [Setting(half, panel, has_earlier) for panel in panels for has_earlier in (False, True)]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = list(pool.map(_of_setting, settings))
    return {
        "half": half,
        "collections": len(collections(half).subject),
        "subjects": len(set(collections(half).subject.tolist())),
        "settings": [one for one, _ in found],
        "rules": [line for _, lines in found for line in lines],
        "calibration": [_of_calibration(half, is_told=is_told) for is_told in (True, False)],
    }


def _of_setting(setting: Setting) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The figures of a setting, and of the rules in it."""
    clean = scored(setting).found
    found: dict[str, Any] = {
        "panel": setting.panel, "has_earlier": setting.has_earlier, "clean": len(clean), "sensitivity": {}, "area": {},
        "roc": {}, "verdicts": {},
    }  # fmt: skip
    for cause, doses in DOSES.items():
        score = of_family(clean, cause)
        bad = {dose: of_family(scored(setting, cause, dose).found, cause) for dose in doses}
        found["sensitivity"][cause] = {str(dose): _rounded(sensitivity_at(score, some)) for dose, some in bad.items()}
        found["area"][cause] = {str(dose): _rounded(area_under(score, some)) for dose, some in bad.items()}
        for dose, some in bad.items():
            if (cause, dose) in ROC_OF:
                found["roc"][f"{cause} {dose}"] = _thinned(*curve(score, some))
    other = Setting("development" if setting.half == "evaluation" else "evaluation", *setting[1:])
    limit = limit_at(of_family(scored(other).found, "k2-edta"))
    found["limit_of_other_half"] = {
        "false_alarms": _rounded(float((of_family(clean, "k2-edta") > limit).mean())),
        "k2-edta 0.1": _rounded(float((of_family(scored(setting, "k2-edta", 0.1).found, "k2-edta") > limit).mean())),
    }
    for cause, dose in ((CLEAN, 0.0), ("k2-edta", 0.05), ("k2-edta", 0.1), ("k2-edta", 0.2), ("saline", 0.2)):
        answers = suspicions(trial(setting, cause, dose).samples)
        found["verdicts"][f"{cause} {dose}"] = {
            verdict: _rounded(float(np.mean([answer.verdict == verdict for answer in answers])))
            for verdict in ("suspect", "cannot tell", "nothing found")
        } | {"redraw": _rounded(float(np.mean([answer.redraw for answer in answers])))}
    print(f"{setting}: done", file=sys.stderr, flush=True)
    return found, [line for rule in RULES for line in _of_rule(rule, setting)]


def _thinned(false_alarms: Floats, sensitivities: Floats) -> list[list[float]]:
    """The curve up to a tenth of false alarms: of each number of them the best sensitivity."""
    best = dict(zip(false_alarms.tolist(), sensitivities.tolist(), strict=True))
    return [[_rounded(alarms), _rounded(share)] for alarms, share in best.items() if alarms <= 0.1]


def _of_rule(rule: Rule, setting: Setting) -> list[dict[str, Any]]:
    """The rule beside the score at the rule's own false alarms, at every dose of every cause that the rule is for."""
    if rule.needs_earlier != setting.has_earlier or (rule.needs_zinc != (setting.panel == "22")):
        return []
    clean, found = scored(setting), []
    alarms = int(rule.ask(clean.now, clean.before).sum())
    for cause in rule.causes:
        limit = np.sort(of_family(clean.found, cause))[::-1][alarms]
        for dose in DOSES[cause]:
            bad = scored(setting, cause, dose)
            found.append({
                "rule": rule.name, "source": rule.source, "panel": setting.panel, "cause": cause, "dose": dose,
                "false_alarms": _rounded(alarms / len(clean.found)),
                "of_rule": _rounded(float(rule.ask(bad.now, bad.before).mean())),
                "ours": _rounded(float((of_family(bad.found, cause) > limit).mean())),
            })  # fmt: skip
    return found


def _of_calibration(half: Half, *, is_told: bool) -> dict[str, Any]:
    """Clean samples and those of seven causes at doses by chance: half and half, which is told; or as in routine."""
    setting = Setting(half, "18", False)
    shares = np.exp(default_log_shares())
    told = np.full(len(CAUSES), 1e-9)
    told[NONE], told[[CAUSES.index(cause) for cause in ADDED]] = 1 - BAD_SHARE, BAD_SHARE / len(ADDED)
    probability, is_bad, weight = [], [], []
    for cause in (CLEAN, *ADDED):
        count = len(collections(half).subject)
        doses = np.exp(np.random.default_rng(5).uniform(np.log(LEAST_DOSE), np.log(MOST_DOSE), count))
        found = chances(trial(setting, cause, doses).samples, log_shares=np.log(told) if is_told else None)
        probability.append(found[:, [CAUSES.index(key) for key in ADDED]].sum(axis=1))
        is_bad.append(np.full(count, cause != CLEAN))
        weight.append(np.full(count, (told if is_told else shares)[CAUSES.index(cause)]))
    bins = calibration(np.concatenate(probability), np.concatenate(is_bad), np.concatenate(weight))
    return {
        "bad_share": BAD_SHARE if is_told else _rounded(float(shares[[CAUSES.index(key) for key in ADDED]].sum())),
        "bins": [[_rounded(value) for value in bin_] for bin_ in bins], "error": _rounded(calibration_error(bins)),
    }  # fmt: skip


def _rounded(value: float) -> float:
    return round(value, 4)


if __name__ == "__main__":
    chosen: Half = "evaluation" if sys.argv[1:] == ["evaluation"] else "development"
    print(json.dumps(evaluate(chosen), separators=(",", ":")))
