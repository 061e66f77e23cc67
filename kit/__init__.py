"""Photometric kit for a light show projected on the front of a house.

From the lens to the eye: `Projector` and its chain of losses, `Placement` and throw, `Facade` with its
surfaces, `Ambient` light, `light_map`, and `judge`. Rooms load when they are first used.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submodules=[
        "ambient", "cast", "drawing", "errors", "facade", "house_file", "light", "panel", "projector", "raster",
        "reference", "throw", "units", "verdict",
    ],
    submod_attrs={
        "ambient": ["Ambient", "Glare", "veil_luminance"],
        "drawing": ["MapBoard", "draw_house", "draw_map", "show"],
        "errors": ["InputError"],
        "facade": ["Facade", "Patch", "Surface", "with_returns"],
        "house_file": ["load_house", "parse_house"],
        "light": ["Scene", "chain_text", "light_map"],
        "panel": ["Choice", "ClassPanel", "compare"],
        "projector": ["Factor", "Projector", "typical_chain", "typical_projector"],
        "units": ["foot_lamberts"],
        "throw": ["Placement", "picture_width", "throw_distance", "throw_ratio_for"],
        "verdict": ["Figure", "Part", "Remedy", "Target", "Verdict", "judge"],
    },
)  # fmt: skip
