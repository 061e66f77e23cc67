"""Reflectance beside paper, light by exposure, lamps and a test shot: against charts, a path tracer and known light."""

import dataclasses
import math

import numpy as np
import pytest
from photo_renderer import Camera, encoded, exif, luminance, save

import kit
from kit import reference
from kit.bands import EDGE

SIZE = (480, 320)
PAPER = reference.value("photography", "printer paper", quantity="reflectance")
SHEET = (0.3, 0.42)  # A3 upright [m]
BRICK = (0.30, 0.17, 0.12)
LUMINOUS = np.array([0.2126, 0.7152, 0.0722])  # of linear sRGB, IEC 61966-2-1


def grey(share):
    return (share, share, share)


@pytest.fixture(scope="module")
def camera():
    return Camera((0.2, 1.5, 4.0), (0.0, 1.5, 0.0), SIZE, 28.0)


def box(camera, left, bottom, width, height):
    corners = [(left, bottom), (left + width, bottom), (left + width, bottom + height), (left, bottom + height)]
    return camera.pixels([(*corner, 0.0) for corner in corners]).tolist()


PLACES = ((-1.2, 0.7), (1.0, 0.8), (-0.2, 2.0))


@pytest.fixture
def taken(camera, tmp_path):
    """A photo of a wall with three sheets of paper in a given light, and where the sheets are."""

    def build(light, *, wall=BRICK, places=PLACES, paper=PAPER, more=(), name="a.jpg", **how):
        sheets = [(x, x + SHEET[0], y, y + SHEET[1], 0.0, grey(paper)) for x, y in places]
        panels = [(-3, 3, 0, 3, 0.0, wall), *sheets, *more]
        how = {"f_number": 2.0, "time": 1 / 160, "speed": 100.0} | how
        show = luminance(camera, panels, light, samples=1)
        codes = encoded(show, *how.values(), k=12.5)
        save(tmp_path / name, codes, exif(SIZE, **how), quality=95)
        return kit.load_photo(tmp_path / name), [box(camera, *place, *SHEET) for place in places]

    return build


def even(lux):
    return lambda at: np.full(len(at), float(lux))


def falling(at):
    """From 500 lx to 1250 lx across and up what is seen."""
    return 800.0 + 150.0 * at[:, 0] + 100.0 * (at[:, 1] - 1.5)


@pytest.fixture
def wall(camera):
    return box(camera, -0.3, 1.1, 0.8, 0.7)


def test_a_wall_in_falling_light_is_found_by_three_sheets(taken, wall):
    photo, sheets = taken(falling)
    found = kit.read_reflectance(photo, wall, sheets, name="our brick", kind="brick")
    low, value, high = found.figures["reflectance of our brick"]
    assert value == pytest.approx(LUMINOUS @ BRICK, rel=0.02)
    for channel, share in zip(("red", "green", "blue"), BRICK, strict=True):
        assert found.figures[f"in {channel} of sRGB"][1] == pytest.approx(share, rel=0.03)
    surface = found.surface
    assert (surface.low, surface.reflectance, surface.high, surface.kind) == (low, value, high, "brick")
    (row,) = found.frame().loc[["reflectance of our brick"]].to_dict("records")
    assert row["standard uncertainty"] == pytest.approx((high - low) / (2 * EDGE))
    assert 0.05 < row["standard uncertainty"] / value < 0.2
    assert "85%" in found.sentence()


@pytest.mark.parametrize(("count", "said"), [(1, "one sheet"), (2, "two sheets"), (3, "")])
def test_fewer_sheets_say_so_and_have_a_wider_band_that_holds_the_truth(taken, wall, count, said):
    photo, sheets = taken(lambda at: 800.0 + 40.0 * at[:, 0])
    found = kit.read_reflectance(photo, wall, sheets[:count], name="wall")
    low, _, high = found.figures["reflectance of wall"]
    assert low < LUMINOUS @ BRICK < high
    assert bool(said) == any("sheet shows" in note or "two sheets" in note for note in found.notes)
    three = kit.read_reflectance(photo, wall, sheets, name="wall").figures["reflectance of wall"]
    assert (high / low > three[2] / three[0]) == (count < 3)


@pytest.mark.reference
def test_patches_of_a_colour_chart_under_a_gradient_have_the_reflectance_of_their_spectra(camera, tmp_path):
    """BabelColor average of 30 charts, as colour-science carries it; D65, CIE 1931 2 degree observer."""
    import colour

    shape = colour.SpectralShape(380, 780, 5)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    daylight = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)

    def tristimulus(sd):
        return colour.sd_to_XYZ(sd.copy().align(shape), cmfs, daylight, method="Integration") / 100.0

    xyz = {name: tristimulus(sd) for name, sd in colour.SDS_COLOURCHECKERS["BabelColor Average"].items()}
    to_rgb = np.linalg.inv(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ)
    panels, places = [(-3, 3, 0, 3, 0.0, grey(0.4))], {}
    for i, (name, value) in enumerate(xyz.items()):
        x, y = -1.2 + 0.4 * (i % 6), 2.1 - 0.4 * (i // 6)
        panels.append((x, x + 0.3, y, y + 0.3, 0.0, tuple(np.maximum(to_rgb @ value, 0.0))))
        places[name] = box(camera, x, y, 0.3, 0.3)
    white = next(name for name in xyz if name.startswith("white"))
    papers = [(-1.6, 0.75), (1.25, 0.8), (-1.6, 2.2), (1.25, 2.2)]
    sheet = reference.value("photography", "white of a colour chart", quantity="reflectance")
    panels += [(x, x + 0.25, y, y + 0.25, 0.0, grey(sheet)) for x, y in papers]
    codes = encoded(luminance(camera, panels, falling, samples=1), 2.0, 1 / 160, 100.0, k=12.5, bits=16)
    import cv2

    cv2.imwrite(str(tmp_path / "a.png"), codes[..., ::-1])
    photo = kit.load_photo(tmp_path / "a.png")
    sheets = [box(camera, *place, 0.25, 0.25) for place in papers]
    for name, value in xyz.items():
        outside = (to_rgb @ value).min() < 0.0  # cyan: sRGB does not hold it, so red is cut off
        found = kit.read_reflectance(photo, places[name], sheets, name="patch", sheet="white of a colour chart")
        near = 0.08 if outside else 0.01
        assert found.figures["reflectance of patch"][1] == pytest.approx(value[1], rel=near), name
        if found.surface.spectrum and not outside:
            spectrum = found.surface.spectrum
            sd = colour.SpectralDistribution(dict(zip(spectrum.wavelengths, spectrum.values, strict=True)))
            np.testing.assert_allclose(tristimulus(sd), value, atol=0.004, rtol=0.02, err_msg=name)
    assert xyz[white][1] == pytest.approx(sheet, abs=0.01)


@pytest.mark.reference
def test_walls_that_light_each_other_are_found_as_a_path_tracer_shows_them(tmp_path):
    """Mitsuba, up to 8 bounces between wall, ground and a white side wall: light is far from even, and coloured."""
    from reference_renderer import _mitsuba

    size = (240, 160)
    camera = Camera((0.2, 1.5, 4.0), (0.0, 1.5, 0.0), size, 28.0)
    mi = _mitsuba("scalar_rgb")
    at = mi.ScalarTransform4f

    def panel(middle, half, rgb, turn=None):
        place = at().translate(list(middle)) @ (turn or at()) @ at().scale([*half, 1.0])
        bsdf = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": list(rgb)}}}
        return {"type": "rectangle", "to_world": place, "bsdf": bsdf}

    places = [(-0.9, 1.2), (0.7, 1.2), (-0.1, 2.0), (-0.1, 0.7)]
    scene = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 8},
        "wall": panel((0, 1.5, 0), (3, 1.5), BRICK),
        "ground": panel((0, 0, 3), (3, 3), grey(0.3), at().rotate([1, 0, 0], -90)),
        "side": panel((-1.8, 1.5, 1.5), (1.5, 1.5), grey(0.8), at().rotate([0, 1, 0], 90)),
        "lamp": {"type": "point", "position": [1.0, 3.0, 6.0], "intensity": {"type": "rgb", "value": 12000.0}},
        "sensor": {
            "type": "perspective", "fov_axis": "x",
            "fov": math.degrees(2 * math.atan(size[0] / 2 / camera.scale)),
            "to_world": at().look_at(origin=list(camera.position), target=[0, 1.5, 0], up=[0, 1, 0]),
            "film": {"type": "hdrfilm", "width": size[0], "height": size[1], "rfilter": {"type": "box"}},
            "sampler": {"type": "independent", "sample_count": 24},
        },
    }  # fmt: skip
    for i, (x, y) in enumerate(places):
        scene[f"sheet {i}"] = panel((x + 0.15, y + 0.21, 0.002), (0.15, 0.21), grey(PAPER))
    image = np.array(mi.render(mi.load_dict(scene)))[..., :3]
    save(tmp_path / "a.png", encoded(image, 2.0, 1 / 160, 100.0, k=12.5))
    photo = kit.load_photo(tmp_path / "a.png")
    sheets = [box(camera, *place, *SHEET) for place in places]
    found = kit.read_reflectance(photo, box(camera, -0.35, 1.2, 0.9, 0.6), sheets, name="wall")
    # 10% is what is asked of a measurement with paper; here 2% are noise of paths, 1% codes.
    assert found.figures["reflectance of wall"][1] == pytest.approx(LUMINOUS @ BRICK, rel=0.05)


def test_a_linear_file_has_no_curve_to_doubt(taken, wall):
    photo, sheets = taken(even(800))
    bent, straight = (
        kit.read_reflectance(one, wall, sheets, name="wall").figures["reflectance of wall"]
        for one in (photo, dataclasses.replace(photo, linear=True))
    )
    assert straight[2] / straight[0] < bent[2] / bent[0]
    paper = reference.row("photography", "printer paper")
    assert straight[0] / straight[1] == pytest.approx(paper.low / paper.value, abs=0.02)


@pytest.mark.bad_input
def test_a_sheet_in_shadow_across_its_edge_or_clipped_is_refused(taken, wall, camera):
    shade = lambda at: np.where(at[:, 0] < -0.7, 200.0, 800.0)  # noqa: E731
    photo, sheets = taken(shade)
    with pytest.raises(kit.InputError, match=r"sheets 1 = .*in the same light as the others"):
        kit.read_reflectance(photo, wall, sheets, name="wall")
    across = lambda at: np.where(at[:, 0] < -1.05, 200.0, 800.0)  # noqa: E731
    photo, sheets = taken(across)
    with pytest.raises(kit.InputError, match=r"sheets 1 = .*none of it in shadow"):
        kit.read_reflectance(photo, wall, sheets, name="wall")
    photo, sheets = taken(even(800), time=1 / 8)
    with pytest.raises(kit.InputError, match="sheets 1 = 'clipped"):
        kit.read_reflectance(photo, wall, sheets, name="wall")
    spot = (-0.2, 2.0)
    lit = lambda at: np.where((abs(at[:, 0] - 0.0) < 0.4) & (at[:, 1] > 1.9), 550.0, 800.0)  # noqa: E731
    photo, sheets = taken(lit, places=(*PLACES, (-1.2, 2.0), (1.0, 2.0)))
    assert spot in PLACES
    with pytest.raises(kit.InputError, match=r"sheets 3 = .*falls off evenly"):
        kit.read_reflectance(photo, wall, sheets, name="wall")


@pytest.mark.bad_input
def test_a_wall_as_bright_as_all_light_or_far_from_the_sheets_is_refused(taken, wall, camera):
    photo, sheets = taken(even(800), paper=0.3, wall=grey(0.6))
    with pytest.raises(kit.InputError, match=r"wall = '(1.9|2.0)\d of the paper'"):
        kit.read_reflectance(photo, wall, sheets, name="wall")
    near = ((-1.3, 1.0), (-0.95, 1.0), (-1.3, 1.5))
    photo, sheets = taken(even(800), places=near)
    with pytest.raises(kit.InputError, match="between the sheets"):
        kit.read_reflectance(photo, box(camera, 1.0, 0.6, 0.5, 0.5), sheets, name="wall")
    with pytest.raises(kit.InputError, match="at least one"):
        kit.read_reflectance(photo, wall, [], name="wall")
    with pytest.raises(kit.InputError, match="sheet = 'card'"):
        kit.read_reflectance(photo, wall, sheets, name="wall", sheet="card")


NIGHT = {"f_number": 1.8, "time": 1.0, "speed": 800.0}


def surface(share, low=None, high=None):
    return kit.Surface(name="wall", reflectance=share, low=low, high=high)


def test_the_light_of_the_street_is_found_by_an_exposure(taken, wall):
    photo, _ = taken(even(0.6), wall=grey(0.3), **NIGHT)
    found = kit.read_ambient(photo, surface(0.3), wall)
    low, value, high = found.figures["light on the wall [lx]"]
    assert value == pytest.approx(0.6, rel=0.02)
    assert found.figures["luminance of the wall [cd/m²]"][1] == pytest.approx(0.6 * 0.3 / math.pi, rel=0.02)
    # K, speed and meter: at least a third of a stop for K and speed each, in quadrature.
    assert value / low > 2 ** math.hypot(1 / 3, 1 / 3) * 0.97
    assert high / value > 2 ** math.hypot(1 / 3, 1 / 3) * 0.97
    (reading,) = found.readings
    assert (reading.of, reading.value) == ("ambient light", value)
    assert reading.doubt == (low / value, high / value)
    wider = kit.read_ambient(photo, surface(0.3, 0.2, 0.45), wall).figures["light on the wall [lx]"]
    assert wider[2] / wider[0] > high / low


def test_another_constant_of_the_camera_is_within_the_band(camera, tmp_path, wall):
    show = luminance(camera, [(-3, 3, 0, 3, 0.0, grey(0.3))], even(0.6), samples=1)
    for k in (10.6, 13.4, 14.0):
        save(tmp_path / "a.jpg", encoded(show, 1.8, 1.0, 800.0, k=k), exif(SIZE, 1.8, 1.0, 800))
        low, value, high = kit.read_ambient(kit.load_photo(tmp_path / "a.jpg"), surface(0.3), wall).figures[
            "light on the wall [lx]"
        ]
        assert low < 0.6 < high
        assert abs(math.log2(value / 0.6)) < 1 / 3


@pytest.mark.analytic
@pytest.mark.parametrize("bias", [-2.0, 0.0, 1.0])
def test_an_exposure_typed_by_hand_counts_its_bias(bias):
    exposure = kit.Exposure(f_number=2.0, time=0.5, speed=1600, bias=bias)
    found = kit.read_ambient(exposure, surface(0.5)).figures
    expected = 12.5 * 4.0 / (0.5 * 1600) * 2**bias
    assert found["luminance of the wall [cd/m²]"][1] == pytest.approx(expected, rel=1e-12)
    assert found["light on the wall [lx]"][1] == pytest.approx(math.pi * expected / 0.5, rel=1e-12)


def test_photos_without_each_lamp_give_its_share(taken, wall):
    lit, porch, street = (
        taken(even(lux), wall=grey(0.3), name=f"{lux}.jpg", **how)[0]
        for lux, how in ((2.0, NIGHT | {"time": 0.25}), (0.5, NIGHT), (1.7, NIGHT | {"time": 0.3}))
    )
    found = kit.read_ambient(lit, surface(0.3), wall, without={"porch": porch, "street": street})
    assert found.figures["share of porch"][1] == pytest.approx(0.75, abs=0.01)
    assert found.figures["share of street"][1] == pytest.approx(0.15, abs=0.015)
    assert found.figures["light without these lamps [lx]"][1] == pytest.approx(0.2, rel=0.15)
    assert [reading.of for reading in found.readings] == ["ambient light", "lamps"]
    assert found.readings[1].value == pytest.approx(1.8, rel=0.03)
    low, _, high = found.figures["share of street"]
    assert high - low < 0.1  # K and speed cancel
    with pytest.raises(kit.InputError, match=r"without 'porch' = '.*swapped"):
        kit.read_ambient(porch, surface(0.3), wall, without={"porch": lit})


def test_a_test_shot_says_what_of_the_lumens_arrives(taken, camera):
    """3000 lm stated, 60% of them even over 4 m x 2.5 m: 180 lx; black 1/200 of it, and 0.4 lx of the street."""
    area, arriving = 10.0, 180.0
    white, sheets = taken(even(arriving + 0.4), name="white.jpg", time=1 / 30)
    black, _ = taken(even(arriving / 200 + 0.4), name="black.jpg", time=4.0, speed=125.0)
    wall = surface(0.2, 0.16, 0.25)
    given = {"lumens": 3000.0, "area": area, "distance": 5.0}
    found = kit.read_shot(white, black, sheets, wall, **given)
    share = found.figures["share of the stated lumens that arrives"]
    assert share[1] == pytest.approx(0.6, rel=0.03)
    assert share[0] < 0.6 < share[2]
    assert found.figures["black over white"][1] == pytest.approx(1.3 / 180.4, rel=0.05)
    per_thousand = found.figures["white of 1,000 lm [cd/m²]"][1]
    assert per_thousand == pytest.approx(1000 * 0.6 / area * 0.2 / math.pi, rel=0.03)
    (reading,) = found.readings
    assert reading.amount == pytest.approx(180 * 25.0, rel=0.03)
    for wrong, said in (({"lumens": 0.0}, "lumens"), ({"area": -1.0}, "area"), ({"distance": 0.0}, "distance")):
        with pytest.raises(kit.InputError, match=said):
            kit.read_shot(white, black, sheets, wall, **given | wrong)
    with pytest.raises(kit.InputError, match="swapped"):
        kit.read_shot(black, white, sheets, wall, **given)


def test_readings_change_verdict_and_show(taken, wall, straight):
    photo, sheets = taken(falling)
    paper = kit.read_reflectance(photo, wall, sheets, name="red brick", kind="brick")
    dark, _ = taken(even(0.6), name="night.jpg", **NIGHT)
    night = kit.read_ambient(dark, paper.surface, wall)
    show = kit.open_show("notebooks/houses/brick_two_storey.toml")
    readings = (*paper.readings, *night.readings)
    scene = show.scene([show.aimed(show.machine)], show.light(show.even))
    measured = kit.with_measurement(scene, readings, spacing=0.4)
    now = show.measured(*readings)
    assert now.ambient == night.readings[0].value
    assert now.ambient_band == pytest.approx(night.figures["light on the wall [lx]"][::2])
    brick = now.house.patch("main wall").surface
    told = brick.low, brick.reflectance, brick.high
    assert told == pytest.approx(paper.figures["reflectance of red brick"])
    again = now.scene([now.aimed(now.machine)], now.light(now.even))
    assert again.doubt == measured.scene.doubt
    assert again.ambient == measured.scene.ambient
    assert again.facade.patch("main wall").surface == measured.scene.facade.patch("main wall").surface


def test_what_was_measured_stands_in_the_show_file(tmp_path):
    reading = kit.Reading(of="ambient light", value=0.4, doubt=(0.7, 1.5))
    show = kit.open_show("notebooks/houses/brick_two_storey.toml").measured(reading)
    again = kit.open_show(kit.save_show(show, tmp_path / "my_show.toml"))
    assert (again.ambient, again.ambient_band) == (0.4, pytest.approx((0.28, 0.6)))
    assert again.chosen(kit.Choice(ambient=2.0).on(again)).ambient_band is None
    assert again.chosen(kit.Choice().on(again)).ambient_band
    with pytest.raises(kit.InputError, match="ambient_band"):
        dataclasses.replace(show, ambient_band=(0.5, 0.6))
    with pytest.raises(kit.InputError, match="readings: of = 'lamps'"):
        show.measured(kit.Reading(of="lamps", value=1.0))
    with pytest.raises(kit.InputError, match="surface = 'x'"):
        show.measured(kit.Reading(of="reflectance", value=1, against=4, surface="x"))
    assert show.measured(kit.Reading(of="ambient light", value=0.0)).ambient_band is None
