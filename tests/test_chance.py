"""The chance that it is enough: draws, counts and indices against brute force and against closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

import kit
from kit.bands import drawn, drawn_share, normal_draws
from kit.decision.chance import Trials, indices
from kit.source.projector import Factor

# Of the standard normal distribution, where one in twenty lies above: from memory of any table.
EDGE = 1.644854
DRAWS = 128


def by_band(z, low, nominal, high):
    """A lognormal in two pieces, written anew."""
    return nominal * math.exp(abs(z) / EDGE * math.log((low if z < 0 else high) / nominal))


def odds(share):
    return share / (1 - share)


SIDING = kit.Surface(name="siding", reflectance=0.5, low=0.35, high=0.62)
BRICK = kit.Surface(name="brick", reflectance=0.2, low=0.12, high=0.26)
SCREEN = kit.Surface(name="screen", reflectance=0.7, low=0.6, high=0.8, gain=1.3)


def front(*surfaces):
    """Strips of 8 m x 2 m, one above the other; the first one stands 1 m in front of the others."""
    outlines = [[(-4, 2 * i, z), (4, 2 * i, z), (4, 2 * i + 2, z), (-4, 2 * i + 2, z)] for i, z in enumerate((1, 0, 0))]
    return kit.Facade([kit.Patch(s.name + str(i), outlines[i], s) for i, s in enumerate(surfaces)])


def chain(*names):
    bands = {"rating": (0.8, 0.9, 1.0), "lens: wide": (0.95, 1.0, 1.0), "lens: long": (0.65, 0.8, 0.9)}
    return tuple(
        Factor(name=name, low=low, nominal=nominal, high=high, source="a meter")
        for name, (low, nominal, high) in bands.items()
        if name in names
    )


def lamp(name, x):
    return replace(kit.typical_luminaire("porch light", position=(x, 2.2, 2.0)), name=name)


def machine(x, *, lumens=6000.0, losses=("rating",), wide=10.0, sequential=800.0, checkerboard=200.0):
    place = kit.Placement(position=(x, 3.0, 9.0), aim=(0.6 * x, 3.0, 0.0))
    projector = kit.Projector(
        light_output=lumens, throw_ratio=9.0 / wide, sequential_contrast=sequential,
        checkerboard_contrast=checkerboard, chain=chain(*losses),
    )  # fmt: skip
    return projector, place


SITE = kit.Site(latitude=42.0, longitude=-88.0, timezone="America/Chicago", facing=180.0)
SCENES = {
    "one machine, even light, glare, a lawn": kit.Scene(
        facade=front(SIDING, BRICK, SIDING),
        projectors=[machine(1.0)],
        ambient=kit.Ambient(vertical_illuminance=1.5, glare=[kit.Glare(illuminance=0.3, angle=12.0)]),
        ground_reflectance=0.3,
    ),
    "two machines blended, of different lenses, under a sky": kit.Scene(
        facade=front(BRICK, SIDING),
        projectors=[
            machine(-2.5, wide=8.0, lumens=2500.0, losses=("rating", "lens: wide")),
            machine(2.5, wide=8.0, lumens=2500.0, losses=("rating", "lens: long"), checkerboard=None),
        ],
        ambient=kit.Ambient(
            vertical_illuminance=0.2,
            sky=SITE.sky("2026-12-05 16:51"),
            eye=(0.0, 1.6, 15.0),
        ),
        blend=True,
    ),
    "a screen, two lamps and a machine to the left": kit.Scene(
        facade=front(SIDING, SCREEN, BRICK),
        projectors=[machine(-3.0, losses=())],
        ambient=kit.Ambient(lamps=[lamp("porch", -3.0), lamp("garage", 3.0)], eye=(0.0, 1.6, 15.0), age=60),
        average_picture_level=0.6,
    ),
}  # fmt: skip
TARGETS = [
    kit.Target(white_luminance=3.0, contrast=20.0),
    kit.Target(white_luminance=6.0, contrast=10.0, share=0.5, confidence=0.75),
    kit.Target(white_luminance=3.0, contrast=13.0, share=0.6),
]


def in_draw(scene, z):
    """The scene in which everything is as it is drawn; `z` are normal numbers by name of the input."""
    bands = {spec: scene.doubt.of(spec) for spec in z if not spec.startswith(("loss", "reflectance"))}
    factor = {name: by_band(z[name], low, 1.0, high) for name, (low, high) in bands.items()}

    def surface(one):
        ends = (odds(share) for share in (one.low, one.reflectance, one.high))
        found = by_band(z[f"reflectance of {one.name}"], *ends)
        rho = found / (1 + found)
        return replace(one, reflectance=rho, low=None, high=None)

    def projector(one):
        light = one.light_output / factor["picture width"] ** 2
        for loss in one.chain:
            light *= by_band(z[f"loss: {loss.name.split(':')[0]}"], loss.low, loss.nominal, loss.high)
        sequential = one.sequential_contrast * factor["sequential contrast"]
        checkerboard = one.checkerboard_contrast
        if checkerboard is not None:
            checkerboard = min(checkerboard * factor["checkerboard contrast"], sequential)
        return replace(
            one, light_output=light, sequential_contrast=sequential, checkerboard_contrast=checkerboard, chain=()
        )

    patches = [replace(patch, surface=surface(patch.surface)) for patch in scene.facade.patches]
    return replace(
        scene,
        facade=kit.Facade(patches),
        projectors=[(projector(one), place) for one, place in scene.projectors],
        average_picture_level=min(1.0, scene.average_picture_level * factor["average picture level"]),
    ), factor


def counted(scene, factor, target):
    """Judge a drawn scene by its map: which parts are good on enough of their area."""
    light = kit.light_map(scene, 0.25)
    lux = sum(factor[name] * light["ambient_illuminance"].sel(source=name).values for name in light["source"].values)
    veil = sum(factor[name] * light["veiling_luminance"].sel(source=name).values for name in light["source"].values)
    rest = light["reflectance"].values * lux / math.pi + veil
    white, black = light["white_luminance"].values, light["black_luminance"].values
    good = (white >= target.white_luminance) & (white + rest >= target.contrast * (black + rest))
    patch, names = light["patch"].values, light["surface_name"].values
    parts = [patch >= 0] + [(patch >= 0) & (names[patch] == name) for name in dict.fromkeys(names.tolist())]
    parts += [patch == i for i in range(len(names))]
    return [good[part].mean() >= target.share - 1e-9 for part in parts]


@pytest.mark.analytic
@pytest.mark.parametrize("case", SCENES)
def test_the_chance_is_the_share_of_draws_in_which_a_whole_map_is_good(case):
    scene = SCENES[case]
    light = kit.light_map(scene, 0.25)
    inputs = Trials(light).inputs
    normal = normal_draws(len(inputs), DRAWS)
    drawn_scenes = [in_draw(scene, dict(zip(inputs, column.tolist(), strict=True))) for column in normal.T]
    chances = set()
    for target in TARGETS:
        verdict = kit.judge(light, target, draws=DRAWS)
        brute = np.mean([counted(*one, target) for one in drawn_scenes], axis=0)
        parts = (verdict.front, *verdict.surfaces, *verdict.patches)
        # Every draw alike: the same points are good.
        assert [part.chance for part in parts] == brute.tolist()
        chances |= {part.chance for part in parts}
    assert len(chances) > 4
    assert min(chances) < 0.5 < max(chances)


@pytest.mark.analytic
@pytest.mark.parametrize("case", SCENES)
def test_with_nothing_in_doubt_the_draws_are_the_map(case):
    light = kit.light_map(SCENES[case], 0.25)
    trials = Trials(light)
    point = np.arange(0, trials.points.seen.size, 7)
    white, black, around = (v[0] for v in trials.luminances(trials.draws(np.zeros((len(trials.inputs), 1))), point))
    at = trials.points.seen[point]
    # Rounding only.
    np.testing.assert_allclose(white, light["white_luminance"].values.ravel()[at], rtol=1e-12)
    np.testing.assert_allclose(black, light["black_luminance"].values.ravel()[at], rtol=1e-12)
    np.testing.assert_allclose((white + around) / (black + around), light["contrast"].values.ravel()[at], rtol=1e-12)


CERTAIN = kit.Doubt(**dict.fromkeys(
    ("sequential_contrast", "checkerboard_contrast", "picture_level", "picture_width", "even_light", "lamps",
     "twilight", "sky_glow", "moon"), (1.0, 1.0),
))  # fmt: skip


@pytest.mark.analytic
def test_the_chance_of_an_even_wall_is_that_of_its_losses_in_closed_form(wall, straight):
    """Two losses whose bands are even in the logarithm: their product is lognormal, and so is white."""
    losses = [
        Factor(name=name, low=nominal / spread, nominal=nominal, high=nominal * spread, source="a meter")
        for name, nominal, spread in (("rating", 0.8, 1.2), ("lens", 0.7, 1.1))
    ]
    scene = kit.Scene(facade=wall(), projectors=[straight(lumens=4000.0, chain=losses)], doubt=CERTAIN)
    light = kit.light_map(scene, 0.25)
    white = 4000 * 0.8 * 0.7 / 40 * 0.5 / math.pi
    sigma = math.hypot(math.log(1.2), math.log(1.1)) / EDGE
    for ratio in (0.8, 0.9, 0.95, 1.0, 1.08, 1.2):
        expected = 1 - ndtr(math.log(ratio) / sigma)
        # Half of what as many independent draws scatter: 0.011 for 2,048, 0.0019 for 65,536.
        for draws, scatter in ((2048, 0.011), (1 << 16, 0.0019)):
            verdict = kit.judge(light, kit.Target(white_luminance=ratio * white), draws=draws)
            assert verdict.chance == pytest.approx(expected, abs=0.5 * scatter)
    figure = kit.judge(light).front.white_luminance
    assert figure.low == pytest.approx(white * math.exp(-EDGE * sigma), rel=3e-3)
    assert figure.high == pytest.approx(white * math.exp(EDGE * sigma), rel=3e-3)


@pytest.mark.published
@pytest.mark.parametrize(("half_widths", "interval"), [
    ((1, 1, 1, 1), 3.88),  # four rectangular distributions of standard deviation 1: JCGM 101:2008, 9.2.3 (from memory)
    ((1, 1, 1, 10), 17.0),  # one of them ten times as wide: 9.2.4 (from memory)
])  # fmt: skip
def test_sums_of_rectangular_distributions_have_the_intervals_of_the_guide(half_widths, interval):
    even = 2 * ndtr(normal_draws(4, 1 << 14)) - 1
    total = math.sqrt(3) * (np.array(half_widths) @ even)
    # Printed to three digits.
    assert np.quantile(total, [0.025, 0.975]) == pytest.approx([-interval, interval], abs=0.006 * interval)


@pytest.mark.published
def test_the_function_of_ishigami_has_its_known_indices():
    # T. Ishigami and T. Homma, Proc. ISUMA '90 (1990) 398 (from memory), a = 7, b = 0.1: in closed form below.
    a, b = 7.0, 0.1
    parts = (1 + b * math.pi**4 / 5) ** 2 / 2, a**2 / 8, 8 * b**2 * math.pi**8 / 225
    first, total = (parts[0], parts[1], 0.0), (parts[0] + parts[2], parts[1], parts[2])

    def ishigami(normal):
        x, y, z = math.pi * (2 * ndtr(normal) - 1)
        return np.sin(x) + a * np.sin(y) ** 2 + b * z**4 * np.sin(x)

    found = indices(ishigami, 3, [[0], [1], [2]], draws=1 << 13)
    # The spread of such estimates over as many draws.
    np.testing.assert_allclose(found[0], np.array(first) / sum(parts), atol=0.01)
    np.testing.assert_allclose(found[1], np.array(total) / sum(parts), atol=0.01)
    together = indices(ishigami, 3, [[0, 2], [1]], draws=1 << 13)
    np.testing.assert_allclose(together[0], [1 - parts[1] / sum(parts), parts[1] / sum(parts)], atol=0.01)


@pytest.mark.analytic
def test_low_and_high_are_one_case_in_twenty_and_nominal_is_the_median():
    normal = normal_draws(2, 1 << 14)
    for draw, band in ((drawn, (0.2, 0.9, 1.4)), (drawn_share, (0.3, 0.6, 0.65)), (drawn_share, (0.02, 0.5, 0.99))):
        found = draw(normal[1], *band)
        # A sequence in one dimension is as even as can be.
        assert np.quantile(found, [0.05, 0.5, 0.95]) == pytest.approx(band, rel=2e-3)
    shares = drawn_share(
        8 * normal[0], [[0.0], [0.4], [0.0], [0.3]], [[0.5], [0.9], [0.0], [1.0]], [[1.0], [1.0], [0.3], [1.0]]
    )
    assert shares.min() >= 0
    assert shares.max() <= 1
    assert (shares[2] == 0).all()
    assert (shares[3] == 1).all()
    assert drawn(0.0, 0.0, 0.0, 1.0) == 0


@pytest.mark.property
def test_draws_are_the_same_each_time_and_one_more_input_leaves_the_others():
    np.testing.assert_array_equal(normal_draws(5, 256), normal_draws(9, 256)[:5])
    assert abs(np.corrcoef(normal_draws(9, 2048)) - np.eye(9)).max() < 0.06
    assert normal_draws(70, 64).shape == (70, 64)
    assert ndtri(0.95) == pytest.approx(EDGE, abs=1e-6)


@pytest.mark.analytic
def test_what_does_not_vary_has_no_indices():
    first, total = indices(lambda normal: np.ones(normal.shape[1]), 2, [[0], [1]])
    assert np.isnan(first).all()
    assert np.isnan(total).all()
    assert first.shape == total.shape == (2,)


@pytest.mark.property
def test_what_a_part_stands_of_a_light_is_where_its_chance_turns():
    """Of light that comes evenly: a little less than what a draw stands is enough in it, a little more is not."""
    trials = Trials(kit.light_map(SCENES["a screen, two lamps and a machine to the left"], 0.5))
    target, some = kit.Target(white_luminance=3.0, contrast=13.0, share=0.6), trials.many(DRAWS)
    runs = [slice(0, trials.points.seen.size), *(run for _, run in trials.points.surfaces)]
    room = trials.room(target, some, some._replace(even=some.even + 1.0), runs)
    assert room.shape == (2, DRAWS, len(runs))
    for i, run in enumerate(runs):
        for which, stands in zip((0, 2), room[:, :, i], strict=True):
            between = np.isfinite(stands) & (stands > 1e-6)
            less, more = (
                trials.enough(
                    some._replace(even=some.even + times * np.where(between, stands, 0.0)),
                    target,
                    trials.within(run),
                    alone=True,
                )
                for times in (1 - 1e-9, 1 + 1e-9)
            )
            assert less[which][between].all()
            assert not more[which][between].any()
            none = trials.enough(some, target, trials.within(run), alone=True)[which]
            assert (none == (stands >= 0.0)).all()
    assert between.any()
