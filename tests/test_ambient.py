"""Ambient light: what it is made of, what each source puts on the front and in the eye."""

import math
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

import kit
from kit.blocks import Memory
from kit.decision.verdict import Target
from kit.eye.glare import source_veils
from kit.light import lamps as room
from kit.light.ambient import WALLS, source_maps
from kit.light.lamps import lamp_map
from kit.sky.ephemeris import Positions
from kit.sky.luminaire import LedString, typical_luminaire
from kit.sky.site import Sky


@pytest.mark.published
@pytest.mark.parametrize(("age", "factor"), [(0, 1.0), (31.25, 1.0625), (62.5, 2.0)])
def test_veil_grows_with_the_fourth_power_of_age(age, factor):
    # 10 / a^3 + (5 / a^2)(1 + (A / 62.5)^4) for very dark eyes: CIE 146:2002; Vos 2003; coefficients from memory.
    expected = 0.01 + 0.05 * factor
    assert kit.veiling_luminance(1.0, 10.0, age=age, pigment=0.0) == pytest.approx(expected, rel=1e-12)
    glare = [kit.Glare(illuminance=1.0, angle=10.0)]
    assert veil(kit.Ambient(glare=glare, age=age, pigment=0.0)) == pytest.approx(expected)


@pytest.mark.bad_input
@pytest.mark.parametrize("angle", [0.0, 0.099, 100.1, -5.0, math.nan, math.inf])
def test_veil_is_refused_outside_the_angles_of_its_relation(angle):
    with pytest.raises(kit.InputError, match=r"angle.*0.1 to 100"):
        kit.veiling_luminance(1.0, angle)
    with pytest.raises(kit.InputError, match="angle"):
        kit.Glare(illuminance=1.0, angle=angle)


@pytest.mark.bad_input
def test_one_bad_angle_among_good_ones_is_refused():
    with pytest.raises(kit.InputError, match="angle"):
        kit.veiling_luminance(1.0, [5.0, 140.0])


@pytest.mark.analytic
def test_veil_broadcasts():
    result = kit.veiling_luminance([1.0, 2.0], [[2.0], [10.0]], pigment=0.0)
    np.testing.assert_allclose(result, [[2.5, 5.0], [0.06, 0.12]], rtol=1e-12)


def veil(ambient):
    raster = kit.FrontRaster.over(angled(), angled().bounds, 2.0)
    return source_veils(ambient, raster)[:, 0, 0].sum()


lamps = st.lists(st.tuples(st.floats(0, 100), st.floats(0.1, 100)), max_size=5)


@pytest.mark.property
@given(lamps, st.none() | st.floats(0, 100))
def test_veils_of_several_lamps_add(pairs, age):
    glare = [kit.Glare(illuminance=e, angle=a) for e, a in pairs]
    together = veil(kit.Ambient(glare=glare, age=age))
    one_by_one = math.fsum(veil(kit.Ambient(glare=[g], age=age)) for g in glare)
    # Rounding only.
    assert together == pytest.approx(one_by_one, rel=1e-12, abs=0)


# Lamps, sky and eye

GREY = kit.Surface(name="grey", reflectance=0.5, low=0.4, high=0.6)
GAIN = kit.Surface(name="screen", reflectance=0.7, gain=1.05)
EYE = (1.0, 1.6, 11.0)


def angled(*, back=False):
    """A wall with a bay, whose sides stand at 45 degrees, and a roof that slopes back and is not judged."""
    patches = [
        kit.Patch("wall", [(-4, 0, 0), (4, 0, 0), (4, 4, 0), (-4, 4, 0)], GREY),
        kit.Patch("bay", [(0, 0, 1), (1, 0, 1), (1, 3, 1), (0, 3, 1)], GAIN),
        kit.Patch("right side", [(1, 0, 1), (2, 0, 0), (2, 3, 0), (1, 3, 1)], GREY),
        kit.Patch("left side", [(-1, 0, 0), (0, 0, 1), (0, 3, 1), (-1, 3, 0)], GREY),
        kit.Patch("roof", [(-4, 4, 0), (4, 4, 0), (3, 6, -2), (-3, 6, -2)], GREY, judged=False),
    ]
    return kit.Facade(patches[::-1] if back else patches, name="angled")


def porch(**more):
    return typical_luminaire("porch light", **{"position": (-2.0, 2.1, 0.6)} | more)


def gutter(**more):
    given_values = {"name": "gutter", "path": ((-3.9, 3.9, 0.15), (3.9, 3.9, 0.15)), "spacing": 0.1, "node_flux": 12.0}
    return LedString(**given_values | more)


def a_site(**more):
    return kit.Site(**{"latitude": 41.9, "longitude": -87.6, "timezone": "America/Chicago", "facing": 180.0} | more)


def a_sky(site=None, **found):
    """Sun and moon where they are put."""
    values = {
        "sun_elevation": -6.0, "sun_azimuth": 250.0, "moon_elevation": 35.0, "moon_azimuth": 150.0,
        "moon_phase_angle": 10.0, "moon_distance": 3.8e8,
    } | found  # fmt: skip
    return Sky(site=site or a_site(), positions=Positions(**{k: np.asarray(v, float) for k, v in values.items()}))


def light_over(ambient, raster):
    """What each source puts on the front and in the eye; NaN where there is no wall."""
    ground = ambient.sky.site.ground_reflectance if ambient.sky else 0.0
    veils, light = source_veils(ambient, raster), source_maps(ambient, raster, ground)
    data = {
        "ambient_illuminance": (("source", "y", "x"), np.where(raster.patch < 0, np.nan, light)),
        "veiling_luminance": (("source", "y", "x"), np.where(raster.patch < 0, np.nan, veils)),
    }
    return xr.Dataset(data, {"y": raster.grid.y, "x": raster.grid.x, "source": list(ambient.sources())})


def light_on(ambient, facade=None, spacing=0.25):
    facade = facade or angled()
    return light_over(ambient, kit.FrontRaster.over(facade, facade.bounds, spacing))


def lit(scene_ambient, spacing=0.25, facade=None, **more):
    projector = kit.typical_projector(6000.0, 1.2)
    place = kit.Placement(position=(0.5, 0.3, 11.0), aim=(0.5, 0.3, 0.0))
    front = facade or angled()
    scene = kit.Scene(facade=front, projectors=[(projector, place)], ambient=scene_ambient, **more)
    return kit.light_map(scene, spacing)


@pytest.mark.property
def test_sources_add_linearly_in_any_order():
    glare, bare = (kit.Glare(illuminance=0.5, angle=7.0),), a_sky(a_site(ground_reflectance=0.0))
    lamps = (porch(), gutter(), porch(called="other", position=(3.0, 2.0, 4.0)))
    together = light_on(kit.Ambient(vertical_illuminance=0.4, glare=glare, lamps=lamps, sky=bare, eye=EYE, age=40))
    names = ["even light", "twilight", "sky glow", "moon", "porch light", "gutter", "other"]
    assert list(together["source"].values) == names
    alone = [
        light_on(kit.Ambient(age=40, eye=EYE, **more))
        for more in ({"vertical_illuminance": 0.4, "glare": glare}, {"sky": bare}, *({"lamps": [v]} for v in lamps))
    ]
    for name in ("ambient_illuminance", "veiling_luminance"):
        # Rounding only.
        expected = sum(one[name].sum("source", skipna=False) for one in alone)
        np.testing.assert_allclose(together[name].sum("source", skipna=False), expected, rtol=1e-12)
    back = light_on(kit.Ambient(lamps=lamps[::-1], eye=EYE, age=40))
    for lamp in lamps:
        for name in ("ambient_illuminance", "veiling_luminance"):
            np.testing.assert_array_equal(back.sel(source=lamp.name)[name], together.sel(source=lamp.name)[name])


@pytest.mark.property
def test_twice_the_flux_is_twice_the_light_and_the_veil():
    once = light_on(kit.Ambient(lamps=[porch(flux=500.0), gutter(dimming=0.3)], eye=EYE))
    twice = light_on(kit.Ambient(lamps=[porch(flux=1000.0), gutter(dimming=0.6)], eye=EYE))
    for name in ("ambient_illuminance", "veiling_luminance"):
        np.testing.assert_allclose(twice[name].values, 2.0 * once[name].values, rtol=1e-12)
    assert (once["veiling_luminance"][1:].fillna(1.0) > 0).all()
    dimmed = kit.Ambient(vertical_illuminance=2.0, lamps=[porch(dimming=0.5), gutter(dimming=0.4)], eye=EYE).dimmed(
        0.25
    )
    straight = kit.Ambient(vertical_illuminance=0.5, lamps=[porch(dimming=0.125), gutter(dimming=0.1)], eye=EYE)
    np.testing.assert_allclose(
        light_on(dimmed)["ambient_illuminance"], light_on(straight)["ambient_illuminance"], rtol=1e-12
    )
    assert not light_on(kit.Ambient(lamps=[porch()]).dimmed(0.0))["ambient_illuminance"].fillna(0).any()


@pytest.mark.property
def test_remembered_maps_are_not_the_callers_to_change(monkeypatch):
    facade = angled()
    raster = kit.FrontRaster.over(facade, facade.bounds, 0.25)
    lamp = porch(position=(-2.0, 2.3, 0.7))
    first = lamp_map(raster, [lamp])
    expected = first.copy()
    first[:] = -1.0
    data = light_over(kit.Ambient(lamps=[lamp]), raster)
    data["ambient_illuminance"].values[:] = 7.0
    np.testing.assert_array_equal(lamp_map(raster, [lamp]), expected)

    def forgetful(raster, lamp):
        with monkeypatch.context() as patch:
            patch.setattr(room, "_recent", Memory(keep=0, most=0))
            return lamp_map(raster, [lamp])

    # What changes the light is part of the key; what does not is not in the way.
    for other in (
        replace(lamp, pan=30.0, tilt=40.0), replace(lamp, flux=5.0), replace(lamp, shielded=60.0),
        replace(lamp, position=(-2.0, 2.3, 0.8)), replace(lamp, dimming=0.3), replace(lamp, spectrum=""),
        replace(lamp, distribution=porch(level="high").distribution),
    ):  # fmt: skip
        np.testing.assert_allclose(lamp_map(raster, [other]), forgetful(raster, other), rtol=1e-12)
    farther = replace(facade.patches[0], outline=[(x, y, z - 0.1) for x, y, z in facade.patches[0].outline])
    moved = replace(facade, patches=(farther, *facade.patches[1:]))
    for front, spacing in (
        (replace(facade, patches=facade.patches[1:]), 0.25), (angled(back=True), 0.25), (moved, 0.25), (facade, 0.2)
    ):  # fmt: skip
        other = kit.FrontRaster.over(front, facade.bounds, spacing)
        np.testing.assert_allclose(lamp_map(other, [lamp]), forgetful(other, lamp), rtol=1e-12)


@pytest.mark.analytic
def test_the_same_even_light_from_sky_or_stated_makes_the_same_map():
    dark = a_sky(a_site(ground_reflectance=0.0), moon_elevation=-5.0)
    lux = float(dark.twilight() + dark.glow())
    assert lux > 0.3
    # Of a front of which no part hides the sky from another.
    flat = replace(angled(), patches=angled().patches[::4])
    even, sky, both = (
        lit(kit.Ambient(**more), facade=flat)
        for more in (
            {"vertical_illuminance": lux},
            {"sky": dark},
            {"vertical_illuminance": 0.25 * lux, "sky": dark, "lamps": [porch(dimming=0.0)]},
        )
    )
    # Rounding only.
    np.testing.assert_allclose(sky["contrast"], even["contrast"], rtol=1e-12)
    around = sky["ambient_illuminance"].sum("source").values
    np.testing.assert_allclose(around[sky["patch"].values >= 0], lux, rtol=1e-12)
    more = lit(kit.Ambient(vertical_illuminance=1.25 * lux), facade=flat)
    np.testing.assert_allclose(both["contrast"], more["contrast"], rtol=1e-12)
    for one, other in ((even, sky), (more, both)):
        first, second = kit.judge(one), kit.judge(other)
        # As it is given; how well it is known differs from source to source, and with it the chance.
        for part, same in zip(first.surfaces, second.surfaces, strict=True):
            assert part.contrast.median == pytest.approx(same.contrast.median, rel=1e-12)
            assert part.white_luminance.median == same.white_luminance.median


@pytest.mark.analytic
@pytest.mark.parametrize("lux", [0.0, 0.7])
def test_a_map_adds_what_ambient_light_says(lux):
    around = kit.Ambient(
        vertical_illuminance=lux, glare=(kit.Glare(illuminance=0.5, angle=7.0),), lamps=[porch(), gutter()],
        sky=a_sky(), eye=EYE, age=66.0,
    )  # fmt: skip
    light, parts = lit(around), light_on(around)
    for name in ("ambient_illuminance", "veiling_luminance", "source"):
        np.testing.assert_array_equal(light.drop_sel(source=WALLS)[name], parts[name])
    added = light["reflectance"] * light["ambient_illuminance"].sum("source", skipna=False) / np.pi
    added = added + light["veiling_luminance"].sum("source", skipna=False)
    expected = (light["white_luminance"] + added) / (light["black_luminance"] + added)
    np.testing.assert_allclose(light["contrast"], expected, rtol=1e-12)


@pytest.mark.property
def test_a_part_of_the_front_has_the_light_of_the_whole():
    around = kit.Ambient(lamps=[porch(), gutter()], sky=a_sky(), eye=EYE)
    whole = light_on(around, spacing=0.25)
    facade = angled()
    part = light_over(around, kit.FrontRaster.over(facade, (-2.0, 2.0, 1.0, 3.0), 0.25))
    cut = whole.sel(x=slice(-2.0, 2.0), y=slice(1.0, 3.0))
    # The string's light near its nodes is integrated over pixels, the same ones here.
    np.testing.assert_allclose(part["ambient_illuminance"], cut["ambient_illuminance"], rtol=1e-9)
    # The sky's veil is filled in between other points.
    lamps_alone = {"source": ["porch light", "gutter", "moon"]}
    np.testing.assert_allclose(part.sel(lamps_alone)["veiling_luminance"], cut.sel(lamps_alone)["veiling_luminance"])


@pytest.mark.analytic
def test_the_moon_on_each_plane_of_a_front():
    sky = a_sky(a_site(ground_reflectance=0.0), moon_azimuth=150.0, moon_elevation=35.0)
    light = light_on(kit.Ambient(sky=sky)).sel(source="moon")["ambient_illuminance"]
    full, low, high = float(sky.moon_normal()), math.cos(math.radians(35)), math.sin(math.radians(35))
    ahead, aside = low * math.cos(math.radians(30)), low * math.sin(math.radians(30))  # to the south, to the east
    root = math.sqrt(0.5)
    for x, y, cosine in (
        (-3.0, 2.0, ahead), (0.5, 2.0, ahead), (1.5, 2.0, root * (ahead + aside)), (-0.5, 2.0, root * (ahead - aside)),
        (0.0, 5.0, root * (ahead + high)),
    ):  # fmt: skip
        assert float(light.sel(x=x, y=y, method="nearest")) == pytest.approx(full * cosine, rel=1e-9)
    behind = light_on(kit.Ambient(sky=a_sky(moon_azimuth=0.0, moon_elevation=40.0)))
    assert (behind.sel(source="moon")["ambient_illuminance"].sel(y=slice(0, 3.9)).fillna(0) == 0).all()


@pytest.mark.analytic
def test_without_an_eye_there_is_no_veil_and_without_wall_no_light():
    found = light_on(kit.Ambient(lamps=[porch(), gutter()], sky=a_sky(), vertical_illuminance=1.0))
    assert not found["veiling_luminance"].fillna(0.0).any()
    wall = found["ambient_illuminance"].notnull()
    assert (wall == wall.isel(source=0)).all()
    assert not bool(wall.isel(source=0, y=-1, x=0))


@pytest.mark.analytic
def test_a_front_without_any_view_of_sky_and_ground_gets_none_of_it():
    """Both shares of the view may be 0: a sky of no light on the wall is no error, and still a veil in the eye."""
    sky = a_sky(a_site(sky_view=0.0, ground_reflectance=0.0))
    found = light_on(kit.Ambient(sky=sky, eye=EYE))
    for name in ("twilight", "sky glow"):
        assert not found.sel(source=name)["ambient_illuminance"].fillna(0).any()
    usual = light_on(kit.Ambient(sky=a_sky(), eye=EYE))
    # The eye sees the same sky.
    for name in ("twilight", "sky glow"):
        one, other = (v.sel(source=name)["veiling_luminance"] for v in (found, usual))
        np.testing.assert_allclose(one, other, rtol=1e-9)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("given_values", "field"),
    [
        ({"lamps": [porch(), gutter(name="porch light")]}, "porch light"),
        ({"lamps": [porch(called="moon")]}, "moon"), ({"lamps": [gutter(name="even light")]}, "even light"),
        ({"lamps": [gutter(name="twilight")]}, "twilight"), ({"lamps": [gutter(name="sky glow")]}, "sky glow"),
        ({"sky": a_site().sky(["2026-12-05 18:00"])}, "sky"),
    ],
)  # fmt: skip
def test_names_and_skies_that_cannot_be_are_refused(given_values, field):
    with pytest.raises(kit.InputError, match=field):
        kit.Ambient(**given_values)


@pytest.mark.bad_input
def test_a_share_that_is_none_is_refused():
    for share in (-0.1, 1.1, math.nan, True):
        with pytest.raises(kit.InputError, match="share"):
            kit.Ambient().dimmed(share)


@pytest.mark.bad_input
def test_ambient_light_refuses_what_it_cannot_work_with():
    for lamp in (porch(position=(0.5, 1.0, 0.5)), porch(position=(-3.0, 1.0, -0.2))):
        with pytest.raises(kit.InputError, match=r"porch light.*position"):
            light_on(kit.Ambient(lamps=[lamp]))
    with pytest.raises(kit.InputError, match=r"gutter.*path"):
        light_on(kit.Ambient(lamps=[gutter(path=((-3, 1, 0.1), (3, 1, 0.1)))]))
    middle = (0.0, 3.0, 0.0)
    with pytest.raises(kit.InputError, match=r"eye|target"):
        light_on(kit.Ambient(sky=a_sky(), eye=middle))
    with pytest.raises(kit.InputError, match=r"eye|target"):
        light_on(kit.Ambient(lamps=[porch()], eye=middle))
    with pytest.raises(kit.InputError, match="eye"):
        light_on(kit.Ambient(lamps=[porch()], eye=(-2.0, 2.1, 0.6)))


@pytest.mark.bad_input
@pytest.mark.parametrize("eye", [(0.0, 1.6, -5.0), (0.5, 1.6, 0.5)])
def test_an_eye_behind_or_inside_the_front_is_refused(eye):
    with pytest.raises(kit.InputError, match="eye"):
        light_on(kit.Ambient(sky=a_sky(), lamps=[porch()], eye=eye))


# Lit rooms behind shades


def shaded(lux, reflectance=0.7):
    """A window whose shade is lit by a machine that gives it 7.088 cd/m2 of white and 32:1 with no other light."""
    shade = kit.Surface(name="shade", reflectance=reflectance, transmittance=0.1, kind="window")
    front = kit.Facade([kit.Patch("window", [(-1, 1), (1, 1), (1, 2), (-1, 2)], shade, room_light=lux)])
    machine = kit.Projector(
        light_output=7.088 * math.pi / 0.7 * 2.0, throw_ratio=1.0, resolution=(2, 1), sequential_contrast=32.0
    )
    place = kit.Placement(position=(0, 1.5, 2.0), aim=(0, 1.5, 0.0))
    return kit.Scene(facade=front, projectors=[(machine, place)])


@pytest.mark.analytic
@pytest.mark.parametrize(("lux", "contrast"), [(0.0, 32.0), (20.0, 9.0), (50.0, 4.8), (150.0, 2.4)])
def test_a_lit_room_behind_a_white_shade_takes_the_contrast(lux, contrast):
    """T E / pi on white and black alike: the shade of 0.1 sends out 0.64, 1.6 and 4.8 cd/m2."""
    light = kit.light_map(shaded(lux), 0.25)
    own = 0.1 * lux / math.pi
    np.testing.assert_allclose(light["contrast"], (7.088 + own) / (7.088 / 32.0 + own), rtol=1e-12)
    assert float(light["contrast"].mean()) == pytest.approx(contrast, abs=0.05)
    assert list(light["source"].values) == ["even light", "lit rooms"][: 1 + (lux > 0)]
    # However much of the picture's light the shade sends back, what comes through it is the same.
    darker = kit.light_map(shaded(lux, 0.35), 0.25)
    np.testing.assert_allclose(
        darker["reflectance"] * darker["ambient_illuminance"].sum("source") / np.pi, own, rtol=1e-12, atol=1e-15
    )


@pytest.mark.analytic
def test_a_verdict_says_to_put_out_the_light_in_the_rooms_behind():
    target = Target(white_luminance=2.0, contrast=7.0)
    lit, dark = (kit.judge(kit.light_map(shaded(lux), 0.1), target) for lux in (50.0, 0.0))
    assert (lit.status, dark.status) == ("borderline", "enough")
    assert "Put out the light in the rooms behind the shade: more than 9 chances in 10 then." in lit.sentence()
    assert "rooms" not in dark.sentence()
    assert lit.surfaces[0].dark_chance == dark.chance
    assert "lit rooms" in kit.measure_first(kit.light_map(shaded(50.0), 0.1), target).shares
    # A map that is kept for its geometry forgets no room.
    assert kit.judge(kit.light_map(shaded(50.0), 0.1), target) == lit
