import dataclasses
import math

import numpy as np
import pytest
import xarray as xr
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import nnls
from scipy.spatial.transform import Rotation

import kit
from kit import reference
from kit.eye.night import base_colours, daylight_picture, night_view, on_screen, ward_scale
from kit.eye.picture_file import Picture
from kit.light.ambient import WALLS
from kit.results import text_table
from kit.source.beam import Beam
from kit.source.spectra import FINE, LightSource, Spectrum, light_source, light_source_names
from kit.wall.cloth import Cloth, cover
from kit.wall.surface_spectra import surface_spectrum
from kit.words import short

HOUSE = "notebooks/houses/brick_two_storey.toml"
D65 = (0.3127, 0.3290)


def picture(rgb):
    return Picture(name="picture", rgb=np.array(rgb, float))


def even(*rgb):
    """A picture of one colour."""
    return picture(np.full((4, 5, 3), rgb))


WHITE, BLACK = even(1.0), even(0.0)
# Left half white, of so many columns that they fall on the raster's.
HALF = picture(np.broadcast_to((np.arange(160) < 80)[None, :, None], (4, 160, 3)))


def scene(facade, *pairs, **more):
    return kit.Scene(facade=facade, projectors=pairs, **more)


def rectangle(name, left, bottom, width, height, *, depth=0.0, surface=None):
    right, top = left + width, bottom + height
    corners = [(left, bottom, depth), (right, bottom, depth), (right, top, depth), (left, top, depth)]
    return kit.Patch(name, corners, surface or kit.Surface(name="plain", reflectance=0.5))


@pytest.fixture(scope="module")
def lamp():
    return light_source("lamp")


@pytest.fixture(scope="module")
def house():
    return kit.load_house(HOUSE)


@pytest.fixture(scope="module")
def street(house):
    """The brick house with a usual projector and a street lamp."""
    pair = kit.typical_projector(4000, 1.2), kit.Placement(position=(0.0, 1.0, 14.0), aim=(0.0, 1.0, 0.0))
    return scene(house, pair, ambient=kit.Ambient(vertical_illuminance=1.0))


@pytest.fixture(scope="module")
def screen_source():
    """A light source whose channels have the chromaticities of sRGB, and D65 for white.

    Published chromaticities (IEC 61966-2-1, ITU-R BT.709): red (0.64, 0.33), green (0.30, 0.60), blue (0.15, 0.06).
    Each channel is a sum of narrow bands that has them.
    """
    bands = [np.exp(-0.5 * ((FINE - peak) / 10.0) ** 2) for peak in range(400, 701, 10)]
    columns = np.stack(bands) @ matching()
    primaries = np.array([(x / y, 1.0, (1 - x - y) / y) for x, y in ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))])
    x, y = D65
    shares = np.linalg.solve(primaries.T, [x / y, 1.0, (1 - x - y) / y])
    channels = []
    for name, wanted in zip(("red", "green", "blue"), primaries * shares[:, None], strict=True):
        powers, rest = nnls(columns.T, wanted)
        assert rest < 1e-12
        values = powers @ np.stack(bands)
        channels.append(Spectrum(name=name, wavelengths=FINE, values=values, origin="parametric", source="made up"))
    return LightSource(name="screen", red=channels[0], green=channels[1], blue=channels[2], source="made up")


def matching():
    """CIE 1931 2 degree colour-matching functions every nanometre, straight from colour-science."""
    import colour

    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    return table.trim(colour.SpectralShape(380, 780, 1)).values


def under(source, surface):
    """Luminous reflectance of a surface under a source's white, written out again."""
    white = sum(channel.on(FINE) for channel in source.channels) * matching()[:, 1]
    return float((white * surface_spectrum(surface).on(FINE)).sum() / white.sum())


def reflected(key, surface=None):
    """X, Y, Z of a light of colour-science, reflected if a surface is given, Y = 1 for an ideal diffuser.

    Sum over 1 nm by colour-science; between 5 nm lights run by Sprague (CIE 167) and surfaces straight.
    """
    import colour

    shape = colour.SpectralShape(380, 780, 1)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    light = colour.SDS_ILLUMINANTS[key].copy().align(shape)
    white = colour.sd_to_XYZ(light, cmfs, k=1.0, method="Integration")
    if surface is None:
        return white / white[1]
    table = surface_spectrum(surface)
    wall = colour.SpectralDistribution(dict(zip(table.wavelengths, table.values, strict=True)))
    wall = wall.align(shape, interpolator=colour.LinearInterpolator)
    return colour.sd_to_XYZ(light * wall, cmfs, k=1.0, method="Integration") / white[1]


def xy(xyz):
    xyz = np.asarray(xyz, float)
    return xyz[..., :2] / xyz.sum(axis=-1, keepdims=True)


# What the eye gets

SWITCHES = {
    "nothing else": {},
    "leak": {"leak": True},
    "leak and scatter": {"leak": True, "scatter": True},
    "bounce": {"bounce": True},
    "ambient": {"ambient": True},
    "veil": {"veil": True},
    "gain": {"gain": True},
    "all": dict.fromkeys(("leak", "scatter", "bounce", "ambient", "veil", "gain"), True),
}


@pytest.mark.analytic
@pytest.mark.parametrize("on", SWITCHES.values(), ids=SWITCHES)
@pytest.mark.parametrize("drive", [1.0, 0.5, 0.0])
def test_a_grey_wall_has_the_luminance_of_the_closed_form(wall, straight, lamp, on, drive):
    # A screen's gain is against a perfect diffuser; light from around comes back as from any grey wall.
    gain, ambient, ground = (0.52 if on.get("gain") else None), (2.0 if on.get("ambient") else 0.0), 0.25
    sequential = 1500.0 if on.get("leak") else math.inf
    checkerboard = 250.0 if on.get("scatter") else None
    glare = (kit.Glare(illuminance=0.3, angle=5.0),) if on.get("veil") else ()
    front = wall(8.0, 5.0, reflectance=0.4, gain=gain)
    pair = straight(8.0, 5.0, lumens=3000.0, sequential_contrast=sequential, checkerboard_contrast=checkerboard)
    given = scene(
        front, pair, ambient=kit.Ambient(vertical_illuminance=ambient, glare=glare),
        ground_reflectance=ground if on.get("bounce") else 0.0,
    )  # fmt: skip
    view = night_view(given, even(drive), lamp, spacing=0.25)

    full = 3000.0 / (8.0 * 5.0)
    black = full / sequential
    if on.get("scatter"):
        black += full * 2.0 * (1 / 250.0 - 1 / 1500.0) * drive
    back = (2.0 - math.pi / 2) / 4 * ground * drive * 0.4 * full if on.get("bounce") else 0.0
    # Full white is what is stated: its own leak is not added once more. What the ground sends back is.
    luminance = (gain or 0.4) / math.pi * (black + drive * (full - black) + back) + 0.4 * ambient / math.pi
    if on.get("veil"):
        luminance += kit.veiling_luminance(0.3, 5.0)
    assert view["xyz"].shape == (20, 32, 3)
    # Sums over 401 wavelengths cost a few last digits.
    np.testing.assert_allclose(view["xyz"][..., 1], luminance, rtol=1e-9, atol=1e-12)
    if drive == 1.0:
        around = 0.4 * ambient / math.pi + view["veiling_luminance"].sum("source")
        np.testing.assert_allclose(view["xyz"][..., 1], view["white_luminance"] + around, rtol=1e-9)


@pytest.mark.analytic
@pytest.mark.parametrize("name", light_source_names())
def test_a_coloured_wall_has_the_luminance_that_it_has_under_the_source(name):
    brick = kit.Surface.from_reference("red brick")
    front = kit.Facade([rectangle("wall", -4.0, 0.0, 8.0, 5.0, surface=brick)])
    projector = kit.Projector(light_output=3000, throw_ratio=1.0, resolution=(8, 5), sequential_contrast=800.0)
    given = scene(front, (projector, kit.Placement(position=(0.0, 2.5, 8.0), aim=(0.0, 2.5, 0.0))))
    source = light_source(name)
    ratio = under(source, brick) / brick.reflectance
    white, black = (night_view(given, shown, source, spacing=0.5) for shown in (WHITE, BLACK))
    np.testing.assert_allclose(white["xyz"][..., 1], white["white_luminance"] * ratio, rtol=1e-9)
    np.testing.assert_allclose(black["xyz"][..., 1], black["black_luminance"] * ratio, rtol=1e-9)
    assert abs(ratio - 1.0) > 1e-4  # else this shows nothing


@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("sodium street lamp", "HP1"),
        ("warm white led street lamp", "LED-B1"),
        ("cool white led street lamp", "LED-B4"),
        ("daylight", "D65"),
    ],
)
def test_a_dark_wall_has_the_colour_of_the_light_around(lamp, name, key):
    # Lamps of CIE 015:2018 as colour-science carries them, reflected and integrated by colour-science.
    # Red falls off towards blue on straight lines, which every interpolation keeps.
    waves = np.arange(380.0, 781.0, 5.0)
    values = np.interp(waves, [380, 500, 650, 780], [0.05, 0.1, 0.45, 0.5])
    own = Spectrum(name="red wall", wavelengths=waves, values=values, origin="measured", source="made up")
    surface = kit.Surface(name="red wall", reflectance=0.2, spectrum=own)
    front = kit.Facade([rectangle("wall", -4.0, 0.0, 8.0, 5.0, surface=surface)])
    pair = (
        kit.Projector(light_output=3000, throw_ratio=1.0, resolution=(8, 5)),
        kit.Placement(position=(0.0, 2.5, 8.0), aim=(0.0, 2.5, 0.0)),
    )
    ambient = kit.Ambient(vertical_illuminance=2.0, glare=(kit.Glare(illuminance=1.0, angle=10.0),))
    dark = dataclasses.replace(ambient, glare=())
    view = night_view(scene(front, pair, ambient=dark), BLACK, lamp, ambient_light=name, spacing=0.5)

    expected = reflected(key, surface) * 2.0 / math.pi
    # Between the 5 nm of the table the kit interpolates otherwise than colour-science; sodium lines are that narrow.
    np.testing.assert_allclose(view["xyz"], np.broadcast_to(expected, view["xyz"].shape), rtol=2e-3)
    np.testing.assert_allclose(xy(view["xyz"].values[3, 3]), xy(expected), atol=3e-4)

    veiled = night_view(scene(front, pair, ambient=ambient), BLACK, lamp, ambient_light=name, spacing=0.5)
    veil = (veiled["xyz"] - view["xyz"]).values
    np.testing.assert_allclose(veil[..., 1], kit.veiling_luminance(1.0, 10.0), rtol=1e-9)
    np.testing.assert_allclose(xy(veil[3, 3]), xy(reflected(key)), atol=3e-4)


@pytest.mark.analytic
def test_ambient_light_gets_no_gain_and_the_projector_does(wall, straight, lamp):
    pair = straight()
    ambient = kit.Ambient(vertical_illuminance=5.0)
    plain, beaded = (
        night_view(scene(wall(gain=gain), pair, ambient=ambient), HALF, lamp, spacing=0.25)["xyz"].values
        for gain in (None, 1.0)
    )
    around = 0.5 * 5.0 / math.pi
    np.testing.assert_allclose(beaded[..., 1] - around, 2.0 * (plain[..., 1] - around), rtol=1e-9, atol=1e-12)


@pytest.mark.property
def test_pictures_add_up_where_nothing_scatters(wall, straight, lamp):
    # With scatter, black depends on the picture, and light is no longer linear in drive.
    given = scene(wall(), straight(sequential_contrast=500.0), ambient=kit.Ambient(vertical_illuminance=1.0))
    one, other = 0.5 * np.random.default_rng(2).random((2, 20, 32, 3))
    black, a, b, both = (
        night_view(given, picture(rgb), lamp, spacing=0.25)["xyz"].values
        for rgb in (0.0 * one, one, other, one + other)
    )
    # A picture keeps its drive as float32.
    np.testing.assert_allclose(both - black, (a - black) + (b - black), atol=1e-6 * both.max())
    half = night_view(given, picture(one / 2), lamp, spacing=0.25)["xyz"].values
    np.testing.assert_allclose(half - black, (a - black) / 2, atol=1e-6 * both.max())


@pytest.mark.analytic
@pytest.mark.analytic
def test_a_white_brighter_than_its_colours_is_so_in_the_white_alone(wall, straight, lamp):
    # AVS Forum, CES 2013, after IDMS 15.4: 980 lm of colour where white has 2,840.
    share = 980 / 2840
    machines = [straight(colour_share=of) for of in (1.0, share)]
    plain, boosted = (
        [night_view(scene(wall(), pair), even(*rgb), lamp, spacing=0.5)["xyz"].values
         for rgb in ((1.0, 1.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 0.5, 0.5))]
        for pair in machines
    )  # fmt: skip
    # Rounding only.
    np.testing.assert_allclose(boosted[0], plain[0], rtol=1e-9)
    for k in (1, 2, 3):
        np.testing.assert_allclose(boosted[k], share * plain[k], rtol=1e-9)
    # A pale red lies between.
    assert np.all((boosted[4] < plain[4]) & (boosted[4] > share * plain[4]))
    # The three colours together, as a meter adds them (NISTIR 6657), are the share of white.
    np.testing.assert_allclose(sum(boosted[1:4]), share * boosted[0], rtol=1e-9)


def test_twice_the_lumens_double_the_projected_part_alone(street, house, lamp):
    shown = daylight_picture(house)
    ((projector, place),) = street.projectors

    def lit(**changed):
        pair = dataclasses.replace(projector, **changed), place
        return dataclasses.replace(street, projectors=(pair,))

    one, two = (night_view(lit(light_output=lumens), shown, lamp) for lumens in (4000, 8000))
    # A projector that is perfectly black: what is there without it.
    rest = night_view(lit(sequential_contrast=math.inf, checkerboard_contrast=None), BLACK, lamp)["xyz"]
    np.testing.assert_allclose(two["xyz"] - rest, 2.0 * (one["xyz"] - rest), rtol=1e-9, atol=1e-12)
    assert float((one["xyz"] - rest)[..., 1].max()) > 1.0


@pytest.mark.property
def test_cloth_brightens_every_covered_point_and_no_other(street, house, lamp):
    covering = cover(house, Cloth(name="white cloth", reflectance=0.65, transmittance=0.25), spectral=True)
    shown = daylight_picture(house)
    bare = night_view(street, shown, lamp)
    hung = night_view(dataclasses.replace(street, facade=covering.facade), shown, lamp)
    names = np.array([p.name for p in house.patches])
    covered = np.isin(names, covering.patches)[bare["patch"].values] & (bare["patch"].values >= 0)
    assert covered.mean() > 0.2
    before, after = (view["xyz"].values[..., 1] for view in (bare, hung))
    assert (after[covered] > before[covered]).all()
    others = ~covered & (bare["patch"].values >= 0)
    # What faces no other wall stays as it is; what does gets some of the light that the cloth sends on.
    walls = hung["ambient_illuminance"].sel(source=WALLS).values
    alone = others & (walls == 0.0)
    assert alone.mean() > 0.03  # frames, too narrow for a piece of their own, get that light too
    np.testing.assert_allclose(after[alone], before[alone], rtol=1e-12)
    assert (after[others] >= before[others] * (1.0 - 1e-12)).all()
    # Behind white cloth brick red is all but gone.
    wall = bare["patch"].values == list(names).index("main wall")
    lit = wall & (bare["illuminance"].values > 0)
    white = night_view(dataclasses.replace(street, facade=covering.facade), WHITE, lamp)["xyz"].values
    brick = night_view(street, WHITE, lamp)["xyz"].values
    distance = [np.hypot(*(xy(np.median(xyz[lit], axis=0)) - lamp.white)) for xyz in (white, brick)]
    assert distance[0] < 0.4 * distance[1]


# Where the picture lands


def ramp():
    """Red grows from left to right, green from top to bottom: drive tells the place in the picture."""
    across, down = (np.arange(40) + 0.5) / 40, (np.arange(25) + 0.5) / 25
    return picture(np.stack(np.broadcast_arrays(across, down[:, None], 0.25), axis=-1))


OBLIQUE = {
    "straight": {"position": (0.0, 2.5, 9.0), "aim": (0.0, 2.5, 0.0)},
    "oblique": {"position": (-4.0, 0.5, 8.0), "aim": (0.6, 2.8, 0.0)},
    "rolled": {"position": (3.0, 4.5, 7.0), "aim": (-0.5, 2.2, 0.0), "roll": 17.0},
}


@pytest.mark.analytic
@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.1, 0.35)], ids=["no shift", "shift"])
@pytest.mark.parametrize("place", OBLIQUE.values(), ids=OBLIQUE)
def test_a_projected_picture_lands_where_rays_through_a_pinhole_land(lamp, place, shift):
    front = kit.Facade([rectangle("wall", -4.0, 0.0, 8.0, 5.0), rectangle("bay", 0.5, 0.5, 2.0, 3.0, depth=0.8)])
    projector = kit.Projector(light_output=3000, throw_ratio=1.1, resolution=(16, 10), lens_shift=shift)
    placement = kit.Placement(**place)
    view = night_view(scene(front, (projector, placement)), ramp(), lamp, fit="projector", spacing=0.1)

    lens, aim = np.array(place["position"]), np.array(place["aim"])
    forward = (aim - lens) / np.linalg.norm(aim - lens)
    right = np.array([-forward[2], 0.0, forward[0]]) / math.hypot(forward[0], forward[2])
    # A right-hand turn about the axis is clockwise as seen from behind the lens, where the audience is.
    turn = Rotation.from_rotvec(math.radians(place.get("roll", 0.0)) * forward)
    right, up = turn.apply(right), turn.apply(np.cross(right, forward))
    width, height = 1 / 1.1, 1 / 1.1 * 10 / 16
    x, y = np.meshgrid(view["x"], view["y"])
    z = np.where(view["patch"] == 1, 0.8, 0.0)
    away = np.stack([x, y, z], axis=-1) - lens
    # away = k (forward + a right + b up)
    k, ka, kb = np.moveaxis(away @ np.linalg.inv(np.stack([forward, right, up])), -1, 0)
    across, down = ka / k / width + 0.5 - shift[0], 0.5 - (kb / k / height - shift[1])

    lit = view["illuminance"].values > 0
    inside = (across > 0) & (across < 1) & (down > 0) & (down < 1)
    assert not (lit & ~inside).any()
    # In the outermost half pixel of the picture nothing is left to mix with.
    clear = lit & (np.abs(across - 0.5) < 0.5 - 0.5 / 40) & (np.abs(down - 0.5) < 0.5 - 0.5 / 25)
    assert clear.mean() > 0.4
    assert (clear & (view["patch"].values == 1)).sum() > 200
    drive = view["drive"].values
    np.testing.assert_allclose(drive[clear][:, 0], across[clear], atol=1e-6)  # float32
    np.testing.assert_allclose(drive[clear][:, 1], down[clear], atol=1e-6)
    np.testing.assert_allclose(drive[lit][:, 2], 0.25, atol=1e-7)
    assert (drive[~lit] == 0).all()

    landing = Beam.of(projector, placement).on(np.stack([x, y, z], axis=-1))
    expected = np.stack([landing.across + 0.5, 0.5 - landing.up], axis=-1)
    np.testing.assert_allclose(drive[clear][:, :2], expected[clear], atol=1e-6)


def quarter(view):
    """Sign of x and of y - 2.5 of the quarter of the wall that is bright."""
    bright = view["xyz"].values[..., 1] > 0.5 * view["xyz"].values[..., 1].max()
    x, y = np.meshgrid(view["x"], view["y"])
    assert 0.2 < bright.mean() < 0.3
    return np.sign(x[bright].mean()), np.sign(y[bright].mean() - 2.5)


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("fit", "roll", "corner"),
    # As the audience sees it: a quarter turn clockwise takes top left to top right.
    [("front", 0, (-1, 1)), ("projector", 0, (-1, 1)), ("projector", 90, (1, 1)), ("projector", 180, (1, -1))],
)
def test_the_top_left_of_a_picture_is_at_the_top_left_of_the_front(wall, lamp, fit, roll, corner):
    shown = np.zeros((10, 10, 3))
    shown[:5, :5] = 1.0
    projector = kit.Projector(light_output=3000, throw_ratio=8 / 5, resolution=(1, 1))
    placement = kit.Placement(position=(0.0, 2.5, 8.0), aim=(0.0, 2.5, 0.0), roll=roll)
    view = night_view(scene(wall(5.0, 5.0), (projector, placement)), picture(shown), lamp, fit=fit, spacing=0.1)
    assert quarter(view) == corner


@pytest.mark.analytic
def test_a_picture_fits_the_front_edge_to_edge_and_pixel_for_pixel(wall, straight, lamp):
    rgb = np.random.default_rng(3).random((10, 16, 3), np.float32)
    # The projector's own picture is larger and turned off the axis: that does not move what is laid over the front.
    projector, _ = straight(14.0, 10.0)
    placement = kit.Placement(position=(1.0, 2.0, 8.0), aim=(0.0, 2.5, 0.0), roll=9.0)
    view = night_view(scene(wall(8.0, 5.0), (projector, placement)), picture(rgb), lamp, spacing=0.5)
    np.testing.assert_allclose(view["drive"], rgb[::-1], atol=1e-7)
    # A part of the front shows the same part of the picture.
    for fit in ("front", "projector"):
        whole, part = (
            night_view(scene(wall(), (projector, placement)), picture(rgb), lamp, fit=fit, spacing=0.5, extent=extent)
            for extent in (None, [-2.0, 3.0, 1.0, 4.0])
        )
        for name in ("drive", "xyz"):
            np.testing.assert_allclose(part[name], whole[name].sel(x=part["x"], y=part["y"]), rtol=1e-12)


@pytest.mark.analytic
@pytest.mark.parametrize("fit", ["front", "projector"])
@pytest.mark.parametrize("size", [(100, 160), (70, 111), (997, 1601)], ids=str)
def test_a_picture_finer_than_the_raster_loses_no_light(wall, straight, lamp, fit, size):
    rgb = np.random.default_rng(4).random((*size, 3), np.float32)
    rgb[::2] *= 0.2  # stripes that picking every tenth row would miss
    view = night_view(scene(wall(8.0, 5.0), straight(8.0, 5.0)), picture(rgb), lamp, fit=fit, spacing=0.5)
    # float32, and the raster's pixels are those of the averaged picture: nothing is mixed twice.
    expected = rgb.mean(axis=(0, 1), dtype=float)
    np.testing.assert_allclose(view["drive"].values.mean(axis=(0, 1)), expected, rtol=1e-5)


@pytest.mark.analytic
def test_shadows_and_what_lies_beside_the_picture_get_no_drive(lamp):
    front = kit.Facade([rectangle("wall", -4.0, 0.0, 8.0, 5.0), rectangle("post", -0.3, 0.0, 0.6, 5.0, depth=1.0)])
    projector = kit.Projector(light_output=3000, throw_ratio=1.6, resolution=(8, 5), sequential_contrast=1500.0)
    pair = projector, kit.Placement(position=(3.0, 2.5, 8.0), aim=(0.0, 2.5, 0.0))
    given = scene(front, pair, ambient=kit.Ambient(vertical_illuminance=2.0), ground_reflectance=0.3)
    for fit in ("front", "projector"):
        view = night_view(given, WHITE, lamp, fit=fit, spacing=0.1)
        x, y = np.meshgrid(view["x"], view["y"])
        # By similar triangles a point at depth 1 is seen from the lens at 8/7 of its way from x = 3.
        shadow = (x > 3 - 3.3 * 8 / 7) & (x < 3 - 2.7 * 8 / 7) & (view["patch"].values == 0) & (abs(y - 2.5) < 1.0)
        beside = (y < 0.2) & (abs(x) < 3)
        assert shadow.sum() > 50
        assert beside.sum() > 50
        dark = view["illuminance"].values == 0
        assert dark[shadow].all()
        assert dark[beside].all()
        assert (view["drive"].values[dark] == 0).all()
        np.testing.assert_allclose(view["drive"].values[~dark], 1.0, rtol=1e-6)
        # Light that the ground sends back gets there, and no picture takes it away.
        around = view["black_luminance"].values[dark] + 0.5 * 2.0 / math.pi
        assert view["black_luminance"].values[dark].min() > 0.001
        np.testing.assert_allclose(view["xyz"].values[dark][:, 1], around, rtol=1e-9)


@pytest.mark.analytic
def test_a_patch_is_looked_up_where_it_stands(wall, straight, lamp):
    def surface(reflectance):
        return kit.Surface(name=f"grey {reflectance}", reflectance=reflectance)

    front = kit.Facade(
        [
            rectangle("wall", -4.0, 0.0, 8.0, 4.0, surface=surface(0.2)),
            rectangle("door", -1.0, 0.0, 2.0, 2.0, surface=surface(0.6)),
            kit.Patch("gable", [(-4, 4), (4, 4), (0, 5)], surface(0.4)),
        ]
    )
    view = night_view(scene(front, straight(8.0, 5.0, lumens=4000.0)), WHITE, lamp, spacing=0.1)
    luminance = view["xyz"].values[..., 1]
    for index, reflectance in enumerate((0.2, 0.6, 0.4)):
        here = view["patch"].values == index
        np.testing.assert_allclose(luminance[here], reflectance * 100.0 / math.pi, rtol=1e-9)
    nowhere = view["patch"].values < 0
    assert nowhere.sum() > 200
    assert np.isnan(view["xyz"].values[nowhere]).all()
    assert np.isfinite(view["xyz"].values[~nowhere]).all()


# Several projectors


@pytest.mark.analytic
def test_two_pictures_side_by_side_are_as_bright_as_one(wall, straight, lamp):
    pairs = [straight(4.0, 5.0, lumens=2000.0, x=x) for x in (-2.0, 2.0)]
    view = night_view(scene(wall(8.0, 5.0), *pairs), HALF, lamp, fit="projector", spacing=0.1)
    # Each shows all of the picture, whose left half is white.
    x = view["x"].values
    white = (x < -2.0) | ((x > 0.0) & (x < 2.0))
    expected = np.where(white, 0.5 / math.pi * 2000.0 / 20.0, 0.0)
    np.testing.assert_allclose(view["xyz"][..., 1], np.broadcast_to(expected, (50, 80)), rtol=1e-6, atol=1e-6)


@pytest.mark.analytic
def test_pictures_on_top_of_each_other_mix_by_their_light(wall, straight, lamp):
    # One upside down: white on the left from 3000 lm, after its losses, and on the right from 1000 lm.
    first, place = straight(
        8.0, 5.0, lumens=6000.0, chain=(kit.Factor(name="half", low=0.5, nominal=0.5, high=0.5, source="made up"),)
    )
    second, _ = straight(8.0, 5.0, lumens=1000.0)
    turned = dataclasses.replace(place, roll=180.0)
    given = scene(wall(8.0, 5.0), (first, place), (second, turned))
    luminance = night_view(given, HALF, lamp, fit="projector", spacing=0.1)["xyz"].values[..., 1]
    np.testing.assert_allclose(luminance[:, :40], 0.5 / math.pi * 3000.0 / 40.0, rtol=1e-6)
    np.testing.assert_allclose(luminance[:, 40:], 0.5 / math.pi * 1000.0 / 40.0, rtol=1e-6)
    # Laid over the front, both show the same.
    laid = night_view(given, HALF, lamp, spacing=0.1)["xyz"].values[..., 1]
    np.testing.assert_allclose(laid[:, :40], 0.5 / math.pi * 4000.0 / 40.0, rtol=1e-6)
    np.testing.assert_allclose(laid[:, 40:], 0.0, atol=1e-6)


# Level of the picture, and what it scatters


@pytest.mark.analytic
@pytest.mark.parametrize("fit", ["front", "projector"])
def test_a_half_white_picture_scatters_as_a_checkerboard_does(wall, straight, lamp, fit):
    # Defined by it (ANSI checkerboard): black is white / 100 when half of the picture is white.
    pair = straight(8.0, 5.0, sequential_contrast=1500.0, checkerboard_contrast=100.0)
    # What the scene says of the picture level does not count: the picture itself is there.
    views = [
        night_view(scene(wall(8.0, 5.0), pair, average_picture_level=level), HALF, lamp, fit=fit, spacing=0.25)
        for level in (0.0, 1.0)
    ]
    xr.testing.assert_identical(*views)
    luminance = views[0]["xyz"].values[..., 1]
    np.testing.assert_allclose(luminance[:, 16:], luminance[:, :16].mean() / 100.0, rtol=1e-6)


@pytest.mark.analytic
def test_the_picture_level_is_that_of_the_lit_part(wall, straight, lamp):
    # The picture covers half of a front of 16 m; what it leaves dark is no part of it.
    pair = straight(8.0, 5.0, x=-4.0, sequential_contrast=1500.0, checkerboard_contrast=100.0)
    view = night_view(scene(wall(16.0, 5.0), pair), HALF, lamp, fit="projector", spacing=0.25)
    luminance = view["xyz"].values[..., 1]
    np.testing.assert_allclose(luminance[:, 16:32], luminance[:, :16].mean() / 100.0, rtol=1e-6)
    assert (luminance[:, 32:] == 0).all()


@pytest.mark.analytic
def test_a_picture_that_is_white_only_beside_the_front_scatters_nothing(wall, straight, lamp):
    # The front is under the right half of the picture, which is black; what lies beside it is masked.
    pair = straight(16.0, 5.0, x=-4.0, sequential_contrast=1500.0, checkerboard_contrast=100.0)
    given = scene(wall(8.0, 5.0), pair)
    view = night_view(given, HALF, lamp, fit="projector", spacing=0.1)
    assert (view["drive"] == 0).all()
    np.testing.assert_allclose(view["xyz"][..., 1] / view["white_luminance"], 1 / 1500, rtol=1e-6)


@pytest.mark.analytic
@pytest.mark.parametrize("share", [1.0, 0.5, 0.25])
def test_only_what_lands_on_the_front_scatters(wall, straight, lamp, share):
    # A front of 8 m under a wider picture, white on the front and masked beside it: scatter goes with the mean of the
    # whole picture, so with the used share of its light. Scatter at full white: 2 (1 / 100 - 1 / 1500).
    pair = straight(8.0 / share, 5.0, sequential_contrast=1500.0, checkerboard_contrast=100.0)
    given = scene(wall(8.0, 5.0), pair)
    half, black = even(0.5), even(0.0)
    dark, grey = (night_view(given, shown, lamp, spacing=0.25) for shown in (black, half))
    scatter = (grey["black_illuminance"] - dark["black_illuminance"]) / grey["illuminance"]
    np.testing.assert_allclose(scatter, 2.0 * (1 / 100.0 - 1 / 1500.0) * 0.5 * share, rtol=1e-9)


@pytest.mark.bad_input
def test_a_picture_wholly_beside_the_front_is_refused(wall, straight, lamp):
    for fit in ("front", "projector"):
        with pytest.raises(kit.InputError, match="misses it"):
            night_view(scene(wall(8.0, 5.0), straight(8.0, 5.0, x=30.0)), WHITE, lamp, fit=fit)


# On the screen


def threshold(luminance):
    """Just visible difference [cd/m2] of Ward 1994, fitted to Blackwell's data (CIE 19); from memory, as in the kit."""
    return 0.0594 * (1.219 + luminance**0.4) ** 2.5


@pytest.mark.analytic
@pytest.mark.parametrize("white", [80.0, 250.0])
@pytest.mark.parametrize("adaptation", [0.0, 0.01, 0.3, 3.0, 1000.0])
def test_what_is_just_visible_at_night_is_just_visible_on_the_screen(adaptation, white):
    # What the factor is made for, by hand: the eye at the screen is adapted to half its white.
    shown = ward_scale(adaptation, white) * threshold(adaptation) * white
    assert shown == pytest.approx(threshold(white / 2), rel=1e-12)


@pytest.mark.analytic
def test_a_scene_as_bright_as_the_screen_is_drawn_as_it_is():
    assert ward_scale(40.0, 80.0) == pytest.approx(1 / 80.0, rel=1e-12)


@pytest.mark.property
@given(one=st.floats(0.0, 1e4), other=st.floats(0.0, 1e4), white=st.floats(1.0, 1e4))
def test_the_darker_the_eye_the_brighter_the_drawing(one, other, white):
    low, high = sorted((one, other))
    assert ward_scale(low, white) >= ward_scale(high, white) > 0
    # Thresholds grow more slowly than luminance: a brighter front is still drawn brighter.
    assert high * ward_scale(high, white) >= low * ward_scale(low, white) * (1 - 1e-12)


def made(xyz):
    """A view that holds nothing but colours."""
    return xr.Dataset({"xyz": (("y", "x", "channel"), np.array(xyz, float))})


def greys(luminance):
    x, y = D65
    return made(np.asarray(luminance, float)[..., None] * [x / y, 1.0, (1 - x - y) / y])


@pytest.mark.analytic
def test_one_factor_serves_all_options():
    import colour

    bright = np.array([[0.3, 0.6, 1.2], [2.4, 0.9, 1.5]])
    screen = on_screen([greys(bright), greys(bright / 4), greys(bright)])
    assert screen.adaptation == pytest.approx(float(np.exp(np.log(np.stack([bright, bright / 4, bright])).mean())))
    assert screen.brightest == pytest.approx(1 / ward_scale(screen.adaptation, 80.0), rel=1e-12)
    assert bright.max() < screen.brightest
    assert screen.cut == (0.0, 0.0, 0.0)
    np.testing.assert_array_equal(screen.images[0], screen.images[2])
    linear = [colour.models.eotf_sRGB(image / 255) for image in screen.images]
    assert (linear[1] < linear[0]).all()
    for light, shown in zip((bright, bright / 4), linear, strict=False):
        # Half a code value, at the darkest of these 2% of the light.
        expected = np.repeat((light / screen.brightest)[::-1, :, None], 3, axis=-1)
        codes = colour.models.eotf_inverse_sRGB(expected)
        step = (colour.models.eotf_sRGB(codes + 0.55 / 255) - expected) / expected
        assert (np.abs(shown / expected - 1) <= step).all()


@pytest.mark.analytic
def test_colours_are_encoded_as_colour_science_encodes_them():
    import colour

    rgb = np.random.default_rng(5).random((40, 50, 3)) ** 3
    space = colour.RGB_COLOURSPACES["sRGB"]
    xyz = colour.RGB_to_XYZ(rgb, space, apply_cctf_decoding=False)
    screen = on_screen([made(2.0 * xyz)])
    # The matrix and its inverse are rounded in the standard; what then lies outside by 1e-3 is not counted.
    assert screen.cut == (float((2.0 / screen.brightest * rgb > 1.001).any(axis=-1).mean()),)
    shown = colour.XYZ_to_RGB(2.0 * xyz / screen.brightest, space, apply_cctf_encoding=True)
    codes = 255 * np.clip(shown, 0, 1)
    # Half a code for rounding, and as much again of a tenth for the table.
    assert np.abs(screen.images[0][::-1] - codes).max() <= 0.61
    assert screen.images[0].dtype == np.uint8


@pytest.mark.analytic
def test_what_the_screen_cannot_show_is_counted():
    import colour

    luminance = np.full((4, 5), 1.0)
    luminance[0, :2] = 1e3  # brighter than the screen's white whatever the adaptation here
    view = greys(luminance)
    # Light of 520 nm is greener than the screen's primary.
    view["xyz"][1, 0] = colour.xyY_to_XYZ((0.0743, 0.8338, 1.0))
    view["xyz"][3, :] = np.nan
    fine = greys(np.full((2, 2), 1.0))
    screen = on_screen([view, fine])
    assert screen.cut == (pytest.approx(3 / 15), 0.0)
    top, *_, bottom = screen.images[0]
    assert (top == 0).all()  # no wall, and the last row of y is the top one
    assert (bottom[:2] == 255).all()
    assert screen.images[0][2, 0, 0] == 0  # less than no red
    assert "20% and 0% of the front" in screen.sentence()
    assert f"{short(screen.brightest)} cd/m²" in screen.sentence()
    assert screen.frame()["beyond the screen"].tolist() == list(screen.cut)


@pytest.mark.analytic
def test_a_picture_is_on_screen_as_it_is_projected(wall, straight, screen_source):
    import colour

    # White wall, dark night, a projector with the primaries of the screen: the picture, scaled.
    rgb = np.random.default_rng(6).random((10, 16, 3), np.float32)
    given = scene(wall(8.0, 5.0), straight(8.0, 5.0, lumens=200.0))
    view = night_view(given, picture(rgb), screen_source, spacing=0.5)
    screen = on_screen([view])
    linear = rgb * (0.5 * 200.0 / 40.0 / math.pi / screen.brightest)
    assert 0.05 < linear.max() < 1
    codes = 255 * colour.models.eotf_inverse_sRGB(linear)
    # The standard's matrix has four digits, which is up to 4e-4 of the light: a tenth of a code and more in the dark.
    assert np.abs(screen.images[0] - codes).max() < 1.0
    assert screen.cut == (0.0,)


@pytest.mark.property
def test_weaker_projector_or_darker_wall_is_drawn_darker(street, house, lamp):
    shown = daylight_picture(house)
    pairs = [(dataclasses.replace(p, light_output=2000), place) for p, place in street.projectors]
    views = [night_view(given, shown, lamp) for given in (street, dataclasses.replace(street, projectors=pairs))]
    bright, dim = on_screen(views).images
    assert bright.shape == (*views[0]["patch"].shape, 3)
    assert (dim <= bright).all()
    lit = (views[0]["illuminance"].values > 0)[::-1]
    assert dim[lit].mean() < 0.85 * bright[lit].mean()
    nowhere = (views[0]["patch"].values < 0)[::-1]
    assert nowhere[0, 0]  # beside the gable
    assert (bright[nowhere] == 0).all()


# The front by daylight


@pytest.mark.published
def test_the_daylight_picture_has_the_colours_of_the_surfaces(house):
    # CIE standard illuminant D65, as carried and integrated by colour-science.
    import colour

    shown = daylight_picture(house, spacing=0.1)
    left, right, bottom, top = house.bounds
    assert (shown.height, shown.width) == (math.ceil((top - bottom) / 0.1), math.ceil((right - left) / 0.1))
    assert (shown.rgb[0, 0] == 0).all()  # beside the gable
    space = colour.RGB_COLOURSPACES["sRGB"]
    places = {"main wall": (-5.9, 1.5), "gable": (0.0, 8.5), "front door": (-2.3, 1.5), "bay window": (3.3, 1.5)}
    for name, (x, y) in places.items():
        surface = house.patch(name).surface
        rgb = shown.rgb[int((top - y) / 0.1), int((x - left) / 0.1)]
        assert 0 < rgb.min() <= rgb.max() < 1
        xyz = colour.RGB_to_XYZ(rgb, space, apply_cctf_decoding=False)
        expected = reflected("D65", surface)
        # The standard's matrix and its inverse have four digits; the interpolation between 5 nm counts for less.
        np.testing.assert_allclose(xyz, expected, atol=5e-4)
        np.testing.assert_allclose(xy(xyz), xy(expected), atol=1e-3)
        assert xyz[1] == pytest.approx(surface.reflectance, abs=5e-4)


@pytest.mark.analytic
def test_the_daylight_picture_on_white_shows_the_house_in_its_colours(house, screen_source):
    # All white, flat and dark around: each patch as it is by day, dimmed. Without returns and roofs no walls face.
    house = kit.Facade(tuple(patch for patch in house.patches if patch.normal[2] == 1.0))
    white = kit.Surface(name="plain", reflectance=1.0)
    sheet = house.cover(white, patches=[p.name for p in house.patches])
    pair = (
        kit.Projector(light_output=4000, throw_ratio=1.0, resolution=(4, 3)),
        kit.Placement(position=(0.0, 4.5, 16.0), aim=(0.0, 4.5, 0.0)),
    )
    view = night_view(scene(sheet, pair), daylight_picture(house), screen_source)
    seen = base_colours(view, sheet, screen_source).patches
    for index, patch in enumerate(house.patches):
        if patch.name not in ("main wall", "gable", "front door", "bay window"):
            continue
        here = (view["patch"].values == index) & (view["illuminance"].values > 0)
        expected = reflected("D65", patch.surface)
        xyz = view["xyz"].values[here]
        np.testing.assert_allclose(xy(np.median(xyz, axis=0)), xy(expected), atol=1e-3)
        luminance = patch.surface.reflectance * float(np.median(view["white_luminance"].values[here]))
        assert np.median(xyz[:, 1]) == pytest.approx(luminance, rel=5e-3)
        # Seen as wanted, for the projector's primaries are those of the picture.
        assert seen.loc[patch.name, "seen"] == pytest.approx(seen.loc[patch.name, "wanted"], abs=2e-3)


# What becomes of a colour


def on_cloth(wall, straight, source, rgb, *, ambient=0.0, contrast=math.inf, spacing=0.25):
    front = wall(8.0, 5.0, reflectance=0.7, gain=1.5)
    around = kit.Ambient(vertical_illuminance=ambient)
    given = scene(front, straight(8.0, 5.0, sequential_contrast=contrast), ambient=around)
    view = night_view(given, even(*rgb), source, ambient_light="daylight", spacing=spacing)
    (colour,) = base_colours(view, front, source).patches.itertuples()
    return colour


@pytest.mark.published
@pytest.mark.parametrize(
    ("rgb", "uv"),
    # u'v' of the primaries of ITU-R BT.709, from their (x, y); D65 is (0.1978, 0.4683).
    [((0.5, 0, 0), (0.4507, 0.5229)), ((0, 1, 0), (0.1250, 0.5625)), ((0, 0, 0.2), (0.1754, 0.1579))],
    ids=["red", "green", "blue"],
)
def test_saturation_is_that_of_cie_15(wall, straight, screen_source, rgb, uv):
    colour = on_cloth(wall, straight, screen_source, rgb)
    expected = 13 * math.hypot(uv[0] - 0.1978, uv[1] - 0.4683)
    assert colour.wanted == pytest.approx(expected, abs=5e-3)  # four digits, times 13, and those of the matrix
    # On a grey wall in the dark it is seen as it is wanted.
    assert colour.seen == pytest.approx(expected, abs=5e-3)


@pytest.mark.property
@settings(max_examples=15)
@given(source=st.sampled_from(light_source_names()), rgb=st.tuples(*[st.floats(0.0, 1.0)] * 3))
@example(source="lamp", rgb=(0.0, 0.0, 0.0))
@example(source="lamp", rgb=(1.0, 1.0, 1.0))
def test_brightest_is_never_below_what_is_there(wall, straight, source, rgb):
    colour = on_cloth(wall, straight, light_source(source), rgb, ambient=1.0, contrast=1000.0, spacing=1.0)
    assert colour.brightest >= colour.luminance * (1 - 1e-12)
    assert colour.wanted >= 0
    # And it is what a second picture shows, with the colour turned up.
    peak = max(np.float32(rgb))
    if peak > 1e-6:
        full = np.minimum(np.float32(rgb) / peak, 1.0)
        other = on_cloth(wall, straight, light_source(source), full, ambient=1.0, contrast=1000.0, spacing=1.0)
        assert colour.brightest == pytest.approx(other.luminance, rel=1e-5)  # float32


@pytest.mark.property
@pytest.mark.parametrize("rgb", [(1.0, 0.1, 0.1), (0.1, 0.6, 0.1), (0.1, 0.1, 1.0)], ids=["red", "green", "blue"])
def test_ambient_light_and_leak_wash_colours_out(wall, straight, lamp, rgb):
    by_ambient = [on_cloth(wall, straight, lamp, rgb, ambient=lux).seen for lux in (0.0, 1.0, 5.0, 20.0, 100.0)]
    assert (np.diff(by_ambient) < -0.01).all()
    by_leak = [on_cloth(wall, straight, lamp, rgb, contrast=c).seen for c in (math.inf, 1000.0, 100.0, 20.0, 5.0)]
    assert (np.diff(by_leak) < -0.001).all()
    wanted = {on_cloth(wall, straight, lamp, rgb, ambient=lux).wanted for lux in (0.0, 100.0)}
    assert len(wanted) == 1


@pytest.mark.analytic
def test_white_wants_no_saturation_and_black_has_none(wall, straight, lamp):
    white, black = (on_cloth(wall, straight, lamp, (level,) * 3) for level in (1.0, 0.0))
    assert white.wanted == pytest.approx(0.0, abs=1e-9)
    assert white.seen == pytest.approx(0.0, abs=1e-9)
    assert white.brightest == pytest.approx(white.luminance)
    assert (black.luminance, black.wanted, black.seen) == (0.0, 0.0, 0.0)
    assert black.brightest == pytest.approx(white.luminance)


@pytest.mark.property
def test_base_colours_hardly_depend_on_the_raster(street, house, lamp):
    # Without returns and roofs: what walls send each other varies steeply. With a lens that does not fall off, for the
    # median of a bowl of light moves by half a percent with the pixels that windows leave of it.
    house = kit.Facade(tuple(patch for patch in house.patches if patch.normal[2] == 1.0))
    ((machine, place),) = street.projectors
    even = dataclasses.replace(machine, zones=None), place
    street, shown = dataclasses.replace(street, facade=house, projectors=[even]), daylight_picture(house)
    coarse, fine = (base_colours(night_view(street, shown, lamp, spacing=s), house, lamp).patches for s in (0.1, 0.05))
    for name in ("main wall", "gable", "bay"):
        for field in ("luminance", "brightest", "wanted", "seen"):
            one, two = coarse.loc[name, field], fine.loc[name, field]
            # Medians of light that varies smoothly over a large patch; at 0.15 m it is still less than 1e-4.
            assert one == pytest.approx(two, rel=2e-4), (name, field)


@pytest.mark.analytic
def test_base_colours_leave_out_what_is_dark_or_hidden(lamp):
    front = kit.Facade(
        [
            rectangle("wall", -4.0, 0.0, 8.0, 5.0),
            rectangle("far", 6.0, 0.0, 2.0, 5.0),
            rectangle("hidden", -3.0, 1.0, 1.0, 1.0, depth=-0.5),
        ]
    )
    pair = (
        kit.Projector(light_output=3000, throw_ratio=1.0, resolution=(8, 5)),
        kit.Placement(position=(0.0, 2.5, 8.0), aim=(0.0, 2.5, 0.0)),
    )
    found = base_colours(night_view(scene(front, pair), WHITE, lamp, spacing=0.1), front, lamp)
    assert list(found.frame().index) == ["wall"]
    # 0.5 x 3000 lm / 40 m2 / pi
    assert text_table(found.frame()).split("\n")[1].split() == ["wall", "11.94", "11.94", "0.00", "0.00"]
    assert found.sentence() == "The picture comes out at 12 to 12 cd/m²."
    dark = night_view(scene(front, pair), even(0.5, 0.0, 0.0), lamp, spacing=0.1)
    assert "Wall keeps least of its colour" in base_colours(dark, front, lamp).sentence()
    beside = front.cover(kit.Surface(name="black", reflectance=0.0), patches=["hidden"])
    nothing = dark.assign(illuminance=0.0 * dark["illuminance"])
    assert base_colours(nothing, beside, lamp).sentence() == "No patch of the front is lit."
    assert base_colours(nothing, beside, lamp).frame().empty


# What cannot be used


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("more", "text"),
    [
        ({"fit": "wall"}, "one of front, projector"),
        ({"ambient_light": "moon"}, "sodium street lamp"),
        ({"spacing": 0.0}, "spacing"),
        ({"extent": (0.0, 1.0)}, "extent"),
    ],
)
def test_night_view_says_what_is_right(wall, straight, lamp, more, text):
    with pytest.raises(kit.InputError, match=text):
        kit.night_view(scene(wall(), straight()), WHITE, lamp, **more)


@pytest.mark.bad_input
def test_on_screen_says_what_is_right(wall, straight, lamp):
    given = scene(wall(), straight())
    right = "expected"
    view = night_view(given, WHITE, lamp, spacing=0.5)
    for views in ([], (), [kit.light_map(given, 0.5)], [view, kit.light_map(given, 0.5)], view, [3.0], ["xyz"]):
        with pytest.raises(kit.InputError, match=right):
            on_screen(views)
    with pytest.raises(kit.InputError, match="some light"):
        on_screen([night_view(given, BLACK, lamp, spacing=0.5)])


@pytest.mark.regression
def test_the_screen_is_that_of_the_standard():
    # IEC 61966-2-1:1999, reference display: 80 cd/m2 (from memory).
    assert reference.value("constants", "white of a screen") == 80.0
