"""The best place by chance: the rule of shares of a verdict, for many places at once."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import kit
from kit.stage.likely import LEADERS, MORE, Likely
from kit.stage.places import placement_of
from kit.stage.search import candidates, search

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"
TARGET = kit.Target(white_luminance=2.0, contrast=7.0, share=0.7, confidence=0.8)


@pytest.fixture(scope="module")
def demo():
    # With lit rooms its windows would decide, and not the place.
    return replace(kit.open_show(HOUSES / "demo_show.toml"), rooms_dark=True)


@pytest.fixture(scope="module")
def scene(demo):
    """A machine of certain losses, lamps that light the front unevenly, a ground that sends light back, a tree."""
    machine, place = demo.aimed(demo.machine, distance=9.0, throw_ratio=0.9)
    chain = tuple(factor for factor in machine.chain if not factor.name.startswith("lens"))
    return demo.scene([(replace(machine, chain=chain), place)], demo.light(demo.even, demo.luminaires()))


@pytest.fixture(scope="module")
def places(demo, scene):
    lens = kit.Lens(throw_ratio=(0.7, 1.3), shift_up=(0.0, 0.5), tilt=(-5, 20), pan=(-20, 20))
    positions = candidates(demo.full.stands, 200, demo.house, obstacles=demo.obstacles)
    return kit.evaluate(
        demo.house, scene.projectors[0][0], lens, positions, obstacles=demo.obstacles, limits=kit.Limits(reached=0.9)
    )


def judged(scene, places, index, spacing, target=TARGET, around=None):
    """The verdict on a place, by brute force; `around`: in the ambient light of another map."""
    pair = placement_of(scene.projectors[0][0], places, index)
    light = kit.light_map(replace(scene, projectors=[pair]), spacing)
    if around is not None:
        light = light.assign({name: around[name] for name in ("ambient_illuminance", "veiling_luminance")})
    return kit.judge(light, target, draws=MORE).front


def test_the_chance_at_a_place_is_that_of_judge_on_a_map_of_its_own(scene, places):
    likely = Likely(scene, TARGET)
    some = np.flatnonzero(places["feasible"].values)[::9]
    assert len(some) > 8
    here = places.isel(candidate=some)
    shares = likely.shares(here, MORE)
    chance = (shares >= TARGET.least_of(1)).mean(axis=1)
    found = [judged(scene, places, i, likely.spacing) for i in some]
    expected = np.array([front.chance for front in found])
    assert np.count_nonzero((expected > 0.1) & (expected < 0.9)) > 8
    # The same draws at the same points. Light by way of the ground is that of one place, in proportion to what lands: a
    # draw of 256 that lies close to the share that is wanted may fall the other way.
    alike = [judged(scene, places, i, likely.spacing, around=likely.light).chance for i in some]
    np.testing.assert_allclose(chance, alike, atol=1 / MORE)
    # What walls that face each other send is that of the scene's own place too: nearer than most, so chances lean low.
    assert np.all((chance <= expected + 1 / MORE) & (chance > expected - 0.04))
    # What is sure is the share up to which the status is "enough": a little less of it is, a little more is not.
    for i, sure in zip(some[::4], likely.sure(shares)[::4], strict=True):
        for share, enough in ((sure - 0.01, True), (sure + 0.01, False)):
            front = judged(scene, places, i, likely.spacing, replace(TARGET, share=share))
            assert (front.status == "enough") == enough


def test_the_leaders_are_tried_in_more_draws_and_the_best_is_the_best_of_judge(scene, places):
    likely = Likely(scene, TARGET)
    worth = likely(places)
    feasible = places["feasible"].values
    np.testing.assert_array_equal(np.isfinite(worth), feasible)
    assert feasible.sum() > 2 * LEADERS
    best = int(np.nanargmax(worth))
    some = np.flatnonzero(feasible)
    sure = likely.sure(likely.shares(places.isel(candidate=some), MORE))
    # In few draws the true best may just miss being a leader: what is lost is less than one point in fifty.
    assert sure[np.flatnonzero(some == best)[0]] >= sure.max() - 0.02
    middle, far = np.argsort(sure)[[len(sure) // 2, 0]]
    chances = [judged(scene, places, i, likely.spacing).chance for i in (best, some[middle], some[far])]
    assert chances[0] > chances[1] > chances[2]


def test_more_light_is_likelier_and_so_is_a_lower_target(scene, places):
    here = places.isel(candidate=np.flatnonzero(places["feasible"].values)[:5])
    first = Likely(scene, TARGET).shares(here, 32)
    more = Likely(scene, TARGET).shares(here.assign(delivered_light=2.0 * here["delivered_light"]), 32)
    low = Likely(scene, replace(TARGET, white_luminance=1.0)).shares(here, 32)
    assert (more >= first).all()
    assert (low >= first).all()
    assert (more > first).any()
    assert (low > first).any()


def test_the_search_by_chance_says_what_the_best_place_gives(demo, scene):
    lens = kit.Lens(throw_ratio=(0.7, 1.3), shift_up=(0.0, 0.5), tilt=(-5, 20), pan=(-20, 20))
    limits, likely = kit.Limits(reached=0.9), Likely(scene, TARGET)
    found = search(
        demo.house, scene.projectors[0][0], lens, demo.full.stands, obstacles=demo.obstacles, limits=limits,
        objective=likely, count=300, points=100,
    )  # fmt: skip
    front = judged(scene, found.places, found.index, likely.spacing)
    sentence = found.sentence("ft")
    assert "Best for the chance that it is enough: " in sentence
    share = float(likely.sure(likely.shares(found.places.isel(candidate=[found.index]), MORE))[0])
    assert f"there {100 * share:.0f}% of the front is good enough with 8 chances in 10, and 70% of it with " in sentence
    assert front.chance >= 0.8 if share >= 0.7 else front.chance < 0.8
    # No candidate beats what the optimiser made of the best.
    worth = likely(found.places)
    assert np.nanargmax(worth) == found.index


@pytest.mark.bad_input
def test_what_is_asked_for_is_named(scene):
    with pytest.raises(kit.InputError, match="scene"):
        Likely(None)
    with pytest.raises(kit.InputError, match="target"):
        Likely(scene, 4.0)
    with pytest.raises(kit.InputError, match="points"):
        Likely(scene, points=3)
