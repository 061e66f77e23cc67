"""The panels of the pages: controls, and what they answer. They stand on the kit, which knows nothing of them."""

from sliders.make_panel import MakePanel
from sliders.panels import ClassPanel, ClothPanel, DecidePanel, EveningPanel, HousingPanel, StandPanel

__all__ = ["ClassPanel", "ClothPanel", "DecidePanel", "EveningPanel", "HousingPanel", "MakePanel", "StandPanel"]
