"""Results as data, and the words and tables that people read."""

import math
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from kit import units, words
from kit.errors import InputError
from kit.quantities import QUANTITIES, attrs, labelled
from kit.results import Result, html_table, make_frame, shown, text_table

ROWS = [
    {"part": "bay", "white [cd/m²]": 3.14159, "low gain": 1.0, "gain": 2.0, "high gain": 4.0, "lit": 0.123, "n": 3},
    {"part": "a & <b>", "white [cd/m²]": 1234.5, "low gain": math.nan, "gain": math.nan, "high gain": 1.0, "lit": 1.0,
     "n": 12},
]  # fmt: skip
FORMATS = {"lit": words.percent}


@pytest.fixture
def frame():
    return make_frame(ROWS, FORMATS, index="part")


# Words


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0, 2, "0"),
        (-0.0, 2, "0"),
        (1, 2, "1.0"),
        (3.14159, 3, "3.14"),
        (9.94, 2, "9.9"),
        (9.96, 2, "10"),
        (99.4, 2, "99"),
        (99.6, 2, "100"),
        (0.0996, 2, "0.10"),
        (0.00123, 2, "0.0012"),
        (-9.96, 2, "-10"),
        (999.6, 3, "1,000"),
        (123456, 2, "120,000"),
        (1e6, 2, "1,000,000"),
        (np.float64(2.25), 1, "2"),
        (math.inf, 2, "unlimited"),
        (math.nan, 2, "-"),
    ],
)
def test_a_figure_has_so_many_significant_digits(value, digits, text):
    assert words.short(value, digits) == text


@pytest.mark.property
def test_a_short_figure_is_within_half_of_its_last_digit():
    for value in np.geomspace(1e-6, 1e6, 2001):
        for digits in (1, 2, 3):
            text = words.short(value, digits).replace(",", "")
            assert float(text) == pytest.approx(value, rel=0.5000001 * 10.0 ** (1 - digits))
            figures = text.replace(".", "").strip("0") if "." not in text else text.replace(".", "").lstrip("0")
            assert len(figures) <= digits, (value, text)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (1234.5, 0, "1,234"),
        (0.05, 1, "0.1"),
        (-0.04, 1, "0.0"),
        (-0.06, 1, "-0.1"),
        (2.0, 2, "2.00"),
        (math.inf, 0, "unlimited"),
    ],
)
def test_a_plain_figure_has_so_many_decimals_and_is_never_minus_nought(value, digits, text):
    assert words.plain(value, digits) == text


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "0%"),
        (1e-9, "less than 1%"),
        (0.005, "less than 1%"),
        (0.0051, "1%"),
        (0.5, "50%"),
        (0.994, "99%"),
        (0.995, "nearly all"),
        (1 - 1e-9, "nearly all"),
        (1.0, "100%"),
        (1.2, "120%"),
        (-0.001, "0%"),
        (math.nan, "-"),
    ],
)
def test_a_share_is_nought_or_all_only_where_it_is(share, text):
    assert words.percent(share) == text


def test_bands_lists_and_capitals():
    assert words.band(1.44, 2.0, 28.8) == "2.0 (1.4 to 29)"
    assert words.band(1.44, 2.0, 28.8, digits=3) == "2.00 (1.44 to 28.8)"
    assert words.band(1.0, 2.0, math.inf) == "2.0 (1.0 to unlimited)"
    assert words.join(["a"]) == "a"
    assert words.join(["a", "b"]) == "a and b"
    assert words.join(["a", "b", "c"], "or") == "a, b or c"
    assert words.capital("übel ABC") == "Übel ABC"
    assert words.capital("") == ""


# Units at the edge

FOOT, INCH, POUND = 0.3048, 0.0254, 0.45359237  # exact by definition


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("unit", "label", "size"),
    [
        ("m", "ft", FOOT),
        ("mm", "in", 1000 * INCH),
        ("m2", "sq ft", FOOT**2),
        ("kg", "lb", POUND),
        ("m/s", "mph", 1609.344 / 3600),
        ("N", "lbf", POUND * 9.80665),
        ("lx", "lx", 1.0),
        ("cd/m2", "cd/m²", 1.0),
    ],
)
def test_where_lengths_are_in_feet(unit, label, size):
    assert units.edge(unit, "ft") == (label, pytest.approx(size, rel=1e-12))


@pytest.mark.parametrize(
    ("unit", "label"), [("m", "m"), ("m2", "m²"), ("cd/m2", "cd/m²"), ("kg/m2", "kg/m²"), ("USD/m2", "USD/m²")]
)
def test_where_lengths_are_in_metres_only_the_sign_changes(unit, label):
    assert units.edge(unit, "m") == (label, 1.0)


@pytest.mark.bad_input
@pytest.mark.parametrize("given", ["inch", "", None, 3])
def test_lengths_in_another_unit_are_refused(given):
    with pytest.raises(InputError, match="units"):
        units.edge("m", given)


# Frames


def test_a_frame_holds_numbers_and_carries_how_they_are_written(frame):
    assert frame.attrs["formats"] == FORMATS
    assert list(frame.index) == ["bay", "a & <b>"]
    assert frame.loc["bay", "white [cd/m²]"] == 3.14159
    assert frame["n"].dtype == np.int64
    assert isinstance(make_frame(ROWS).index, pd.RangeIndex)
    assert make_frame(ROWS).attrs["formats"] == {}


def test_a_band_is_one_cell_and_numbers_are_rounded_for_people_only(frame):
    cells = shown(frame)
    assert list(cells.columns) == ["white [cd/m²]", "gain", "lit", "n"]
    assert cells.loc["bay"].tolist() == ["3.1", "2.0 (1.0 to 4.0)", "12%", "3"]
    assert cells.loc["a & <b>"].tolist() == ["1,200", "-", "100%", "12"]
    assert frame.loc["bay", "white [cd/m²]"] == 3.14159


@pytest.mark.parametrize(
    ("value", "form", "text"),
    [
        (0.256, ".0%", "26%"),
        (3, None, "3"),
        (True, None, "True"),
        ("words", None, "words"),
        (None, None, "-"),
        (math.nan, ".2f", "-"),
        (math.inf, None, "unlimited"),
        (9.96, None, "10"),
        (2.0, lambda value: f"{value:g} times", "2 times"),
    ],
)
def test_how_a_cell_is_written(value, form, text):
    frame = make_frame([{"a": value}], {"a": form} if form else None)
    assert shown(frame).loc[0, "a"] == text


def test_a_text_table_keeps_its_columns(frame):
    head, bay, other = text_table(frame).splitlines()
    for name, above, below in (("white [cd/m²]", "3.1", "1,200"), ("gain", "2.0 (1.0 to 4.0)", "-"), ("n", "3", "12")):
        (end,) = {line.rfind(cell) + len(cell) for line, cell in ((head, name), (bay, above), (other, below))}
        assert end <= len(head)
    assert bay.startswith("bay ")
    assert other.startswith("a & <b> ")
    assert head.split() == ["white", "[cd/m²]", "gain", "lit", "n"]


def test_a_wide_table_is_neither_wrapped_nor_cut():
    row = {f"column {i} [m]": 1000.0 * i for i in range(40)} | {"words": "nothing is clipped " * 12}
    frame = make_frame([row, row])
    for table in (text_table(frame), html_table(frame)):
        assert "..." not in table
        assert row["words"].strip() in table
        assert all(name in table for name in row)
    assert len(text_table(frame).splitlines()) == 3
    assert len({len(line) for line in text_table(frame).splitlines()}) <= 2  # blanks at the end of a line are dropped


def test_rows_without_names_are_not_numbered():
    assert text_table(make_frame([{"a": 1, "b": "x"}, {"a": 2, "b": "y"}])).split() == ["a", "b", "1", "x", "2", "y"]


class Table(HTMLParser):
    """Cells by row, and the elements that a table stands in."""

    def __init__(self, page):
        super().__init__()
        self.rows, self.open, self.around, self.caption = [], [], [], ""
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        if tag == "table":
            self.around = [*self.open]
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
        self.open.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        assert self.open.pop()[0] == tag

    def handle_data(self, data):
        tag = self.open[-1][0] if self.open else ""
        if tag in ("td", "th"):
            self.rows[-1][-1] += data
        if tag == "caption":
            self.caption += data


def test_a_table_of_a_page_keeps_its_cells_and_scrolls_within_itself(frame):
    table = Table(html_table(frame, caption="parts < whole"))
    assert table.open == []
    assert table.caption == "parts < whole"
    assert table.rows == [
        ["", "white [cd/m²]", "gain", "lit", "n"],
        ["bay", "3.1", "2.0 (1.0 to 4.0)", "12%", "3"],
        ["a & <b>", "1,200", "-", "100%", "12"],
    ]
    ((_, attributes),) = table.around
    assert attributes["class"] == "kit-scroll"
    # In the element itself: a notebook has no style sheet of the kit.
    assert "overflow-x: auto" in attributes["style"]
    assert Table(html_table(frame)).caption == ""


class Sample(Result):
    def frame(self, units="m"):
        label, size = units_edge(units)
        return make_frame([{"part": "bay", f"width [{label}]": 6.096 / size}], index="part")

    def sentence(self, units="m"):
        label, size = units_edge(units)
        return f"The bay is {words.short(6.096 / size)} {label} wide & high."


def units_edge(chosen):
    return units.edge("m", chosen)


def test_a_result_is_words_and_figures_in_text_and_on_a_page():
    result = Sample()
    assert result.text("ft") == f"{result.sentence('ft')}\n\n{text_table(result.frame('ft'))}"
    assert " ".join(result.text("ft").split()) == "The bay is 20 ft wide & high. width [ft] bay 20"
    assert str(result) == result.text() == f"{result.sentence()}\n\n{text_table(result.frame())}"
    page = result._repr_html_()
    assert page.startswith("<p>The bay is 6.1 m wide &amp; high.</p><div class='kit-scroll'")
    assert Table(page).rows == [["", "width [m]"], ["bay", "6.1"]]


def test_what_a_result_has_to_say_is_its_own():
    for say in (Result().frame, Result().sentence):
        with pytest.raises(NotImplementedError):
            say()


# Quantities


# Moments carry their unit in their type.
MOMENTS = {"earliest", "dark_enough", "until", "sunset", "sunrise", "moonrise", "moonset"}


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_quantity_has_a_meaning_and_an_si_unit(name):
    quantity = QUANTITIES[name]
    assert quantity.meaning.strip() == quantity.meaning != ""
    assert bool(quantity.unit) != (name in MOMENTS)
    assert not {"ft", "in", "fL", "fc", "lb"} & set(quantity.unit.replace("/", " ").split())
    assert attrs(name)["long_name"] == quantity.meaning
    assert attrs(name).get("units", "") == quantity.unit


def test_symbols_and_meanings_stand_for_one_quantity_each():
    for field in ("symbol", "meaning"):
        given = [getattr(quantity, field) for quantity in QUANTITIES.values() if getattr(quantity, field)]
        assert [value for value in set(given) if given.count(value) > 1] == []


def test_a_labelled_variable_is_what_xarray_takes():
    values = np.ones((2, 3))
    dims, kept, attributes = labelled("contrast", ["y", "x"], values)
    assert (dims, attributes) == (("y", "x"), attrs("contrast"))
    assert kept is values
    assert labelled("x", "x", values[0])[0] == "x"


def test_a_cell_has_no_minus_before_a_zero():
    frame = make_frame([{"alone": -0.001}, {"alone": -0.2}, {"alone": 3}], {"alone": ".0%"})
    assert shown(frame)["alone"].tolist() == ["0%", "-20%", "300%"]
