"""Lessons: every answer that is called right is right by hand, every wrong one is explained, every setting shows."""

import html
import io
import math
import re

import numpy as np
import pytest
from panels import IMAGE
from PIL import Image

import course
import kit
from course import lessons
from course.lessons import about, lightness, sized
from course.panel import lesson_picture
from kit import reference

LESSONS = course.all_lessons()
TITLES = [one.title for one in LESSONS]


def right(title, part="guess"):
    question = getattr(course.lesson(title), part)
    return question.options[question.right]


@pytest.mark.analytic
def test_what_is_right_by_hand():
    assert right("Light thins out") == "a quarter"
    # 4000 lm on 6 m x 3.75 m is 177.8 lx; three times as far, a ninth.
    assert right("Light thins out", "check") == f"{4000 / (6 * 3.75) / 9:.0f} lux"
    assert right("What the lens does") == "twice as wide, and much dimmer"
    assert right("What the lens does", "check") == "0.75"
    assert right("Why dark brick is a poor screen") == "the same on both"
    # 0.72 / 0.15 = 4.8.
    assert 4.5 < reference.value("surfaces", "white siding") / reference.value("surfaces", "red brick") < 5.5
    assert right("Why dark brick is a poor screen", "check") == "about a fifth as bright"
    # (10 + 1) / (10 / 1500 + 1) = 10.9.
    assert right("A projector cannot throw black") == "about 10:1"
    # (10 + 0.5) / (10 / 1500 + 0.5) over that: 1.9.
    assert right("A projector cannot throw black", "check") == "it nearly doubles"
    assert right("Twice the lumens is not twice as bright") == "about a third lighter"
    # L* of 12.5 is 42.0; 84.0 is L* of 64: 5.1 times.
    assert right("Twice the lumens is not twice as bright", "check") == "5 times"
    assert right("A smaller picture beats a dearer machine") == "four times as many"
    assert right("A smaller picture beats a dearer machine", "check") == f"a picture {math.sqrt(0.5):.2f} times as wide"
    assert right("What a piece of cloth is worth") == "between four and five times the lumens"
    assert right("What a piece of cloth is worth", "check") == "it stays the same"


@pytest.mark.analytic
def test_the_right_option_holds_what_was_computed():
    """Not the nearest one: 2.8 times is not "between three and four"."""
    options = (
        ("a fifth more", about(1.2), "a"),
        ("three to four times", (3.0, 4.0), "b"),
        ("ten times", about(10.0), "c"),
    )
    assert [sized("?", value, *options).right for value in (1.2, 3.0, 3.7, 9.5)] == [0, 1, 1, 2]
    for value in (2.8, 4.1, 20.0):
        with pytest.raises(kit.InputError, match="a value within one option, and no other"):
            sized("How much?", value, *options)
    with pytest.raises(kit.InputError, match="no other"):
        sized("How much?", 3.5, *options, ("more than three times", (3.0, 9.0), "d"))


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("brick", "dimmer", "gain"),
    [(0.188, "about a quarter as bright", "between three and four times the lumens"),
     (0.25, "about a third as bright", "between two and three times the lumens"),
     (0.12, "about a sixth as bright", "between five and six times the lumens")],
)  # fmt: skip
def test_the_answers_follow_a_brick_that_sends_back_more_or_less(monkeypatch, brick, dimmer, gain):
    def surface(name):
        value = brick if name == "red brick" else reference.value("surfaces", name)
        return kit.Surface(name=name, reflectance=value, kind="brick")

    monkeypatch.setattr(kit.Surface, "from_reference", surface)
    assert right("Why dark brick is a poor screen", "check") == dimmer
    assert right("What a piece of cloth is worth") == gain
    said = course.lesson("What a piece of cloth is worth").guess
    times = float(re.search(r"white is (\d\.\d) times", said.reasons[said.right])[1])
    assert said.right == 1
    words = ("two", "three", "four", "five", "six")
    low, high = (words.index(word) + 2 for word in re.findall("|".join(words), gain))
    assert low <= times <= high


@pytest.mark.published
@pytest.mark.parametrize(("percent", "wanted"), [(100.0, 100.0), (18.418651851244416, 50.0), (0.8856451679035631, 8.0)])
def test_lightness_is_that_of_cie_1976(percent, wanted):
    # ISO/CIE 11664-4: L* = 116 (Y/Yn)^(1/3) - 16, linear below Y/Yn = (6/29)^3, where L* is 8. Rounding only.
    assert lightness(percent, 100.0) == pytest.approx(wanted, rel=1e-9)
    assert lightness(0.5 * percent, 50.0) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("one", LESSONS, ids=TITLES)
def test_every_option_is_answered_and_a_wrong_one_names_the_right_one(one):
    for question in (one.guess, one.check):
        assert len(set(question.options)) == len(question.options) >= 3
        for i, option in enumerate(question.options):
            said = question.answer(i)
            if i == question.right:
                assert said.startswith("✓ Right. ")
            else:
                assert said.startswith("✗ Not quite. ")
                assert f"“{question.options[question.right]}”" in said
                assert f"“{option}”" not in said
            assert "nan" not in re.findall(r"[a-z]+", said.lower())


@pytest.mark.parametrize("one", LESSONS, ids=TITLES)
def test_every_setting_gives_tiles_figures_and_a_sentence(one):
    low, high, step = one.knob.steps
    assert low <= one.knob.default <= high
    seen = set()
    for value in np.arange(low, high + step / 2, max(step, (high - low) / 12)):
        outcome = one.outcome(float(value))
        assert outcome.sentence
        for tile in outcome.tiles:
            assert 0 < tile.width <= 1.02
            assert -1e-9 <= tile.lightness <= 100.0 + 1e-6, (one.title, value, tile)
        assert all(math.isfinite(v) and v >= 0 for _, v, _ in outcome.figures)
        seen.add(outcome.sentence)
    # What is moved changes what is said.
    assert len(seen) >= 3


def test_lessons_read_like_a_newspaper():
    """Short sentences, no formula; the measure is words to a sentence, 20 at most in the mean."""
    for one in LESSONS:
        texts = [one.guess.text, one.check.text, one.why, *one.guess.reasons, *one.check.reasons]
        words = [len(s.split()) for text in texts for s in re.split(r"[.?!:;]\s", text) if s.strip()]
        assert np.mean(words) < 20, one.title
        assert not re.search(r"[=^√∫]", " ".join(texts)), one.title


@pytest.mark.parametrize(
    ("title", "words"),
    [("Light thins out", "Never look into the lens"), ("A projector cannot throw black", "the town's to change"),
     ("A projector cannot throw black", "machine off"), ("A smaller picture beats a dearer machine", "weight"),
     ("What a piece of cloth is worth", "catches wind and can burn")],
)  # fmt: skip
def test_a_lesson_that_tells_of_something_dangerous_cautions(title, words):
    panel = course.LessonPanel(title)
    assert words in html.unescape(panel.caution.value)
    assert panel.caution in panel.after.children
    assert "class='kit-caution'" in panel.caution.value


def test_a_picture_is_grey_and_as_light_as_its_tiles():
    outcome = course.lesson("Twice the lumens is not twice as bright").outcome(8000.0)
    picture = np.asarray(Image.open(io.BytesIO(lesson_picture(outcome))).convert("RGB")).astype(int)
    assert np.ptp(picture, axis=2).max() == 0
    for tile in outcome.tiles:
        assert np.isclose(picture[..., 0], 255 * tile.lightness / 100, atol=1.0).sum() > 5000


@pytest.mark.bad_input
def test_unknown_lessons_and_answers_are_named():
    with pytest.raises(kit.InputError, match="Light thins out"):
        course.lesson("Quantum optics")
    with pytest.raises(kit.InputError, match="index"):
        LESSONS[0].guess.answer(3)


@pytest.mark.parametrize("name", lessons.LESSONS)
def test_every_figure_that_is_computed_is_told_and_every_text_is_there(name):
    """The words are a file of their own: what is missing there, or told by a wrong name, is found here."""
    words, (knob, figures, _, moved) = lessons.read_words()[name], lessons.LESSONS[name]()
    told = {part: words.pop(part) for part in ("guess", "check")}
    outcome = {part: words.pop(part) for part in ("tiles", "figures", "sentence")}
    assert set(words) <= {"title", "why", "caution", "names"}
    assert words["title"]
    assert words["why"]
    for said, computed in ((words | told, figures), (outcome, moved(knob.steps[0])[1])):
        for figure in computed:
            assert re.search(rf"\b{figure}\b", str(said)), figure


def test_the_panel_asks_first_and_shows_afterwards():
    panel = course.LessonPanel("Light thins out")
    assert panel.after.layout.display == "none"
    panel.guess.buttons[0].click()
    assert panel.after.layout.display is None
    assert "Not quite" in panel.guess.said.value
    assert [button.description[0] for button in panel.guess.buttons] == ["●", "○", "○"]
    panel.guess.buttons[2].click()
    assert "Right" in panel.guess.said.value
    assert [button.description[0] for button in panel.guess.buttons] == ["○", "○", "●"]
    before, said = panel.picture.value, panel.caption.value
    assert IMAGE.fullmatch(before)[1] in said
    panel.knob.value = 12.0
    assert panel.picture.value != before
    assert panel.caption.value != said
    assert "44 lux" in panel.caption.value
    panel.check.buttons[1].click()
    assert "Right" in panel.check.said.value
