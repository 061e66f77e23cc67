"""Speed as ratios within one run; on demand with ``pytest tests/test_benchmark.py --benchmark-only -n 0``."""

import statistics
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import reference_renderer as renderer
from panels import demo, png

import kit
import sliders
from kit.decision.chance import Trials

HOUSE = Path(__file__).parents[1] / "notebooks" / "houses" / "brick_two_storey.toml"
SHAPE = (960, 1920)


@pytest.fixture(scope="module")
def scene():
    projector = kit.Projector(light_output=8000, throw_ratio=0.8, lens_shift=(0.0, 0.5), sequential_contrast=2000)
    place = kit.Placement(position=(1.5, 0.3, 12.0), aim=(0.0, 0.3, 0.0))
    return kit.Scene(
        facade=kit.load_house(HOUSE), projectors=[(projector, place)], ambient=kit.Ambient(vertical_illuminance=1.5)
    )


def median_time(function, repeats):
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def test_light_map_against_passes_over_memory_and_the_renderer(benchmark, scene):
    left, right, bottom, _ = scene.facade.bounds
    step = (right - left) / SHAPE[1]
    extent = (left, right, bottom, bottom + step * SHAPE[0])
    light = kit.light_map(scene, step, extent=extent)
    assert light["illuminance"].shape == SHAPE
    benchmark.pedantic(kit.light_map, args=(scene, step), kwargs={"extent": extent}, rounds=9, warmup_rounds=2)
    ours = benchmark.stats["median"]
    array = np.random.default_rng(0).random(SHAPE)
    one_pass = median_time(lambda: array * 1.0001, 15)
    benchmark.extra_info["passes over memory"] = round(ours / one_pass, 1)
    projector, place = scene.projectors[0]
    for variant in renderer.available_variants():
        render = renderer.direct_pass(
            [np.array(p.outline) for p in scene.facade.patches],
            extent=extent,
            shape=SHAPE,
            variant=variant,
            light_output=8000,
            throw_ratio=0.8,
            resolution=projector.resolution,
            lens_shift=projector.lens_shift,
            position=place.position,
            aim=place.aim,
            roll=place.roll,
        )
        benchmark.extra_info[f"times faster than {variant}"] = round(median_time(render, 5) / ours, 2)
    print({k: v for k, v in benchmark.extra_info.items()}, f"light_map {ours * 1e3:.0f} ms")


@pytest.mark.parametrize(("spacing", "repeats"), [(0.05, 9), (0.0125, 5), (0.006, 3)])
def test_judge_against_the_map_that_it_judges(benchmark, scene, spacing, repeats):
    light = kit.light_map(scene, spacing)
    benchmark.pedantic(kit.judge, args=(light,), rounds=repeats, warmup_rounds=1)
    ours, a_map = benchmark.stats["median"], median_time(lambda: kit.light_map(scene, spacing), repeats)
    benchmark.extra_info["times as long as the map"] = round(ours / a_map, 2)
    print(benchmark.extra_info, f"at {spacing} m: judge {ours * 1e3:.0f} ms, map {a_map * 1e3:.0f} ms")


# What is moved, and the field of the panel's choice that follows.
PANELS = {
    "ClassPanel": ("ambient", 1.0, 1.05),
    "ClothPanel": ("light_output", 6000.0, 6250.0),
    "EveningPanel": ("light_output", 6000.0, 6250.0),
    "StandPanel": ("tilt", 3.0, 4.0),
}


@pytest.mark.parametrize("name", PANELS)
def test_a_panel_from_new_value_to_new_picture(benchmark, name):
    """Without the browser, which adds what a machine's screen takes: see `test-artefacts` of the browser tests."""
    panel = getattr(sliders, name)(demo())
    field, *values = PANELS[name]
    turn = iter(range(1000))

    def press():
        panel.controls[field].value = values[next(turn) % 2]

    before = png(panel, panel.pictures[0])
    press()
    assert png(panel, panel.pictures[0]) != before
    benchmark.pedantic(press, rounds=9, warmup_rounds=2)
    array = np.random.default_rng(0).random(SHAPE)
    benchmark.extra_info["passes over memory"] = round(
        benchmark.stats["median"] / median_time(lambda: array * 1.0001, 15), 1
    )
    print(benchmark.extra_info, f"{name} {benchmark.stats['median'] * 1e3:.0f} ms")


def test_import_time(benchmark):
    def start(code):
        subprocess.run([sys.executable, "-c", code], check=True)

    bare = median_time(lambda: start("pass"), 7)
    benchmark.pedantic(start, args=("import kit",), rounds=7)
    benchmark.extra_info["seconds over a bare interpreter"] = round(benchmark.stats["median"] - bare, 3)
    print(benchmark.extra_info)


def test_ten_thousand_places_against_a_map_for_each(benchmark, scene):
    house = scene.facade
    lens = kit.Lens(throw_ratio=(0.7, 1.3), shift_up=(0.0, 0.5), tilt=(-15, 15), pan=(-20, 20))
    lawn = kit.Stand(name="lawn", area=[(-8, 8), (8, 8), (8, 20), (-8, 20)], heights=(0.3, 1.5))
    machine = kit.typical_projector(8000, (0.7, 1.3))
    positions = kit.stage.search.candidates([lawn], 10_000, house)
    found = benchmark.pedantic(kit.evaluate, args=(house, machine, lens, positions), rounds=3, warmup_rounds=1)
    assert found.sizes["candidate"] == 10_000
    # A map of about as many points as the search looks at.
    some = [kit.placement_of(machine, found, i) for i in np.flatnonzero(found["feasible"].values)[:8]]

    def maps():
        for pair in some:
            kit.light_map(kit.Scene(facade=house, projectors=[pair]), 0.7)

    naive = median_time(maps, 3) / len(some) * 10_000
    benchmark.extra_info["times faster than a map for each"] = round(naive / benchmark.stats["median"], 1)
    print(benchmark.extra_info, f"10,000 places {benchmark.stats['median']:.2f} s")


def test_a_season_against_a_map_and_a_verdict_for_each_moment(benchmark, scene):
    site = kit.Site(latitude=42.0, longitude=-88.0, timezone="America/Chicago", facing=180)
    lamp = kit.typical_luminaire("street lamp", position=(-7.0, 6.0, 11.0))
    ambient = kit.Ambient(lamps=[lamp], eye=(3.0, 1.6, 16.0))
    lit = replace(scene, ambient=ambient)

    def season():
        return kit.evenings(lit, site, "2026-11-01", "2027-01-06")

    found = benchmark.pedantic(season, rounds=3, warmup_rounds=1)

    def one_moment():
        sky = site.sky("2026-12-05 18:00")
        return kit.judge(kit.light_map(replace(lit, ambient=replace(ambient, sky=sky)), 0.3))

    moments = found["clock"].size
    naive = median_time(one_moment, 5) * moments
    benchmark.extra_info["moments"] = moments
    benchmark.extra_info["times faster than one by one"] = round(naive / benchmark.stats["median"], 1)
    print(benchmark.extra_info, f"season {benchmark.stats['median']:.2f} s")


def test_a_season_in_a_housing_against_each_evening_alone(benchmark):
    box, weather = kit.Housing(air="outside air"), kit.invented_weather()

    def season(first="2026-11-01", last="2027-02-17"):
        return kit.keep(box, weather, first, last, power=350.0)

    found = benchmark.pedantic(season, rounds=3, warmup_rounds=1)
    evenings = found.hours / 24.0
    alone = median_time(lambda: season(last="2026-11-01"), 5) * evenings
    benchmark.extra_info["times faster than one by one"] = round(alone / benchmark.stats["median"], 1)
    print(benchmark.extra_info, f"{evenings:.0f} evenings of 64 draws {benchmark.stats['median']:.2f} s")


def test_thousands_of_plans_against_a_map_and_its_draws_for_each(benchmark):
    show, choice = demo(), kit.PlanChoice(budget=1e6)
    kit.plans(show, choice, draws=16, points=40)  # what is compiled and loaded once
    found = benchmark.pedantic(kit.plans, args=(show, choice), rounds=1)  # a second time it would be remembered
    tried = found.searched.table.drop_duplicates(["way", "count", "start", "state"])
    assert len(tried) >= 5000
    some = tried.iloc[:: len(tried) // 8].to_dict("records")

    def anew():
        for row in some:
            trials = Trials(kit.light_map(found.searched.scene(row), found.searched.spacing))
            trials.enough(trials.many(1024), found.target)

    naive = median_time(anew, 3) / len(some) * len(tried)
    benchmark.extra_info["plans"] = len(tried)
    benchmark.extra_info["times faster than one by one"] = round(naive / benchmark.stats["median"], 1)
    print(benchmark.extra_info, f"plans {benchmark.stats['median']:.2f} s")
