"""Illuminance against an independent, physically based renderer (Mitsuba 3, `direct` integrator).

Its `projector` emitter is calibrated on perpendicular walls first; see `reference_renderer.calibration`.
"""

import numpy as np
import pytest
import reference_renderer as renderer

import kit

pytestmark = pytest.mark.reference

GREY = kit.Surface(name="grey", reflectance=0.5)
# Corners off every round number, so that no edge runs exactly through pixel centres.
WALL = kit.Patch("wall", [(-6.013, 0, 0), (6.021, 0, 0), (6.021, 7.017, 0), (-6.013, 7.017, 0)], GREY)
BAY = kit.with_returns(
    kit.Patch("bay", [(0.811, 0.0, 1.03), (3.207, 0.0, 1.03), (3.207, 3.113, 1.03), (0.811, 3.113, 1.03)], GREY), 0.0
)
ROOF = kit.Patch("roof", [(-6.3, 5.509, 0.707), (6.3, 5.509, 0.707), (5.2, 8.013, -2.6), (-5.2, 8.013, -2.6)], GREY)
ANGLED_BAY = (
    kit.Patch("left", [(-4.11, 0, 0), (-3.03, 0, 1.01), (-3.03, 4.07, 1.01), (-4.11, 4.07, 0)], GREY),
    kit.Patch("front", [(-3.03, 0, 1.01), (-1.02, 0, 1.01), (-1.02, 4.07, 1.01), (-3.03, 4.07, 1.01)], GREY),
    kit.Patch("right", [(-1.02, 0, 1.01), (0.06, 0, 0), (0.06, 4.07, 0), (-1.02, 4.07, 1.01)], GREY),
    kit.Patch("lid", [(-4.11, 4.07, 0), (-3.03, 4.07, 1.01), (-1.02, 4.07, 1.01), (0.06, 4.07, 0)], GREY),
)

SCENES = {
    "perpendicular": ([WALL], (0.3, 3.1, 9.0), (0.3, 3.1, 0.0), 0.0, (0.0, 0.0), 1.1),
    "lens shift": ([WALL], (0.3, 1.2, 8.0), (0.3, 1.2, 0.0), 0.0, (0.21, 0.47), 0.9),
    "yaw": ([WALL], (5.3, 3.0, 7.0), (-0.7, 3.0, 0.0), 0.0, (0.0, 0.0), 0.8),
    "pitch": ([WALL], (0.2, 0.4, 6.0), (0.2, 3.7, 0.0), 0.0, (0.0, 0.1), 0.7),
    "roll": ([WALL], (-0.4, 3.3, 7.0), (0.1, 3.2, 0.0), 23.0, (0.0, 0.0), 0.9),
    "bay and its shadow": ([WALL, *BAY], (-3.7, 1.9, 6.3), (0.6, 2.8, 0.0), 0.0, (0.0, 0.0), 0.7),
    "all at once": ([WALL, *BAY, ROOF], (4.1, 1.3, 7.7), (-0.5, 2.9, 0.0), -11.0, (0.12, 0.31), 0.65),
    "angled bay": ([WALL, *ANGLED_BAY], (2.9, 1.1, 8.1), (-1.1, 2.6, 0.0), 4.0, (-0.1, 0.2), 0.8),
}


@pytest.mark.parametrize("name", SCENES)
def test_illuminance_agrees_with_the_renderer(name):
    patches, position, aim, roll, shift, ratio = SCENES[name]
    projector = kit.Projector(light_output=5000, throw_ratio=ratio, resolution=(1920, 1200), lens_shift=shift)
    scene = kit.Scene(
        facade=kit.Facade(tuple(patches)),
        projectors=[(projector, kit.Placement(position=position, aim=aim, roll=roll))],
    )
    light = kit.light_map(scene, 0.0237)
    ours = np.nan_to_num(light["illuminance"].values)
    step = light.attrs["spacing"]
    x, y = light["x"].values, light["y"].values
    theirs = renderer.illuminance(
        [np.array(p.outline) for p in patches],
        light_output=5000,
        throw_ratio=ratio,
        resolution=(1920, 1200),
        lens_shift=shift,
        position=position,
        aim=aim,
        roll=roll,
        extent=(x[0] - step / 2, x[-1] + step / 2, y[0] - step / 2, y[-1] + step / 2),
        shape=ours.shape,
    )
    both = (ours > 0) & (theirs > 0)
    assert both.mean() > 0.3
    ratios = ours[both] / theirs[both]
    # The renderer computes in single precision; these are the project's stated limits.
    assert np.median(ratios) == pytest.approx(1.0, abs=0.002)
    assert np.percentile(ratios, [5, 95]) == pytest.approx([1.0, 1.0], abs=0.01)
    # Light and shadow fall on the same points, but for a few exactly on an edge.
    assert ((ours > 0) != (theirs > 0)).mean() < 5e-4


def test_the_renderer_sees_the_shadow_that_we_see():
    """A check that the bay scene has a shadow at all: without the bay, the same wall points are lit."""
    patches, position, aim, roll, shift, ratio = SCENES["bay and its shadow"]
    projector = kit.Projector(light_output=5000, throw_ratio=ratio, lens_shift=shift)
    pair = (projector, kit.Placement(position=position, aim=aim, roll=roll))
    maps = [
        kit.light_map(kit.Scene(facade=kit.Facade(tuple(p)), projectors=[pair]), 0.05) for p in (patches, patches[:1])
    ]
    shadow = (maps[0]["illuminance"] == 0) & (maps[0]["patch"] == 0) & (maps[1]["illuminance"] > 0)
    assert float(shadow.sum()) * 0.05**2 > 1.0
