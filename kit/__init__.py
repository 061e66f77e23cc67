"""Photometric kit for a light show projected on the front of a house.

From the lens to the eye: `Projector` and its chain of losses, `Placement` and throw, `Facade` with its
surfaces, `Ambient` light, `light_map`, and `judge`. Rooms load when they are first used.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submodules=[
        "ambient", "audience", "beam", "cast", "charts", "class_panel", "cloth", "cloth_panel", "colorimetry",
        "content_map", "drawing", "ephemeris", "errors", "evening", "evening_panel", "facade", "glare", "house_file",
        "layers", "lesson_panel", "lessons", "light", "luminaire", "mesopic", "night", "panel", "payoff",
        "photometric_file", "picture_file", "place_panel", "placement", "plans", "projector", "raster", "reference",
        "several", "site", "sky", "spectra", "spill", "texture", "throw", "units", "verdict", "washout",
    ],
    submod_attrs={
        "ambient": ["Ambient", "ambient_light"],
        "charts": ["draw_drive", "draw_evening", "draw_season", "draw_sources", "draw_tradeoff"],
        "audience": ["Viewer", "audience_table", "upstairs_neighbour", "windscreen"],
        "beam": ["beam_table", "keep_out"],
        "class_panel": ["Choice", "ClassPanel", "compare"],
        "cloth": [
            "Cloth", "Covering", "Hanging", "cover", "hang", "hanging_table", "pattern_behind", "wet_front",
            "wet_surface",
        ],
        "cloth_panel": ["ClothChoice", "ClothPanel", "weigh"],
        "colorimetry": ["colour_table", "wall_colour"],
        "content_map": ["content_zones", "picture_map", "save_masks"],
        "drawing": ["MapBoard", "NightBoard", "draw_house", "draw_map", "show"],
        "errors": ["InputError"],
        "evening": [
            "Passing", "evenings", "source_table", "start_sentence", "start_table", "switching", "switching_table",
        ],
        "evening_panel": ["EveningChoice", "EveningPanel", "Street", "invented_street", "plan_evening"],
        "facade": ["Facade", "Patch", "Surface", "split_at", "with_returns"],
        "glare": ["Glare", "veil_luminance"],
        "house_file": ["load_house", "parse_house"],
        "layers": ["Layer", "stack"],
        "lesson_panel": ["LessonPanel"],
        "lessons": ["all_lessons", "lesson"],
        "light": ["Scene", "chain_text", "light_map"],
        "night": ["base_colours", "base_table", "daylight_picture", "night_view", "on_screen"],
        "payoff": ["pay_off", "projector_price"],
        "picture_file": ["Picture", "load_picture"],
        "place_panel": ["Garden", "PlaceChoice", "PlacePanel", "invented_garden", "place"],
        "placement": ["Lens", "Limits", "Obstacle", "Stand", "describe", "evaluate", "placement_of", "search"],
        "plans": ["PlanBoard", "draw_way"],
        "projector": ["Factor", "Projector", "typical_chain", "typical_projector"],
        "luminaire": ["LedString", "Luminaire", "headlamps", "typical_luminaire"],
        "photometric_file": ["Distribution", "load_distribution"],
        "several": ["compare_setups", "per_storey", "side_by_side", "stacked"],
        "site": ["Site"],
        "spectra": ["LightSource", "Spectrum", "light_source", "surface_spectrum"],
        "spill": ["Place", "leaving"],
        "texture": ["Pattern"],
        "throw": ["Placement", "picture_width", "throw_distance", "throw_ratio_for"],
        "units": ["foot_lamberts", "length_text"],
        "verdict": ["Figure", "Part", "Remedy", "Target", "Verdict", "judge"],
        "washout": ["string_drive"],
    },
)  # fmt: skip
