"""What people read on any page: plain words, units that follow the switch, no figure that is none, no assurance."""

import re
import tomllib
from functools import cache
from pathlib import Path
from string import Formatter

import pytest

import kit
from kit.decision.evening import source_frame, start_frame
from kit.results import Result, text_table
from kit.words import _Speaker

SHOWS = {"demo": None} | {path.stem: path for path in sorted((Path(__file__).parent / "shows").glob("*.toml"))}
# Jargon that is not explained, units written another way, figures that are none, assurances that nobody can give.
NEVER = re.compile(
    r"picture element|arcmin|\braster|quadrature|basic decision|saturation|tone curve|photometer|Ward|sunlight|group 2"
    r"|m2\b|nan\b|\binf\b|(?-i:None)|less than 0 |no beam meets|\bthe our\b",
    re.IGNORECASE,
)


@cache
def answers(name):
    """Return all results of the four answers on one front, by what they are."""
    show = kit.open_show(SHOWS[name]) if SHOWS[name] else kit.open_show()
    classes, stand = kit.compare(show, spacing=0.3), kit.arrange(show, spacing=0.4)
    dry, wet = (kit.weigh(show, kit.ClothChoice(wet=rain), spacing=0.3) for rain in (False, True))
    evening = kit.plan_evening(show, spacing=0.6, season=("2026-12-01", "2026-12-10"))
    machine = stand.scene.projectors[0][0]
    return {
        "classes": classes, "cloth": dry, "payoff": dry.payoff, "covering": dry.covering, "screen": dry.screen,
        "rain": wet.payoff, "evening": evening, "stand": stand, "parts": stand.parts, "audience": stand.audience,
        "keep out": stand.keep_out, "compared": stand.compared, "table": kit.beam_table(machine, (1.0, 5.0)),
        "steep": kit.arrange(show, kit.StandChoice(tilt=25.0), spacing=0.4),
        "north": kit.plan_evening(show, kit.EveningChoice(latitude=70.0), spacing=0.6),
        "south": kit.plan_evening(show, kit.EveningChoice(latitude=-70.0), spacing=0.6),
    }  # fmt: skip


def said(result, units):
    text = [result.sentence(units), text_table(result.frame(units))]
    if hasattr(result, "tonight"):
        tables = source_frame(result.tonight, result.clock), start_frame(result.calendar)
        text += [text_table(table) for table in tables]
    return "\n".join(text)


@pytest.mark.parametrize("name", SHOWS)
def test_nobody_reads_jargon_or_figures_that_are_none(name):
    for what, result in answers(name).items():
        assert isinstance(result, Result)
        for units in ("m", "ft"):
            found = NEVER.search(said(result, units))
            assert not found, (
                what,
                units,
                found[0],
                said(result, units)[max(0, found.start() - 80) : found.end() + 40],
            )


@pytest.mark.parametrize("name", SHOWS)
def test_units_follow_the_switch(name):
    """No length, area, weight, speed or force is in the other units, but for what a standard says, told in both."""
    metric, other = (
        r"\d (m|mm|cm|m²|kg|m/s|N)\b(?! [\d(])|\[(m|mm|m²|kg)\]",
        r"\d (ft\b(?!\))|in[,.;)]|sq ft|lb\b|mph|lbf)|\[(ft|in|lb)\]",
    )
    for what, result in answers(name).items():
        for units, wrong in (("ft", metric), ("m", other)):
            found = re.search(wrong, said(result, units))
            assert not found, (what, units, found[0])


@pytest.mark.parametrize("name", SHOWS)
def test_the_unit_of_lengths_changes_no_other_figure(name):
    """Figures without a unit of length, such as cd/m², contrasts and lumens, are the same in both."""
    figures = re.compile(r"[\d.,]+(?= (?:cd/m²|lumens|lx|USD)|:1|% )")
    for what, result in answers(name).items():
        metric, feet = (figures.findall(result.sentence(units)) for units in ("m", "ft"))
        if what not in ("payoff", "cloth", "rain"):  # USD/m² and USD/sq ft
            assert metric == feet, what


@pytest.mark.parametrize("name", SHOWS)
def test_fabric_comes_with_its_dangers_and_stray_light_with_a_warning(name):
    found = answers(name)
    for what in ("payoff", "rain", "cloth"):
        assert "catches wind and can burn" in found[what].sentence()
    for what in ("classes", "stand", "steep"):
        text = found[what].sentence()
        assert ("fabric hung" in text) <= ("wind, fire and exits" in text)
    assert "Caution" in found["steep"].sentence()
    assert "does not" in found["north"].sentence()
    assert "does not" in found["south"].sentence()


def test_the_glossary_is_in_plain_words():
    table = kit.glossary()
    for meaning in table["meaning"]:
        assert not re.search(r"picture element|\braster\b|pre-warp|arcmin", meaning), meaning
    assert not table["unit"].str.contains("m2").any()


def test_every_way_of_saying_a_field_is_known():
    """Phrases that are seldom said could hold a slip for long."""
    for path in sorted((Path(__file__).parents[1] / "kit").glob("*/*.toml")):
        for name, phrase in tomllib.loads(path.read_text(encoding="utf-8")).items():
            for _, field, form, _ in Formatter().parse(phrase) if isinstance(phrase, str) else ():
                way = (form or "").split(" ")[0]
                assert not field or way in _Speaker("m").ways or re.fullmatch(r",?(\.\d)?[fg]?", way), (path, name)
