"""The panels of the pages: controls, and what they answer. They stand on the kit, which knows nothing of them."""

from sliders.evening import draw_dimming as draw_dimming
from sliders.evening import draw_evening as draw_evening
from sliders.evening import draw_season as draw_season
from sliders.evening import draw_sources as draw_sources
from sliders.make_panel import MakePanel
from sliders.panels import ClassPanel, ClothPanel, DecidePanel, EveningPanel, HousingPanel, StandPanel

__all__ = ["ClassPanel", "ClothPanel", "DecidePanel", "EveningPanel", "HousingPanel", "MakePanel", "StandPanel"]
