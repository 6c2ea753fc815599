"""What a contaminated tube reads, by another model than the one under test.

Where inference takes Hill curves through published points, this takes a fixed hidden share of calcium, first-order loss
of ALP and a Weibull loss of magnesium, each of a laboratory of its own; additive by the range a tube may hold, at the
patient's own hematocrit; laboratories with a bias; noise that is added and not in the logarithm; results rounded as
they are reported. Nothing of cubital.chemistry or cubital.inference is called. All constants are choices of this file.
"""

from __future__ import annotations

import numpy as np

from tests.detection.clean_set import Collections, Floats

# A quarter of what CLIA allows, as the bias of a laboratory either way; noise as a coefficient of variation.
_BIAS = {
    "potassium": 0.012, "sodium": 0.006, "chloride": 0.012, "calcium": 0.015, "magnesium": 0.03, "glucose": 0.02,
}  # fmt: skip
_NOISE = {
    "potassium": 0.012, "sodium": 0.006, "chloride": 0.008, "calcium": 0.012, "magnesium": 0.02, "glucose": 0.015,
}  # fmt: skip
_DECIMALS = {
    "potassium": 1, "sodium": 0, "chloride": 0, "calcium": 2, "magnesium": 2, "phosphate": 2, "glucose": 1,
    "alkaline-phosphatase": 0, "zinc": 1, "bicarbonate": 0, "lactate": 1, "albumin": 0, "total-protein": 0,
}  # fmt: skip
LABORATORIES = 12


class Samples:
    """Native values as columns by name, all of one length, and who drew and measured each."""

    def __init__(self, columns: dict[str, Floats], rng: np.random.Generator) -> None:
        self.columns, self.rng = columns, rng
        self.count = len(next(iter(columns.values())))
        self.laboratory = rng.integers(0, LABORATORIES, self.count)
        self.hematocrit = rng.uniform(0.28, 0.52, self.count)


def with_more_analytes(set_: Collections, rng: np.random.Generator) -> dict[str, Floats]:
    """The set's own columns, with magnesium, bicarbonate, LD, zinc and lactate invented to go with them.

    Of what varies, about three quarters are the person's own and the same at every collection.
    """
    found = {name: column.copy() for name, column in set_.values.items()}
    count, people, of = len(set_.subject), int(set_.subject.max()) + 1, set_.subject

    def gamma(shape: float) -> Floats:
        """About 1: a person's own part, times one of the day with a third of its variance."""
        day = rng.gamma(4 * shape, 1 / (4 * shape), count)
        return np.asarray(rng.gamma(1.33 * shape, 1 / (1.33 * shape), people)[of] * day)

    calcium, chloride = found["calcium"], found["chloride"]
    found["magnesium"] = 0.83 * gamma(120) + 0.12 * (calcium - 2.3)
    found["bicarbonate"] = 26.5 - 0.35 * (chloride - np.nanmedian(chloride))
    found["bicarbonate"] += rng.laplace(0, 1.1, people)[of] + rng.laplace(0, 0.7, count)
    found["lactate-dehydrogenase"] = 130 + 1.6 * found["aspartate-aminotransferase"]
    found["lactate-dehydrogenase"] += 19 * rng.standard_t(6, people)[of] + 11 * rng.standard_t(6, count)
    found["lactate-dehydrogenase"] = np.maximum(found["lactate-dehydrogenase"], 70)
    found["zinc"] = 13 * found["albumin"] / 41 * gamma(45)
    found["lactate"] = 0.4 + rng.gamma(3.5, 0.28, count)
    return found


def contaminated(samples: Samples, cause: str, dose: Floats) -> dict[str, Floats]:
    """The samples with this share of a cause's plasma or fluid in theirs, or g/L or hours, before they are measured."""
    if cause == "hemolysis":
        return _hemolyzed(samples, dose)
    if cause == "delayed-separation":
        return _stood(samples, dose)
    values = {name: column.copy() for name, column in samples.columns.items()}
    kept, brings = 1 - dose, {}
    if cause in ("k2-edta", "k3-edta"):
        kept, brings = np.ones(samples.count), _edta(samples, values, cause, dose)
    elif cause == "sodium-citrate":
        kept, brings = _citrate(samples, values, dose)
    elif cause == "citrate-lock":
        brings = _lock(samples)
    elif cause == "fluoride-oxalate":
        kept, brings = np.ones(samples.count), _fluoride(samples, values, dose)
    else:
        brings = _fluid(cause, samples)
    return {name: column * kept + dose * brings.get(name, 0.0) for name, column in values.items()}


def _edta(samples: Samples, values: dict[str, Floats], cause: str, dose: Floats) -> dict[str, Floats]:
    mass = {"k2-edta": 404.45, "k3-edta": 442.54}[cause]
    edta = samples.rng.uniform(1.5, 2.2, samples.count) / mass * 1000 / (1 - samples.hematocrit)
    _bind(samples, values, edta * dose)
    return {"potassium": edta * (2 if cause == "k2-edta" else 3)}


def _citrate(samples: Samples, values: dict[str, Floats], dose: Floats) -> tuple[Floats, dict[str, Floats]]:
    rng, plasma = samples.rng, 1 - samples.hematocrit
    parts = rng.uniform(6.5, 9.3, samples.count)
    whole = plasma + 1 / parts
    citrate = rng.uniform(105, 109, samples.count) / parts / whole
    for name in ("calcium", "magnesium"):
        values[name] *= 1 - 0.03 * np.minimum(citrate * dose, 5) * rng.uniform(0, 1, samples.count)
    return 1 - dose * (1 - plasma / whole), {"sodium": 3 * citrate}


def _lock(samples: Samples) -> dict[str, Floats]:
    """A catheter's lock of 4, 10, 30 or 46.7 % trisodium citrate, weighed as the dihydrate or the anhydrous salt."""
    grams = samples.rng.choice([40.0, 100.0, 300.0, 467.0], samples.count)
    return {"sodium": 3 * grams / samples.rng.choice([294.10, 258.07], samples.count) * 1000}


def _fluoride(samples: Samples, values: dict[str, Floats], dose: Floats) -> dict[str, Floats]:
    rng, plasma = samples.rng, 1 - samples.hematocrit
    fluoride = rng.uniform(2, 4, samples.count) / 41.99 * 1000 / plasma
    oxalate = rng.uniform(1, 3, samples.count) / 184.23 * 1000 / plasma
    values["calcium"] = np.maximum(0.05, values["calcium"] - oxalate * dose * rng.uniform(0, 1, samples.count))
    values["alkaline-phosphatase"] *= np.exp(-fluoride * dose / rng.uniform(15, 60, samples.count))
    return {"sodium": fluoride, "potassium": 2 * oxalate}


def _bind(samples: Samples, values: dict[str, Floats], edta: Floats) -> None:
    """What the EDTA hides in assays of this sample's laboratory."""
    makers = np.random.default_rng(7)
    hidden, tau = makers.uniform(0.08, 0.48, LABORATORIES), makers.uniform(3, 8, LABORATORIES)
    scale = np.where(makers.random(LABORATORIES) < 0.35, np.inf, makers.uniform(0.7, 1.3, LABORATORIES))
    at = samples.laboratory
    calcium = values["calcium"]
    values["calcium"] = np.maximum(0.05, calcium - hidden[at] * np.minimum(edta, 2.2 * calcium))
    values["alkaline-phosphatase"] *= np.exp(-edta / tau[at])
    values["magnesium"] *= np.exp(-((edta / scale[at]) ** 2))
    values["zinc"] *= np.exp(-edta / 0.2)


def _fluid(cause: str, samples: Samples) -> dict[str, Floats]:
    ones, which = np.ones(samples.count), samples.rng.random(samples.count)
    if cause == "saline":
        return {"sodium": 154 * ones, "chloride": 154 * ones}
    if cause == "dextrose":
        # One in six in half-strength saline and one in six in full, which the model under test does not know.
        salt = np.where(which < 1 / 6, 77.0, np.where(which < 1 / 3, 154.0, 0.0))
        return {"glucose": np.where(which > 0.5, 277.5, 252.3), "sodium": salt, "chloride": salt}
    if cause == "balanced-fluid":
        first = which < 0.5
        return {
            "sodium": np.where(first, 130.0, 140.0), "potassium": np.where(first, 4.0, 5.0),
            "chloride": np.where(first, 109.0, 98.0), "calcium": np.where(first, 1.35, 0.0),
            "magnesium": np.where(first, 0.0, 1.5), "lactate": np.where(first, 28.0, 0.0),
        }  # fmt: skip
    raise ValueError(f"found {cause!r}; expected a cause that this file can bring about")


def _hemolyzed(samples: Samples, free_g_per_l: Floats) -> dict[str, Floats]:
    """The samples with this much free hemoglobin and what comes with it."""
    rng, values = samples.rng, {name: column.copy() for name, column in samples.columns.items()}
    values["potassium"] += np.clip(rng.normal(0.32, 0.04, samples.count), 0.2, 0.42) * free_g_per_l
    for name, rise in (("lactate-dehydrogenase", 60.0), ("aspartate-aminotransferase", 3.2)):
        values[name] += rise * free_g_per_l * rng.uniform(0.6, 1.4, samples.count)
    values["magnesium"] += 0.006 * free_g_per_l
    return values


def _stood(samples: Samples, hours: Floats) -> dict[str, Floats]:
    """The samples after so many hours on the cells at room temperature."""
    rng, values = samples.rng, {name: column.copy() for name, column in samples.columns.items()}
    lost = np.minimum(values["glucose"] - 0.2, rng.uniform(0.25, 0.45, samples.count) * hours)
    values["glucose"] -= np.maximum(lost, 0)
    values["lactate"] += np.minimum(0.3 * hours, 1.8 * lost)
    leaking_h = np.maximum(0, hours - rng.uniform(6, 12, samples.count))
    values["potassium"] += leaking_h * rng.uniform(0.02, 0.07, samples.count)
    values["phosphate"] += np.where(hours < 10, -0.011 * hours, -0.11 + 0.04 * (hours - 10))
    return values


def measured(samples: Samples, values: dict[str, Floats]) -> dict[str, Floats]:
    """What the laboratory reports: its bias, noise, and rounding."""
    makers = np.random.default_rng(11)
    found = {}
    for name, column in values.items():
        bias = 1 + _BIAS.get(name, 0.025) * makers.uniform(-1, 1, LABORATORIES)
        noise = 1 + _NOISE.get(name, 0.02) * samples.rng.standard_normal(samples.count)
        noisy = column * bias[samples.laboratory] * noise
        found[name] = np.maximum(np.round(noisy, _DECIMALS.get(name, 0)), 0.0)
    return found
