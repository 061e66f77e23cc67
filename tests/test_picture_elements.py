"""One size of a picture element, whoever tells it: its longest extent on the wall, tilt included."""

import math

import numpy as np
import pytest

import kit
from kit.light.cast import cast_light
from kit.stage.audience import Viewer, audience_table
from kit.stage.content import content_parts

HOUSE = "notebooks/houses/brick_two_storey.toml"
EYE = (2.0, 1.6, 15.7)
SPACING = 0.05


@pytest.fixture(scope="module")
def tilted():
    """The demo house, and a machine on the ground whose axis rises by 10 degrees."""
    front = kit.load_house(HOUSE)
    rise = 12.0 * math.tan(math.radians(10.0))
    place = kit.Placement(position=(0.0, 0.3, 12.0), aim=(0.0, 0.3 + rise, 0.0))
    machine = kit.typical_projector(8000, 0.8, resolution=(1920, 1200), lens_shift=(0.0, 0.2))
    return kit.Scene(facade=front, projectors=[(machine, place)], ambient=kit.Ambient(eye=EYE))


@pytest.mark.property
def test_the_coarsest_element_is_the_same_on_every_page(tilted):
    """At the points that are lit and judged: those of the map's raster, or a sample of as many."""
    light = kit.light_map(tilted, SPACING)
    judged = [p.name for p in tilted.facade.patches if p.judged]
    parts = content_parts(light, scene=tilted)
    sizes = [part.coarsest_element for part in parts.patches if part.name in judged and part.coarsest_element]
    coarsest = max(sizes)
    (view,) = audience_table(tilted, [Viewer(name="a", eye=EYE)], spacing=SPACING).views
    (setup,) = kit.compare_setups({"one": tilted}, spacing=SPACING).setups
    found = kit.describe(tilted.facade, *tilted.projectors[0], audience=EYE, points=20_000)
    # The same points.
    assert setup.coarsest == pytest.approx(coarsest, rel=1e-9)
    # Other points: the outermost lie up to half a spacing from the edge, over which elements differ by less than 1e-3.
    assert float(found["coarsest_element"]) / 1000 == pytest.approx(coarsest, rel=1e-3)
    assert float(found["pixels_per_degree"]) == pytest.approx(view.pixels_per_degree, rel=1e-3)
    # The usual sample of 200 points is 0.8 m wide.
    few = kit.describe(tilted.facade, *tilted.projectors[0], audience=EYE)
    assert float(few["coarsest_element"]) / 1000 == pytest.approx(coarsest, rel=0.01)
    assert float(few["pixels_per_degree"]) == pytest.approx(view.pixels_per_degree, rel=0.01)


@pytest.mark.analytic
def test_the_longest_extent_is_that_of_the_map_from_picture_to_wall(tilted):
    """By differences: the image of a small circle round each place of the picture, against the lens's own formula."""
    projector, placement = tilted.projectors[0]
    beam = kit.Beam.of(projector, placement)
    column, row = np.meshgrid(np.linspace(100, 1800, 7), np.linspace(100, 1100, 5))
    turn = np.linspace(0.0, np.pi, 721)[:, None, None]
    normal = np.array([0.0, 0.3, 1.0]) / np.hypot(0.3, 1.0)
    middle = beam.land(beam.pixel_rays(column, row), normal, 0.0)
    near = beam.land(beam.pixel_rays(column + 1e-3 * np.cos(turn), row + 1e-3 * np.sin(turn)), normal, 0.0)
    longest = np.linalg.norm(near - middle, axis=-1).max(axis=0) / 1e-3
    size, _ = beam.on(middle, normal).element()
    # A step of a thousandth of an element, and directions a quarter of a degree apart.
    np.testing.assert_allclose(size, longest, rtol=2e-5)
    eye = np.array(EYE)
    seen = [(points - eye) / np.linalg.norm(points - eye, axis=-1, keepdims=True) for points in (middle, near)]
    angle = np.linalg.norm(seen[1] - seen[0], axis=-1).max(axis=0) / 1e-3
    np.testing.assert_allclose(beam.on(middle, normal).element(eye)[0], angle, rtol=2e-5)


@pytest.mark.property
def test_landings_are_the_points_that_each_machine_lights(tilted):
    machine, place = tilted.projectors[0]
    aside = kit.Placement(position=(-4.0, 0.3, 9.0), aim=(-4.0, 1.5, 0.0))
    cast = cast_light(tilted.facade, [(machine, place), (machine, aside)], tilted.facade.bounds, 0.1)
    window = tilted.facade.patches.index(tilted.facade.patch("main wall"))
    for among in (True, cast.raster.patch == window):
        for unit, beam, (points, landing) in zip(cast.units, cast.beams, cast.landings(among), strict=True):
            lit = (unit > 0) & among
            assert 0 < lit.sum() == points.patch.size
            np.testing.assert_array_equal(points.patch, cast.raster.patch[lit])
            # The light at a point by the beam's own law is that of the map.
            np.testing.assert_allclose(landing.illuminance(), unit[lit], rtol=1e-9)
            assert landing.beam is beam
