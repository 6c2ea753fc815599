"""The Spin page without a browser: what it asks, the runs with their rotors, what it writes down once."""

from __future__ import annotations

import re

from starlette.applications import Starlette

from cubital.app.record import SpecimenRecord
from cubital.model import Site
from cubital.model.centrifuge import Centrifuge, Filled, PlaceRow, SpinRun
from cubital.model.specimen import Spun
from cubital.web.bench_rows import Cap
from cubital.web.rotor_picture import rotor_picture
from tests.web.conftest import Browser
from tests.web.test_bench_page import bench, demo_application, morning, text_of

__all__ = ["bench", "demo_application", "morning"]


def asked(browser: Browser) -> dict[str, str | list[str]]:
    """The form as a person fills it in: every tube ticked, 13 mm wide and filled to its mark."""
    browser.get("/bench/spin")
    form: dict[str, str | list[str]] = {"take": re.findall(r'name="take" value="([^"]+)"', browser.text), "do": "plan"}
    for key in re.findall(r'name="diameter ([^"]+)"', browser.text):
        form |= {f"diameter {key}": "13", f"full {key}": "1"}
    return form | {"in_use big-swing": "1", "in_use small-angle": "1"}


def runs_of(text: str) -> list[list[str]]:
    """The tubes of each run, as its form would send them."""
    return [re.findall(r'name="tube" value="([^"]+)"', part) for part in text.split('<section class="run-of')[1:]]


def test_it_asks_width_and_fill_of_each_kind_and_size_that_waits(bench: Browser, morning: SpecimenRecord) -> None:
    form = asked(bench)
    assert "INV05-1" in form["take"]
    assert "INV01-1" not in form["take"], "it was not received yet"
    assert "INV13-1" not in form["take"], "it was spun before"
    assert "more will wait for a spin once they are received" in text_of(bench)
    bench.post("/bench/spin", {key: value for key, value in form.items() if not key.startswith("diameter")})
    assert bench.status == 422
    assert "diameter_mm: found nothing" in text_of(bench)
    bench.post("/bench/spin", {key: value for key, value in form.items() if not key.startswith("full")})
    assert bench.status == 422
    assert "fill" in text_of(bench)
    assert 'value="13"' in bench.text


def test_the_runs_are_drawn_with_every_tube_once_and_the_proof(bench: Browser, morning: SpecimenRecord) -> None:
    form = asked(bench)
    bench.post("/bench/spin", form)
    assert bench.status == 200
    said = text_of(bench)
    assert "no plan for these centrifuges has fewer tubes late" in said
    runs = runs_of(bench.text)
    assert sorted(tube for run in runs for tube in run) == sorted(form["take"])
    assert len(re.findall('<svg class="rotor"', bench.text)) == len(runs)
    for run in runs:
        for tube in run:
            assert len(re.findall(rf"<title>[^<]* {tube}, ", bench.text)) == 1


def test_a_run_that_is_over_is_written_once_and_leaves_the_list(
    bench: Browser, demo_application: Starlette, morning: SpecimenRecord
) -> None:
    bench.post("/bench/spin", asked(bench))
    run = runs_of(bench.text)[0]
    done: dict[str, str | list[str]] = {
        "do": "record", "tube": run, "rcf_g": "1500", "minutes": "15", "temp_c": "21",
    }  # fmt: skip
    for _ in range(2):
        bench.post("/bench/spin", done)
        assert (bench.status, bench.path) == (200, "/bench/spin")
    for tube in run:
        spins = [entry.content for entry in morning.history(tube) if isinstance(entry.content, Spun)]
        assert [(one.by, one.rcf_g, one.spin_s, one.temperature_c) for one in spins] == [("processor", 1500, 900, 21)]
        assert f'name="take" value="{tube}"' not in bench.text
    other = Browser(demo_application)
    other.sign_in("supervisor")
    other.get("/bench/spin")
    other.post("/bench/spin", done)
    assert other.status == 409
    assert f"processor at bench page was first: {run[0]} was spun at" in text_of(other)
    assert "Nothing of yours was recorded" in text_of(other)


def test_a_run_without_its_temperature_is_not_written(bench: Browser, morning: SpecimenRecord) -> None:
    before = morning.head()
    bench.get("/bench/spin")
    bench.post("/bench/spin", {"do": "record", "tube": "INV05-1", "rcf_g": "1500", "minutes": "15", "temp_c": ""})
    assert bench.status == 422
    assert "temperature of the run" in text_of(bench)
    bench.post("/bench/spin", {"do": "record", "rcf_g": "1500", "minutes": "15", "temp_c": "21"})
    assert bench.status == 422
    assert morning.head() == before


def test_without_a_tube_or_a_centrifuge_it_says_what_is_missing(bench: Browser, morning: SpecimenRecord) -> None:
    form = asked(bench)
    bench.post("/bench/spin", {**form, "take": []})
    assert "found no tube ticked" in text_of(bench)
    bench.post("/bench/spin", {key: value for key, value in form.items() if not key.startswith("in_use")})
    assert "found every centrifuge out of use" in text_of(bench)


def test_places_that_balance_each_other_lie_opposite_each_other_about_the_axle(demo: Site) -> None:
    six = Centrifuge(
        key="six", rotor="swing-out", radius_mm=170, rpm_low=500, rpm_high=4000, rpm_step=10, ramp_s=60, temp_low_c=4,
        temp_high_c=40,
        places=(
            PlaceRow(pairs=5, low_um=12_000, high_um=13_000, buckets=("A", "D")),
            PlaceRow(pairs=3, low_um=12_000, high_um=16_000, buckets=("B", "E")),
            PlaceRow(pairs=2, low_um=12_000, high_um=16_000, buckets=("C", "F")),
        ),
    )  # fmt: skip
    from cubital.handling.spin_balance import place_labels

    for machine in (*demo.centrifuges, six):
        pairs = [pair for row in place_labels(machine) for pair in row]
        filled = tuple(
            one
            for here, there in pairs
            for one in (
                Filled(place=here, opposite=there, tube=here),
                Filled(place=there, opposite=here, tube=None, like=here),
            )
        )
        run = SpinRun(
            centrifuge=machine.key, start_s=0, end_s=1, rpm=1000, spin_s=1, temp_c=None, filled=filled
        )
        caps = {here: Cap(mark="LG", ink="#ffffff", figure="", words="x") for here, _ in pairs}
        drawn = rotor_picture(machine, run, caps)
        where = {place.label: (place.x, place.y) for place in drawn.places}
        middle = drawn.size / 2
        for here, there in pairs:
            (x1, y1), (x2, y2) = where[here], where[there]
            assert abs(x1 + x2 - 2 * middle) < 0.3, (machine.key, here)
            assert abs(y1 + y2 - 2 * middle) < 0.3, (machine.key, here)
        spots = list(where.values())
        for i, (x1, y1) in enumerate(spots):
            assert 20 < x1 < drawn.size - 20
            assert 20 < y1 < drawn.size - 20
            for x2, y2 in spots[:i]:
                assert (x1 - x2) ** 2 + (y1 - y2) ** 2 >= 42**2, (machine.key, "two places overlap")
