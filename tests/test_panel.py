"""The named functions behind the sliders, at both ends and at every option of each control."""

import io
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import kit

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"
WALLS = ("main wall", "bay")


@pytest.fixture(scope="module")
def house():
    return kit.load_house(HOUSES / "brick_two_storey.toml")


@pytest.fixture
def panel(house):
    return kit.ClassPanel(house, wall_patches=WALLS, spacing=0.2)


def extremes(panel):
    """The panel's first choice with each control in turn at each end, or at each option of its menu."""
    return [
        (f"{name} = {value}", replace(panel.start, **{name: value}))
        for name, values in panel.ranges().items()
        for value in values
    ]


def test_every_control_at_its_ends_gives_a_picture_or_a_plain_message(panel):
    tried = extremes(panel)
    assert len(tried) > 60
    for label, choice in tried:
        panel.picture.value = b""
        panel.show(choice)
        assert panel.message.value == "", label
        assert bytes(panel.picture.value).startswith(b"\x89PNG"), label
        text = panel.words.value + panel.numbers.value
        assert " nan" not in text.lower(), label
        assert "inf" not in text.lower(), label


def test_more_lumens_and_less_ambient_help_and_the_wall_changes_luminance_only(house):
    base = kit.Choice()

    def brick(choice):
        return kit.compare(house, choice, wall_patches=WALLS, spacing=0.2).verdicts[1].patch("main wall")

    start = brick(base)
    assert brick(replace(base, second=16000.0)).white_luminance.median == pytest.approx(
        2 * start.white_luminance.median
    )
    assert brick(replace(base, ambient=0.4)).contrast.median > start.contrast.median
    # Ground bounce rises a little with the wall's reflectance: contrast falls by less than 5 %.
    cloth = brick(replace(base, wall="white fabric"))
    assert cloth.white_luminance.median == pytest.approx(start.white_luminance.median * 0.68 / 0.188)
    assert 0.95 * start.contrast.median < cloth.contrast.median <= start.contrast.median
    # Same picture width from twice the distance with twice the throw ratio: same light on a flat wall.
    far = brick(replace(base, distance=24.0, throw_ratio=1.6))
    assert far.white_luminance.median == pytest.approx(start.white_luminance.median, rel=0.01)


def test_units_change_what_is_shown_and_nothing_else(panel):
    before = panel.result
    panel.controls["units"].value = "m"
    assert panel.controls["distance"].value == pytest.approx(12.0, abs=0.05)
    assert "distance (m)" in panel.controls["distance"].description
    np.testing.assert_allclose(
        panel.result.light["illuminance"], before.light["illuminance"], rtol=0.02, equal_nan=True
    )
    assert "m wide" in panel.words.value
    panel.controls["units"].value = "ft"
    assert "ft wide" in panel.words.value


def test_reset_brings_everything_back(panel):
    start = panel.choice
    for name, value in (("second", 12000.0), ("ambient", 5.0), ("wall", "white stucco"), ("units", "m")):
        panel.controls[name].value = value
    assert panel.choice != start
    panel.reset.click()
    assert panel.choice == start
    assert "8,000 lm" in panel.words.value


def test_a_choice_that_cannot_be_shown_keeps_the_last_picture_and_says_why(panel):
    shown = panel.picture.value
    panel.update(replace(panel.start, distance=-3.0))
    assert "This cannot be shown" in panel.message.value
    assert "position" in panel.message.value
    assert panel.picture.value == shown
    panel.update(panel.start)
    assert panel.message.value == ""


def test_an_unknown_wall_patch_is_named(house):
    with pytest.raises(kit.InputError, match="patch name"):
        kit.ClassPanel(house, wall_patches=("north wall",))


def test_drawings_label_their_axes_with_units(house):
    for units in ("ft", "m"):
        ax = kit.draw_house(house, units=units)
        assert ax.get_xlabel().endswith(f"({units})")
    comparison = kit.compare(house, kit.Choice(), wall_patches=WALLS, spacing=0.2)
    ax = kit.draw_map(comparison.maps[0], "contrast", comparison.target, units="ft")
    assert ax.get_ylabel().endswith("(ft)")
    with pytest.raises(kit.InputError, match="name"):
        kit.draw_map(comparison.maps[0], "colour", comparison.target)


def test_colour_scale_is_fixed_and_stripes_mark_the_misses(house):
    from kit.views.drawing import _colours

    comparison = kit.compare(house, kit.Choice(), wall_patches=WALLS, spacing=0.2)
    dim, bright = comparison.maps
    low, high = (kit.Target(white_luminance=limit, contrast=15) for limit in (0.001, 1000.0))
    plain = _colours(bright, "white_luminance", low)
    # Twice the light of the smaller class has the colours of the larger one: nothing rescales.
    doubled = dim.assign(white_luminance=dim["white_luminance"] * 2.0)
    np.testing.assert_array_equal(_colours(doubled, "white_luminance", low), plain)
    lit = bright["illuminance"].values > 0
    striped = (_colours(bright, "white_luminance", high) != plain).any(axis=-1)
    # Two of eight diagonals carry a stripe.
    assert 0.15 < striped[lit].mean() < 0.3
    assert not (plain[lit] != plain[lit][0]).all()


def test_the_quick_picture_holds_what_was_drawn(panel):
    from PIL import Image

    with Image.open(io.BytesIO(bytes(panel.picture.value))) as picture:
        picture.load()
        decoded = np.asarray(picture)
    np.testing.assert_array_equal(decoded, np.asarray(panel._board.canvas.buffer_rgba()))


def test_the_sliders_start_on_a_step_of_their_own(panel):
    """Else the front end rounds them at once, and the panel disagrees with the numbers in the text."""
    distance = panel.controls["distance"]
    steps = (distance.value - distance.min) / distance.step
    assert steps == pytest.approx(round(steps), abs=1e-6)
    ambient = panel.controls["ambient"]
    steps = (np.log10(ambient.value) - ambient.min) / ambient.step
    # The start has three digits, as it is shown.
    assert steps == pytest.approx(round(steps), abs=0.01)


def test_controls_answered_on_several_threads_do_not_disturb_each_other(panel):
    """Some kernels answer each control on a thread of its own; what is shown last must be what the sliders say."""

    def turn(name, values):
        for value in values:
            panel.controls[name].value = value

    jobs = (
        ("second", [9000, 12000, 7000, 10000]),
        ("ambient", [1.0, 2.0, 3.0, 4.0]),
        ("district", ["medium", "bright", "dark", "medium"]),
        ("units", ["m", "ft", "m", "ft"]),
    )
    with ThreadPoolExecutor(max_workers=len(jobs)) as pool:
        for done in [pool.submit(turn, *job) for job in jobs]:
            done.result(timeout=60)
    assert panel.result.choice == panel.choice
    assert "10,000 lm" in panel.words.value
    assert "ft wide" in panel.words.value
    assert panel._board.target == panel.result.target
