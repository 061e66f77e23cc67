"""Light of lenses on a front, per lumen: against the beam point by point, and against sums by hand."""

from dataclasses import replace

import numpy as np
import pytest
from fronts import BACK, BOUNDS, PLAIN, on_plane, random_front
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit.light.cast import _recent, blended, cast_light, sums, unit_map
from kit.wall.occlusion import reached
from kit.wall.points import FrontRaster

seeds = st.integers(0, 2**32 - 1)
ZONES = ((60, 80, 70), (90, 100, 85), (75, 95, 65))


def machine(seed, *, near=False, **more):
    """A projector that looks at the random fronts from somewhere before them, or from among their patches."""
    rng = np.random.default_rng(seed)
    projector = kit.Projector(
        light_output=1000,
        throw_ratio=float(rng.uniform(0.6, 2.0)),
        resolution=(1600, 1000),
        lens_shift=tuple(rng.uniform(-0.3, 0.3, 2)),
        zones=ZONES if seed % 2 else None,
        **more,
    )
    position = rng.uniform((-4, 0.5, 0.3 if near else 4), (4, 5, 1.0 if near else 9))
    return projector, kit.Placement(
        position=position, aim=(*rng.uniform((-1, 2), (1, 4)), 0.0), roll=float(rng.uniform(-30, 30))
    )


# The map of one lens


@pytest.mark.property
@given(seeds, st.booleans())
def test_a_map_is_the_beam_s_light_on_every_point_that_it_reaches(seed, near):
    front = random_front(seed, returns=bool(seed % 3))
    raster = FrontRaster.over(front, (-5.5, 5.5, -0.5, 6.5), 0.17)
    beam = kit.Beam.of(*machine(seed, near=near))
    unit = unit_map(raster, beam)
    points = raster.at(raster.patch >= 0)
    lit = reached(raster, beam.position, beam.corners())
    expected = np.where(lit[raster.patch >= 0], beam.illuminance(points.position, points.normal), 0.0)
    # Linear in x and y along a plane or point by point: rounding, more of it where light falls at grazing incidence.
    np.testing.assert_allclose(unit[raster.patch >= 0], expected, rtol=1e-9)
    assert np.isnan(unit[raster.patch < 0]).all()


@pytest.mark.property
def test_patches_of_one_plane_are_lit_alike_wherever_they_lie():
    """Two walls in one plane and far apart, a door in one of them, one pane half in it; a post between."""

    def box(name, left, bottom, right, top, z=0.0):
        return kit.Patch(name, on_plane([(left, bottom), (right, bottom), (right, top), (left, top)], z, 0, 0), PLAIN)

    front = kit.Facade([
        box("left", -5, 0, -2, 5), box("right", 2, 0, 5, 5), box("door", -4, 0, -3, 2), box("pane", 1.5, 1, 3, 2),
        box("post", -0.2, 0, 0.2, 4, 1.0), box("sign", -3, 2, -2, 3),
    ])  # fmt: skip
    beam = kit.Beam.of(
        kit.Projector(light_output=1, throw_ratio=0.6, resolution=(1600, 1000), zones=ZONES),
        kit.Placement(position=(0.7, 1.0, 8.0), aim=(0.4, 2.4, 0.0)),
    )
    raster = FrontRaster.over(front, front.bounds, 0.1)
    points = raster.at(raster.patch >= 0)
    found = unit_map(raster, beam)[raster.patch >= 0]
    expected = beam.illuminance(points.position, points.normal)
    expected[~reached(raster, beam.position, beam.corners())[raster.patch >= 0]] = 0.0
    # Rounding only.
    np.testing.assert_allclose(found, expected, rtol=1e-9)
    assert all((found[points.patch == i] > 0).any() for i in range(len(front.patches)))


@pytest.mark.property
@given(seeds)
def test_sums_over_patches_are_those_of_their_points(seed):
    front = random_front(seed)
    raster = FrontRaster.over(front, (-5.5, 5.5, -0.5, 6.5), 0.23)
    values = np.random.default_rng(seed).uniform(0, 9, raster.patch.shape)
    values[raster.patch < 0] = np.nan
    found = sums(values, raster)
    for i, patch in enumerate(front.patches):
        expected = values[raster.patch == i].sum() * 0.23**2 / patch.normal[2]
        # Rounding only; 0 for a patch that is hidden.
        assert found[i] == pytest.approx(expected, rel=1e-12, abs=1e-15)


# All lenses together


@pytest.mark.property
@settings(max_examples=20)
@given(seeds)
def test_a_cast_holds_the_light_of_each_lens_and_its_share_of_each_patch(seed):
    front = random_front(seed)
    machines = (machine(seed), machine(seed + 1))
    cast = cast_light(front, machines, BOUNDS, 0.2)
    assert len(cast.units) == len(cast.beams) == 2
    assert cast.share.shape == (2, len(front.patches))
    for pair, unit, beam, share in zip(machines, cast.units, cast.beams, cast.share, strict=True):
        np.testing.assert_array_equal(unit, unit_map(cast.raster, kit.Beam.of(*pair)))
        np.testing.assert_array_equal(beam.position, pair[1].position)
        given = sums(unit, cast.raster)
        np.testing.assert_array_equal(share, given / max(1.0, given.sum()))
        assert share.sum() <= 1.0 + 1e-12  # rounding
    # What is lit, and where in the picture.
    above = np.broadcast_to(cast.raster.grid.y[:, None] > 3.0, cast.raster.patch.shape)
    for among in (True, above):
        for unit, (points, landing) in zip(cast.units, cast.landings(among), strict=True):
            lit = (unit > 0) & among
            assert points.patch.size == lit.sum()
            np.testing.assert_array_equal(points.position, cast.raster.points[lit])
            assert landing.inside(1e-9).all()
            np.testing.assert_allclose(landing.illuminance()[landing.inside()], unit[lit][landing.inside()], rtol=1e-9)


@pytest.mark.analytic
def test_all_of_a_picture_that_fits_on_the_wall_lands_on_it(wall, straight):
    pairs = (straight(6, 4), straight(4, 4, x=4.0))
    cast = cast_light(wall(8.0, 5.0), pairs, (-4.0, 4.0, 0.0, 5.0), 0.1)
    # Of the second picture, 4 m wide over x = 4, half; edges lie on those of pixels.
    np.testing.assert_allclose(cast.share, [[1.0], [0.5]], rtol=1e-9)


@pytest.mark.property
def test_light_is_cast_anew_only_where_lenses_or_walls_have_changed(wall, straight):
    def cast(facade, pair, spacing=0.5, extent=(-4.0, 4.0, 0.0, 5.0)):
        return cast_light(facade, (pair,), extent, spacing)

    projector, place = pair = straight()
    first = cast(wall(), pair)
    brighter = replace(
        projector, light_output=9000.0, sequential_contrast=500.0, chain=kit.typical_chain(), checkerboard_contrast=90.0
    )
    assert cast(wall(reflectance=0.1, gain=2.0), (brighter, place)) is first
    turned = replace(place, roll=20.0)
    lenses = ({"throw_ratio": 1.1}, {"lens_shift": (0.0, 0.1)}, {"resolution": (4, 3)}, {"zones": ZONES})
    for given_pair in (*((replace(projector, **change), place) for change in lenses), (projector, turned)):
        kept = cast(wall(), pair)
        assert not np.array_equal(cast(wall(), given_pair).units[0], kept.units[0])
    for facade, more in (
        (wall(height=4.5), {}),
        (wall(), {"spacing": 0.4}),
        (wall(), {"extent": (-4.0, 4.0, 0.0, 4.0)}),
    ):
        kept = cast(wall(), pair)
        assert cast(wall(), pair) is kept
        assert cast(facade, pair, **more) is not kept
    # A hole in the wall is one too.
    holed = kit.Facade([replace(wall().patches[0], holes=[[(0, 1), (1, 1), (1, 2), (0, 2)]])])
    assert np.isnan(cast(holed, pair).units[0]).any()


@pytest.mark.property
def test_a_large_cast_is_not_kept(wall, straight):
    assert _recent.keep == 2
    extent, spacing = (-4.0, 4.0, 0.0, 5.0), (40.0 / (_recent.most + 2000)) ** 0.5
    large = cast_light(wall(), (straight(),), extent, spacing)
    assert large.units[0].size > _recent.most
    assert cast_light(wall(), (straight(),), extent, spacing) is not large


@pytest.mark.bad_input
def test_what_cannot_be_lit_is_refused(wall, straight):
    good = straight()
    away = (good[0], kit.Placement(position=(0, 2, 8), aim=(0, 2, 16)))
    behind = (good[0], kit.Placement(position=(0, 2, -8), aim=(0, 2, 0)))
    extent = (-4.0, 4.0, 0.0, 5.0)
    with pytest.raises(kit.InputError, match=r"projector 2: position, aim, lens_shift.*misses"):
        cast_light(wall(), (good, away), extent, 0.5)
    with pytest.raises(kit.InputError, match=r"projector 2: position = .*a lens in front"):
        cast_light(wall(), (good, behind), extent, 0.5)
    with pytest.raises(kit.InputError, match=r"extent.*shows some of the front"):
        cast_light(wall(), (good,), (9.0, 10.0, 0.0, 1.0), 0.5)


# Pictures that fade into each other


@pytest.mark.property
@settings(max_examples=20)
@given(seeds, st.integers(2, 4))
def test_weights_are_distances_to_the_picture_s_edge_and_add_up_to_one(seed, count):
    front = random_front(seed)
    cast = cast_light(front, tuple(machine(seed + i) for i in range(count)), BOUNDS, 0.2)
    units, share = blended(cast)
    points = cast.raster.points
    distance = np.zeros((count, *cast.raster.patch.shape))
    for d, unit, beam in zip(distance, cast.units, cast.beams, strict=True):
        lit = unit > 0
        place = beam.on(points[lit])
        # A pixel whose centre is on the very edge may lie beside it by rounding.
        d[lit] = np.clip(np.minimum(0.5 - np.abs(place.across), 0.5 - np.abs(place.up)), 0.0, None)
    total = distance.sum(axis=0)
    for i in range(count):
        lit = cast.units[i] > 0
        np.testing.assert_allclose(units[i][lit], distance[i][lit] / total[lit] * cast.units[i][lit], rtol=1e-9)
        np.testing.assert_array_equal(units[i][~lit], cast.units[i][~lit])
        np.testing.assert_array_equal(share[i], sums(units[i], cast.raster))
        # What lies in another's shadow, or beside its picture, keeps all.
        alone = lit & (np.sum([unit > 0 for unit in cast.units], axis=0) == 1)
        np.testing.assert_array_equal(units[i][alone], cast.units[i][alone])
    with np.errstate(divide="ignore", invalid="ignore"):
        kept = np.nansum([u / c for u, c in zip(units, cast.units, strict=True)], axis=0)
    np.testing.assert_allclose(kept[total > 0], 1.0, rtol=1e-12)
    # What is remembered is not changed.
    assert not any(np.shares_memory(u, c) for u, c in zip(units, cast.units, strict=True))
    again = blended(cast)[0]
    np.testing.assert_array_equal(again, units)


@pytest.mark.analytic
def test_machines_at_one_place_share_alike_up_to_the_edge(wall, straight):
    """Also where a point lies on the edge of all pictures, and none is left of the distance to it."""
    pair = straight(8.0, 5.0)
    # Centres of the outer pixels lie on the edge of the picture.
    cast = cast_light(wall(9.0, 6.0), (pair, pair, pair), (-4.25, 4.25, -0.25, 5.25), 0.5)
    units, _ = blended(cast)
    lit = cast.units[0] > 0
    assert lit[1:-1, 1:-1].all()
    for unit, whole in zip(units, cast.units, strict=True):
        np.testing.assert_allclose(unit[lit], whole[lit] / 3, rtol=1e-12)


@pytest.mark.analytic
def test_a_point_that_rounding_puts_beside_the_picture_gets_no_light_below_zero(wall, straight):
    """A small picture whose edges run through centres of pixels, within a large one."""
    cast = cast_light(
        wall(10.0, 6.4), (straight(0.8, 1.4, y=3.0), straight(12.0, 9.0, y=3.0)), (-0.75, 0.75, 2.15, 3.85), 0.1
    )
    lit = cast.units[0] > 0
    landing = cast.beams[0].on(cast.raster.points[lit])
    assert (~landing.inside()).any()
    for unit in blended(cast)[0]:
        assert unit.min() >= 0


@pytest.mark.analytic
def test_where_one_machine_stands_in_its_own_shadow_the_other_gives_all():
    """A post before the wall hides a strip from the machine on the left."""
    post = kit.Patch("post", on_plane([(-0.25, 0), (0.25, 0), (0.25, 6), (-0.25, 6)], 1.5, 0, 0), PLAIN)
    front = kit.Facade([BACK, post])
    projector = kit.Projector(light_output=1000, throw_ratio=0.6, resolution=(1600, 1000))
    left, right = ((projector, kit.Placement(position=(x, 3.0, 6.0), aim=(x / 4, 3.0, 0.0))) for x in (-3.0, 3.0))
    cast = cast_light(front, (left, right), BOUNDS, 0.1)
    units, _ = blended(cast)
    dark = (cast.units[0] == 0) & (cast.units[1] > 0) & (cast.raster.patch == 0) & (cast.raster.points[..., 0] < 3)
    assert dark.sum() > 100
    np.testing.assert_array_equal(units[1][dark], cast.units[1][dark])
    both = (cast.units[0] > 0) & (cast.units[1] > 0)
    assert (units[1][both] < cast.units[1][both]).all()
