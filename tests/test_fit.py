"""The picture that just holds a front: nothing of it is left out, and nothing smaller would do."""

from dataclasses import replace

import numpy as np
import pytest
from fronts import random_front
from hypothesis import given
from hypothesis import strategies as st
from panels import FRONTS, demo

import kit
import sliders
from kit.stage.aim import LOW, fitting_distance, fitting_throw_ratio, usual_shift

ASPECTS = st.sampled_from([1.6, 16 / 9, 4 / 3])
NAMES = [path.stem for path in FRONTS]


def corners(house):
    """The corners of what is judged and seen, shape (n, 3)."""
    return np.concatenate([patch.rings[0] for patch in house.patches if patch.judged and patch.faces_audience])


def beyond(house, distance, ratio, *, x, height, shift_up, aspect):
    """How far out of the picture the outermost corner lies, in half pictures: 1 on the edge; the strip below apart.

    By the beam of the machine itself, which knows nothing of the fit.
    """
    columns = 16_000
    machine = kit.Projector(
        light_output=1000, throw_ratio=ratio, resolution=(columns, round(columns / aspect)), lens_shift=(0.0, shift_up)
    )
    place = kit.Placement(position=(x, height, distance), aim=(x, height, 0.0))
    points = corners(house)
    bottom, top = points[:, 1].min(), points[:, 1].max()
    if height - bottom <= LOW * (top - bottom):
        points = points[points[:, 1] >= height]
    at = kit.Beam.of(machine, place).on(points)
    across, down = (np.asarray(v) / n for v, n in ((at.column, columns), (at.row, round(columns / aspect))))
    return float(max(np.abs(2 * across - 1).max(), np.abs(2 * down - 1).max()))


@pytest.mark.property
@given(
    seed=st.integers(0, 10**6),
    x=st.floats(-2.0, 2.0),
    height=st.floats(0.1, 4.0),
    shift=st.floats(0.0, 0.45),
    aspect=ASPECTS,
    ratio=st.floats(0.4, 2.0),
)
def test_the_picture_holds_every_corner_and_is_the_smallest_that_does(seed, x, height, shift, aspect, ratio):
    house = random_front(seed)
    lens = {"x": x, "height": height, "shift_up": shift, "aspect": aspect}
    distance = fitting_distance(house, ratio, **lens)
    zoom = fitting_throw_ratio(house, distance, **lens)
    # To a tenth of a picture element of the finest machine there is.
    assert beyond(house, distance, ratio, **lens) == pytest.approx(1.0, abs=1e-4)
    assert beyond(house, distance, zoom, **lens) == pytest.approx(1.0, abs=1e-4)
    assert zoom == pytest.approx(ratio, rel=1e-9)
    assert beyond(house, 0.99 * distance, ratio, **lens) > 1.001
    assert beyond(house, distance, 1.01 * ratio, **lens) > 1.001
    assert beyond(house, 1.01 * distance, ratio, **lens) < 1.0
    assert beyond(house, distance, 0.99 * ratio, **lens) < 1.0


@pytest.mark.property
@given(width=st.floats(3.0, 16.0), high=st.floats(2.5, 12.0), share=st.floats(LOW + 0.01, 1.2), aspect=ASPECTS)
def test_no_shift_of_a_usual_lens_makes_a_smaller_picture_of_a_flat_front(wall, width, high, share, aspect):
    """Of a whole one, that is: a lens near the ground leaves the strip below itself, and may leave more of it."""
    house, height = wall(width, high), share * high
    shift = usual_shift(house, height=height, aspect=aspect)
    assert 0.0 <= shift <= 0.5

    def needed(shift):
        return fitting_distance(house, 1.0, x=0.0, height=height, shift_up=shift, aspect=aspect)

    for other in np.linspace(0.0, 0.499, 30):
        assert needed(min(shift, 0.499)) <= 1.002 * needed(other), other


@pytest.mark.analytic
def test_a_flat_front_by_hand(wall):
    lens = {"x": 0.0, "height": 0.0, "shift_up": 0.5, "aspect": 1.6}
    # 8 m wide and 4 m high: a picture of 8 m x 5 m holds it, 8 m away at 1:1, 12 m at 1.5:1.
    assert fitting_distance(wall(8.0, 4.0), 1.0, **lens) == pytest.approx(8.0)
    assert fitting_distance(wall(8.0, 4.0), 1.5, **lens) == pytest.approx(12.0)
    assert fitting_throw_ratio(wall(8.0, 4.0), 10.0, **lens) == pytest.approx(1.25)
    # 8 m x 10 m takes 16 m x 10 m; 2 m to the side, 8 m takes 12 m.
    assert fitting_distance(wall(8.0, 10.0), 1.0, **lens) == pytest.approx(16.0)
    assert fitting_distance(wall(8.0, 4.0), 1.0, **lens | {"x": 2.0}) == pytest.approx(12.0)
    assert usual_shift(wall(8.0, 5.0), height=2.5, aspect=1.6) == 0.0
    assert usual_shift(wall(8.0, 5.0), height=1.25, aspect=1.6) == pytest.approx(0.25)


@pytest.mark.parametrize("front", NAMES)
@pytest.mark.parametrize(("label", "name"), [("Fit by moving", "distance"), ("Fit by zooming", "throw_ratio")])
def test_the_buttons_fit_the_picture_and_leave_the_rest_alone(front, label, name):
    show = kit.open_show(FRONTS[NAMES.index(front)])
    panel = sliders.ClassPanel(show, spacing=0.4)
    panel.show(replace(panel.start, first_distance=25.0, second_distance=17.0, second_throw_ratio=1.1))
    before = panel.choice
    (button,) = [one for one in panel.buttons if one.description == label]
    button.click()
    assert panel.parts["message"].value == ""
    changed = {field for field in vars(before) if getattr(before, field) != getattr(panel.choice, field)}
    assert changed <= {f"first_{name}", f"second_{name}"}
    assert changed
    assert panel.result.choice == panel.choice
    for machine, place in panel.result.machines:
        lens = {"shift_up": machine.lens_shift[1], "aspect": machine.aspect}
        x, height, distance = place.position
        ratio = machine.fixed_throw_ratio()
        assert beyond(show.house, distance, ratio, x=x, height=height, **lens) == pytest.approx(1.0, abs=1e-3)


def test_the_buttons_fit_the_one_machine_of_the_other_pages_where_it_stands():
    show = demo()
    evening = sliders.EveningPanel(show, season=("2026-12-01", "2026-12-10"), spacing=0.6)
    for panel in (sliders.StandPanel(show, spacing=0.4), sliders.ClothPanel(show, spacing=0.4), evening):
        where = {"side": 2.0, "height": 2.5, "shift_up": 0.1} if hasattr(panel.start, "side") else {}
        panel.show(replace(panel.start, distance=25.0, **where))
        panel.buttons[0].click()
        machine, place = panel.result.scene.projectors[0]
        x, height, distance = place.position
        assert x == where.get("side", 0.0)
        lens = {"x": x, "height": height, "shift_up": machine.lens_shift[1], "aspect": machine.aspect}
        assert beyond(show.house, distance, machine.fixed_throw_ratio(), **lens) == pytest.approx(1.0, abs=1e-3)


@pytest.mark.bad_input
def test_a_lens_that_cannot_hold_the_front_says_so(wall):
    lens = {"x": 0.0, "height": 2.0, "shift_up": 0.6, "aspect": 1.6}
    # The picture begins above the lens, and part of the front lies below it.
    with pytest.raises(kit.InputError, match=r"lens shift up = 0.6: expected one with which the picture reaches"):
        fitting_distance(wall(8.0, 5.0), 1.0, **lens)
    with pytest.raises(kit.InputError, match=r"distance = -1.0: expected more than the 0.00 m"):
        fitting_throw_ratio(wall(8.0, 5.0), -1.0, **lens | {"shift_up": 0.0})
    panel = sliders.StandPanel(demo(), spacing=0.4)
    panel.show(replace(panel.start, height=3.0, shift_up=0.6))
    words = panel.parts["words"].value
    panel.buttons[0].click()
    assert "lens shift up = 0.6" in panel.parts["message"].value
    assert panel.parts["words"].value == words
    panel.reset.click()
    assert panel.parts["message"].value == ""
    # A tilted machine's picture is not what was fitted, so it says so.
    panel.show(replace(panel.start, tilt=8.0))
    shown = panel.choice
    for button in panel.buttons[:2]:
        button.click()
        assert "tilt = 8.0: expected 0 degrees" in panel.parts["message"].value
        assert "tilt = 8.0" in panel.notes["tilt"].value
        assert panel.choice == shown
