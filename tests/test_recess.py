"""The light that walls of a front send each other: against closed forms and against a path tracer (Mitsuba 3)."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import reference_renderer as renderer
from scipy.ndimage import binary_dilation, binary_erosion

import kit
from kit.light.ambient import WALLS
from kit.light.cast import MANY, pieces

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"
GREY = kit.Surface(name="grey", reflectance=0.5, low=0.4, high=0.6)
LENS = {"light_output": 5000, "throw_ratio": 1.0, "resolution": (1600, 1000), "lens_shift": (0, 0)}
POSITION, AIM = (0.9, 1.9, 8.0), (0.3, 1.9, 0.0)
PLACE = kit.Placement(position=POSITION, aim=AIM)


def porch(reflectance, deep=1.6):
    """Return a front with a porch, 3 m wide, whose back wall stands back, with sides and a ceiling."""
    surface = replace(GREY, name=f"grey {reflectance}", reflectance=reflectance, low=reflectance, high=reflectance)
    outlines = {
        "back": [(-1.5, 0, -deep), (1.5, 0, -deep), (1.5, 2.4, -deep), (-1.5, 2.4, -deep)],
        "left side": [(-1.5, 0, -deep), (-1.5, 0, 0), (-1.5, 2.4, 0), (-1.5, 2.4, -deep)],
        "right side": [(1.5, 0, -deep), (1.5, 0, 0), (1.5, 2.4, 0), (1.5, 2.4, -deep)],
        "ceiling": [(-1.5, 2.4, -deep), (-1.5, 2.4, 0), (1.5, 2.4, 0), (1.5, 2.4, -deep)],
        "left wall": [(-4.03, 0, 0), (-1.5, 0, 0), (-1.5, 2.4, 0), (-4.03, 2.4, 0)],
        "right wall": [(1.5, 0, 0), (4.03, 0, 0), (4.03, 2.4, 0), (1.5, 2.4, 0)],
        "above": [(-4.03, 2.4, 0), (4.03, 2.4, 0), (4.03, 4.07, 0), (-4.03, 4.07, 0)],
    }
    return kit.Facade(tuple(kit.Patch(name, ring, surface) for name, ring in outlines.items()))


def scene(facade, **given):
    return kit.Scene(facade=facade, projectors=[(kit.Projector(**LENS), PLACE)], **given)


def by_tracer(facade, pair, samples, step):
    """Return what a scene has of light from walls on full white, ours and by the path tracer, and the patch, (y, x)."""
    projector, place = pair
    light = kit.light_map(kit.Scene(facade=facade, projectors=[pair], average_picture_level=1.0), step)
    x, y, half = light["x"].values, light["y"].values, light.attrs["spacing"] / 2
    given = {name: getattr(projector, name) for name in ("light_output", "throw_ratio", "resolution", "lens_shift")}
    given |= {"position": place.position, "aim": place.aim, "roll": 0.0, "shape": light["patch"].shape}
    given["extent"] = x[0] - half, x[-1] + half, y[0] - half, y[-1] + half
    outlines, rho = [np.array(patch.outline) for patch in facade.patches], facade.patches[0].surface.reflectance
    # The compiled variants need a newer LLVM than some machines have for this integrator.
    theirs, direct = (
        renderer.illuminance(outlines, samples=samples, variant="scalar_rgb", reflectance=own, **given)
        for own in (rho, None)
    )
    return light["ambient_illuminance"].sel(source=WALLS).values, theirs - direct, light["patch"].values


@pytest.mark.published
@pytest.mark.parametrize(("width", "height", "edge"), [(3.0, 1.5, 2.0), (1.0, 1.0, 1.0), (2.0, 0.7, 3.0)])
def test_two_walls_at_a_right_angle_see_of_each_other_what_the_closed_form_says(width, height, edge):
    """J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, C-14 (from memory)."""
    h, w = height / edge, width / edge
    a = (1 + w * w) * (1 + h * h) / (1 + w * w + h * h)
    b = w * w * (1 + w * w + h * h) / ((1 + w * w) * (w * w + h * h))
    c = h * h * (1 + h * h + w * w) / ((1 + h * h) * (h * h + w * w))
    both = math.hypot(h, w)
    wanted = w * math.atan(1 / w) + h * math.atan(1 / h) - both * math.atan(1 / both)
    wanted = (wanted + 0.25 * math.log(a * b ** (w * w) * c ** (h * h))) / (math.pi * w)
    wall = kit.Patch("wall", [(0, 0, 0), (width, 0, 0), (width, edge, 0), (0, edge, 0)], GREY)
    wing = kit.Patch("wing", [(0, 0, 0), (0, 0, height), (0, edge, height), (0, edge, 0)], GREY)
    _, normal, area, patch, view, _ = pieces(kit.Facade((wall, wing)))
    assert len(area) == pytest.approx(MANY, rel=0.1)
    assert area[patch == 0].sum() == pytest.approx(width * edge)
    # Pieces are seen as discs, near ones as nine: at their common edge two walls see 1% too little of each other.
    assert view[patch == 0].sum(axis=1).mean() == pytest.approx(wanted, rel=0.012)
    # Reciprocity: area times share of the view is the same both ways; the wing's other side sees nothing.
    sides = [view[(patch == 1) & (normal[:, 0] * way > 0.0)].sum(axis=1).mean() for way in (1.0, -1.0)]
    assert sides == pytest.approx([wanted * width / height, 0.0], rel=0.012)


@pytest.mark.reference
@pytest.mark.parametrize("reflectance", [0.5, 0.7])
def test_a_porch_agrees_with_the_path_tracer(reflectance):
    ours, theirs, patch = by_tracer(porch(reflectance), (kit.Projector(**LENS), PLACE), 256, 0.15)
    back = patch == 0
    # Sixteen bounces of ours, 16 of theirs; pieces of 0.3 m are seen as discs, 1% too little at each edge and bounce.
    assert ours[back].mean() == pytest.approx(theirs[back].mean(), rel=0.02)
    # Point by point the renderer has noise of a few percent.
    ratio = ours[back] / theirs[back]
    assert np.quantile(ratio, [0.1, 0.9]) == pytest.approx([1.0, 1.0], abs=0.2)
    # What stands in one plane lights nothing of it.
    assert not ours[patch > 0].any()


@pytest.mark.reference
def test_what_eaves_send_down_agrees_with_the_path_tracer():
    """On the bungalow of the pages, all of it grey."""
    show = kit.open_show(HOUSES / "light_bungalow.toml")
    house = replace(show.house, patches=tuple(replace(p, surface=GREY, room_light=None) for p in show.house.patches))
    machine, place = show.aimed(show.machine)
    pair = replace(machine, light_output=5000.0, chain=(), zones=None), place
    ours, theirs, patch = by_tracer(house, pair, 81, 0.1)
    for name in ("main wall", "door", "left window", "right window", "base"):
        # Without the points at the edge, some of which the tracer takes on what lies beside.
        inner = binary_erosion(patch == house.patches.index(house.patch(name)), np.ones((3, 3)))
        # Ours has 7% too little below the eaves; on the base there is noise.
        assert ours[inner].mean() == pytest.approx(theirs[inner].mean(), rel=0.12 if name != "base" else 0.25)


@pytest.mark.analytic
def test_what_is_too_narrow_for_a_piece_gets_as_much_as_the_wall_beside_it():
    """A frame of 3 cm round a pane on the back wall of a porch, in its plane."""
    back, *rest = porch(0.5).patches
    z = back.outline[0][2]
    pane, frame = (
        kit.Patch(name, [(-w, 1.2 - w, z), (w, 1.2 - w, z), (w, 1.2 + w, z), (-w, 1.2 + w, z)], back.surface)
        for name, w in (("pane", 0.5), ("frame", 0.53))
    )
    light = kit.light_map(scene(kit.Facade((back, frame, pane, *rest)), average_picture_level=1.0), 0.02)
    lux, patch = light["ambient_illuminance"].sel(source=WALLS).values, light["patch"].values
    around = binary_dilation(patch == 1, iterations=5) & (patch == 0)
    # One figure for all of the frame.
    assert lux[patch == 1].mean() == pytest.approx(lux[around].mean(), rel=0.15)


@pytest.mark.analytic
def test_a_flat_front_has_no_such_light():
    wall = kit.Patch("wall", [(-4, 0), (4, 0), (4, 4), (-4, 4)], GREY)
    light = kit.light_map(scene(kit.Facade((wall,))), 0.2)
    assert list(light["source"].values) == ["even light"]
    assert "walls_share" not in light


@pytest.mark.analytic
def test_the_map_says_which_share_of_black_comes_from_other_walls():
    full, half = (kit.light_map(scene(porch(0.7), average_picture_level=level), 0.15) for level in (0.8, 0.4))
    back = full["patch"].values == 0
    lux = full["ambient_illuminance"].sel(source=WALLS).values
    # A machine with no leak in the dark: all of black on the back wall.
    assert full["walls_share"].values[back] == pytest.approx(1.0)
    assert not full["walls_share"].values[full["patch"].values > 0].any()
    assert lux == pytest.approx(2.0 * half["ambient_illuminance"].sel(source=WALLS).values, nan_ok=True)
    white, black, contrast = (full[name].values[back] for name in ("white_luminance", "black_luminance", "contrast"))
    rest = 0.7 * lux[back] / np.pi
    assert contrast == pytest.approx((white + rest) / (black + rest))
    lit = kit.light_map(scene(porch(0.7), ambient=kit.Ambient(vertical_illuminance=3.0)), 0.15)
    mine = lit["ambient_illuminance"].sel(source=WALLS).values[back]
    assert lit["walls_share"].values[back] == pytest.approx(mine / (mine + 3.0))


@pytest.mark.analytic
def test_the_verdict_says_that_no_lumens_mend_it_and_more_lumens_do_not():
    flat, deep = (porch(0.7, deep=deep) for deep in (0.01, 1.6))
    target = kit.Target(white_luminance=1.0, contrast=60.0)
    was, now = (kit.judge(kit.light_map(scene(front), 0.15), target) for front in (flat, deep))
    assert was.patch("back").status == "enough"
    assert now.patch("back").status == "not enough"
    assert now.recess == pytest.approx(1.0)
    assert "100% of black comes from walls that face it" in now.sentence()
    assert "walls that face" not in was.sentence()
    remedy = now.patch("back").remedy
    assert remedy.light_output is None
    # A dark wall mends it: it sends less on.
    assert kit.judge(kit.light_map(scene(porch(0.15)), 0.15), target).patch("back").status == "enough"


@pytest.mark.analytic
def test_of_two_pictures_on_each_other_the_blended_one_sends_on_half():
    one, pair = (replace(scene(porch(0.5)), projectors=((kit.Projector(**LENS), PLACE),) * many) for many in (1, 2))
    first, both, blended = (kit.light_map(of, 0.15) for of in (one, pair, replace(pair, blend=True)))
    lux = [np.nansum(light["ambient_illuminance"].sel(source=WALLS)) for light in (first, both, blended)]
    # Rounding only.
    assert lux[1:] == pytest.approx([2.0 * lux[0], lux[0]], rel=1e-9)


@pytest.mark.analytic
def test_an_obstacle_that_hides_the_side_of_a_porch_leaves_less_light():
    wide = kit.Obstacle(name="hedge", area=((-4, 1.0), (0.0, 1.0), (0.0, 1.5), (-4, 1.5)), heights=(0.0, 2.5))
    free, hidden = (kit.light_map(scene(porch(0.5), obstacles=things), 0.15) for things in ((), (wide,)))
    back = free["patch"].values == 0
    one, other = (light["ambient_illuminance"].sel(source=WALLS).values[back].mean() for light in (free, hidden))
    assert 0.0 < other < 0.8 * one
