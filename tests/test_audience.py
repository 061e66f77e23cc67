"""What viewers see from where they are: panes, veils, picture elements, angles."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit import reference
from kit.decision.verdict import Target
from kit.eye.glare import veiling_luminance
from kit.light.ambient import Ambient, Glare
from kit.results import shown, text_table
from kit.sky.luminaire import Luminaire
from kit.sky.photometric_file import cutoff
from kit.stage.audience import Viewer, audience_table, say, windscreen

LEAKS = {"sequential_contrast": 500.0}
LAMP = Luminaire(name="street lamp", position=(2.0, 4.0, 3.0), distribution=cutoff(3000.0))


@pytest.fixture(scope="module")
def lit(wall, straight):
    """A wall of 8 m by 5 m, all of it lit, with a lamp in view and even ambient light."""
    around = Ambient(vertical_illuminance=0.5, lamps=(LAMP,), eye=(7.0, 1.0, 11.0), age=30.0)
    return kit.Scene(facade=wall(), projectors=[straight(8.0, 5.0, lumens=2000.0, **LEAKS)], ambient=around)


# Panes


@pytest.mark.property
@settings(max_examples=15)
@given(transmittance=st.floats(0.01, 1.0), age=st.one_of(st.none(), st.floats(0.0, 100.0)), z=st.floats(9.0, 40.0))
def test_a_clean_pane_changes_luminance_and_not_contrast(lit, transmittance, age, z):
    bare = Viewer(name="bare", eye=(0.5, 1.5, z), age=age)
    pane = replace(bare, name="pane", transmittance=transmittance)
    found = audience_table(lit, [bare, pane], spacing=0.5)
    one, other = found.views
    assert one.veiling_luminance > 0
    assert other.veiling_luminance == pytest.approx(transmittance * one.veiling_luminance, rel=1e-12)
    for level in ("low", "median", "high"):
        a, b = (getattr(view.front.white_luminance, level) for view in found.views)
        assert b == pytest.approx(transmittance * a, rel=1e-12)
        a, b = (getattr(view.front.contrast, level) for view in found.views)
        assert b == pytest.approx(a, rel=1e-9)
    assert (other.pixels_per_degree, other.distance, other.angle) == (one.pixels_per_degree, one.distance, one.angle)


@pytest.mark.analytic
def test_a_pane_can_turn_the_verdict_by_luminance_alone(lit):
    bright = audience_table(lit, [Viewer(name="a", eye=(0, 1.5, 15))]).views[0].white_luminance
    target = Target(white_luminance=0.8 * bright, contrast=2.0)
    found = audience_table(lit, [Viewer(name="a", eye=(0, 1.5, 15)), windscreen((0, 1.5, 15))], target)
    assert [view.front.status for view in found.views] == ["enough", "not enough"]
    assert found.views[1].front.criterion == "white luminance"
    assert found.views[1].contrast == pytest.approx(found.views[0].contrast, rel=1e-9)


@pytest.mark.published
def test_a_windscreen_passes_what_fmvss_205_asks_for():
    # At least 70% where the driver has to see: NHTSA interpretation 11-000697 on FMVSS 205.
    row = reference.row("exposure", "windscreen")
    assert (row.value, row.low) == (0.7, 0.7)
    car = windscreen((1, 1.2, 18), age=40.0)
    assert (car.transmittance, car.age, car.name) == (0.7, 40.0, "in a car")
    assert windscreen((1, 1.2, 18), name="driver").name == "driver"


# Each one's own place


@pytest.mark.analytic
def test_the_veil_is_that_of_each_place_and_age(lit):
    people = [
        Viewer(name="young", eye=(0.0, 1.6, 14.0)),
        Viewer(name="old", eye=(0.0, 1.6, 14.0), age=75.0),
        Viewer(name="aside", eye=(-6.0, 1.6, 14.0), age=75.0),
    ]
    found = audience_table(lit, people)
    for view in found.views:
        around = replace(lit.ambient, eye=view.viewer.eye, age=view.viewer.age, pigment=view.viewer.pigment)
        veil = kit.light_map(replace(lit, ambient=around), 0.1)["veiling_luminance"].sum("source")
        assert view.veiling_luminance == pytest.approx(float(veil.mean()), rel=1e-12)
    young, old, _ = found.views
    # CIE 146: up to 1 + (75 / 62.5)^4 times as much, a third of that near the lamp.
    assert 1.5 < old.veiling_luminance / young.veiling_luminance < 1 + (75 / 62.5) ** 4
    assert old.contrast < young.contrast
    assert old.white_luminance == young.white_luminance


@pytest.mark.analytic
def test_the_figures_are_those_of_the_map_seen_from_there(lit):
    eye = (3.0, 1.6, 12.0)
    (view,) = audience_table(lit, [Viewer(name="a", eye=eye, age=50.0)], spacing=0.2).views
    light = kit.light_map(replace(lit, ambient=replace(lit.ambient, eye=eye, age=50.0)), 0.2)
    verdict = kit.judge(light)
    assert view.front == verdict.front
    assert (view.front.status, view.contrast) == (verdict.status, verdict.front.contrast.median)


@pytest.mark.analytic
def test_glare_that_is_known_by_its_light_alone_is_the_same_for_all(wall, straight):
    source = Glare(illuminance=3.0, angle=10.0)
    scene = kit.Scene(facade=wall(), projectors=[straight(**LEAKS)], ambient=Ambient(glare=(source,)))
    found = audience_table(scene, [Viewer(name="a", eye=(0, 1, 9)), Viewer(name="b", eye=(5, 1, 30), age=70.0)])
    assert found.views[0].veiling_luminance == pytest.approx(float(veiling_luminance(3.0, 10.0)))
    assert found.views[1].veiling_luminance == pytest.approx(float(veiling_luminance(3.0, 10.0, age=70.0)))


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("offset", "angle"), [((0.0, 0.0, 10.0), 0.0), ((10.0, 0.0, 10.0), 45.0), ((0.0, 5.0, 5.0 * math.sqrt(3)), 30.0)]
)
def test_distance_and_angle_are_to_the_middle_of_the_front(lit, offset, angle):
    eye = tuple(np.add((0.0, 2.5, 0.0), offset).tolist())
    (view,) = audience_table(lit, [Viewer(name="a", eye=eye)], spacing=0.5).views
    assert view.angle == pytest.approx(angle, abs=1e-6)
    assert view.distance == pytest.approx(math.hypot(*offset))


# Picture elements


@pytest.mark.analytic
@pytest.mark.parametrize("away", [5.0, 12.0, 60.0])
def test_picture_elements_per_degree_are_those_of_the_nearest_point(wall, straight, away):
    """On a wall looked at squarely all elements are alike, so the nearest looks coarsest."""
    scene = kit.Scene(facade=wall(), projectors=[straight(8.0, 5.0)])
    projector = scene.projectors[0][0]
    # The nearest pixel centre lies straight ahead.
    (view,) = audience_table(scene, [Viewer(name="a", eye=(0.05, 2.55, away))], spacing=0.1).views
    side = 8.0 / projector.resolution[0]
    assert view.pixels_per_degree == pytest.approx(math.radians(1.0) / (side / away), rel=1e-9)


@pytest.mark.analytic
def test_elements_on_a_slope_are_longer_and_what_lies_along_the_line_of_sight_is_not_seen(straight):
    """A roof that leans back by 45 degrees: elements are longer by the square root of 2, and do not look longer."""
    grey = kit.Surface(name="grey", reflectance=0.5)
    roof = kit.Patch("roof", [(-0.2, 2, 0.2), (0.2, 2, 0.2), (0.2, 2.4, -0.2), (-0.2, 2.4, -0.2)], grey)
    projector, _ = straight(8.0, 5.0)
    # From so far that rays are parallel, but for a thousandth.
    far = kit.Placement(position=(0.0, 2.2, 1000.0), aim=(0.0, 2.2, 0.0))
    scene = kit.Scene(facade=kit.Facade([roof]), projectors=[(replace(projector, throw_ratio=125.0), far)])
    side = 8.0 / projector.resolution[0]
    level, square = (
        audience_table(scene, [Viewer(name="a", eye=eye)], spacing=0.05).views[0]
        for eye in ((0.0, 2.2, 100.0), (0.0, 2.2 + 70.710678, 70.710678))
    )
    assert level.pixels_per_degree == pytest.approx(math.radians(1.0) / (side / 100.0), rel=5e-3)
    assert square.pixels_per_degree == pytest.approx(math.radians(1.0) / (math.sqrt(2) * side / 100.0), rel=5e-3)


@pytest.mark.analytic
def test_the_coarsest_of_two_machines_counts_and_roofs_that_are_not_judged_do_not(wall, straight):
    fine = replace(straight(8.0, 5.0)[0], resolution=(3200, 2000)), straight(8.0, 5.0)[1]
    coarse = replace(straight(8.0, 5.0)[0], resolution=(800, 500)), straight(8.0, 5.0)[1]
    viewer = [Viewer(name="a", eye=(0, 2, 20))]

    def found(*pairs, facade=None):
        scene = kit.Scene(facade=facade or wall(), projectors=pairs)
        return audience_table(scene, viewer).views[0].pixels_per_degree

    assert found(fine) == pytest.approx(4 * found(coarse), rel=1e-3)
    assert found(fine, coarse) == found(coarse)
    grey = kit.Surface(name="grey", reflectance=0.5)
    roof = kit.Patch("roof", [(-4, 4, 0), (4, 4, 0), (4, 5, -3), (-4, 5, -3)], grey, judged=False)
    low = kit.Patch("low", [(-4, 0), (4, 0), (4, 4), (-4, 4)], grey)
    with_roof = kit.Facade([low, roof])
    assert found(fine, facade=with_roof) == pytest.approx(found(fine, facade=kit.Facade([low])), rel=1e-12)
    assert found(fine, facade=kit.Facade([low, replace(roof, judged=True)])) < 0.9 * found(fine, facade=with_roof)


@pytest.mark.practice
def test_sixty_elements_to_a_degree_look_smooth(wall, straight):
    # Practice of the letter chart: 20/20 is a detail of one minute of arc.
    scene = kit.Scene(facade=wall(), projectors=[straight(8.0, 5.0)])
    scene = replace(
        scene, projectors=((replace(scene.projectors[0][0], resolution=(1600, 1000)), scene.projectors[0][1]),)
    )
    # 5 mm are one minute of arc at 5 mm / tan(1/60 degree) = 17.2 m.
    near, far = (audience_table(scene, [Viewer(name="a", eye=(0, 2.5, z))]).views[0] for z in (17.0, 17.4))
    assert near.wanted_pixels_per_degree == 60.0
    assert (near.smooth, far.smooth) == (False, True)


# Words


def test_frame_and_sentence_say_what_was_found(lit):
    found = audience_table(lit, [Viewer(name="on the pavement", eye=(0, 1.6, 14)), windscreen((-4, 1.2, 18))])
    frame = found.frame()
    assert frame.index.tolist() == ["on the pavement", "in a car"]
    assert frame["pane"].tolist() == [1.0, 0.7]
    for view in found.views:
        row = frame.loc[view.viewer.name]
        assert row[["distance [m]", "off axis [°]", "veil [cd/m²]", "pixels per degree", "front"]].tolist() == [
            view.distance, view.angle, view.veiling_luminance, view.pixels_per_degree, view.front.status
        ]  # fmt: skip
        for name, figure in (("white [cd/m²]", view.front.white_luminance), ("contrast", view.front.contrast)):
            band = [row[f"{end}{name}"] for end in ("low ", "", "high ")]
            assert band == [figure.low, figure.median, figure.high]
    assert shown(found.frame("ft")).loc["on the pavement", "distance [ft]"] == "46.0"
    assert found.sentence().endswith(say("panes"))
    assert "dirt" in say("panes")
    assert found.sentence("ft").startswith("On the pavement, 46 ft away: ")
    assert str(found) == f"{found.sentence()}\n\n{text_table(frame)}"
    assert say("panes") not in audience_table(lit, [Viewer(name="a", eye=(0, 1, 9))]).sentence()


# What is refused


@pytest.mark.bad_input
@pytest.mark.parametrize("eye", [(0.0, 1.0, -3.0), (0.0, 1.0, 0.0), (9.0, 1.0, -0.1), (1.5, 1.0, 0.7)])
def test_an_eye_behind_the_wall_or_inside_the_front_is_refused(straight, eye):
    grey = kit.Surface(name="grey", reflectance=0.5)
    front = kit.Facade(
        [
            kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], grey),
            *kit.with_returns(kit.Patch("bay", [(1, 0, 1), (3, 0, 1), (3, 3, 1), (1, 3, 1)], grey), 0.0),
        ]
    )
    scene = kit.Scene(facade=front, projectors=[straight()])
    with pytest.raises(kit.InputError, match=r"viewer 'a': eye = .* an eye in front of the house"):
        audience_table(scene, [Viewer(name="a", eye=eye)])


@pytest.mark.bad_input
def test_a_table_names_what_is_wrong(lit):
    person = Viewer(name="a", eye=(0, 1, 9))
    for change, field in (
        ({"scene": "scene"}, "scene"),
        ({"viewers": [person, person]}, "viewers: name"),
        ({"target": 4.0}, "target"),
        ({"spacing": -1.0}, "spacing"),
    ):
        with pytest.raises(kit.InputError) as caught:
            kit.audience_table(**{"scene": lit, "viewers": [person]} | change)
        assert caught.value.field == field
    found = audience_table(lit, [person])
    for words in (found.frame, found.sentence):
        with pytest.raises(kit.InputError, match="units"):
            words("yd")


@pytest.mark.bad_input
def test_a_picture_that_shows_only_what_is_not_judged_is_refused(straight):
    grey = kit.Surface(name="grey", reflectance=0.5)
    low = kit.Patch("low", [(-4, 0), (4, 0), (4, 2), (-4, 2)], grey)
    roof = kit.Patch("roof", [(-4, 2), (4, 2), (4, 4), (-4, 4)], grey, judged=False)
    scene = kit.Scene(facade=kit.Facade([low, roof]), projectors=[straight(4.0, 1.0, y=3.0)])
    with pytest.raises(kit.InputError, match="reaches some of the front that is judged"):
        audience_table(scene, [Viewer(name="a", eye=(0, 1, 9))])
