"""Photometric kit for a light show projected on the front of a house.

From the lens to the eye: `Projector` and its chain of losses, `Placement` and throw, `Facade` with its
surfaces, `Ambient` light, `light_map`, and `judge`. Rooms load when they are first used.
"""

import lazy_loader

# The folders in the order in which light travels: each imports only from itself and from those before it.
FOLDERS = ("source", "wall", "sky", "light", "eye", "decision", "stage", "answers", "views")

# The public names, by the room that defines each.
PUBLIC = {
    "answers.glossary": ["glossary"],
    "errors": ["InputError"],
    "units": ["foot_lamberts", "length_text"],
    "source.beam": ["Beam", "Landing"],
    "source.placement": ["Placement", "picture_width", "throw_ratio_for"],
    "source.projector": ["Factor", "Projector", "typical_chain", "typical_projector"],
    "source.spectra": ["LightSource", "Spectrum", "light_source"],
    "wall.cloth": [
        "Cloth",
        "Covering",
        "Hanging",
        "cover",
        "hang",
        "hanging_frame",
        "pattern_behind",
        "wet_front",
        "wet_surface",
    ],
    "wall.facade": ["Facade", "Patch", "Surface", "split_at", "with_returns"],
    "wall.house_file": ["house_toml", "load_house", "parse_house"],
    "wall.layers": ["Layer", "stack"],
    "wall.occlusion": ["Obstacle", "Occluders"],
    "wall.points": ["FrontRaster", "WallPoints"],
    "wall.surface_spectra": ["surface_spectrum"],
    "wall.texture": ["Pattern"],
    "sky.luminaire": ["LedString", "Luminaire", "headlamps", "typical_luminaire"],
    "sky.photometric_file": ["Distribution", "load_distribution"],
    "sky.site": ["Site"],
    "light.ambient": ["Ambient", "Glare"],
    "eye.colorimetry": ["colour_frame", "wall_colour"],
    "eye.glare": ["veiling_luminance"],
    "eye.light_map": ["Doubt", "Scene", "chain_frame", "light_map"],
    "eye.mesopic": ["dim_vision"],
    "eye.night": ["base_colours", "daylight_picture", "night_view", "on_screen"],
    "eye.picture_file": ["Picture", "load_picture"],
    "decision.evening": [
        "Passing",
        "evenings",
        "source_frame",
        "start_frame",
        "start_sentence",
        "switching",
        "switching_frame",
    ],
    "decision.payoff": ["pay_off", "projector_price"],
    "decision.several": ["compare_setups", "stacked"],
    "decision.measure": ["Reading", "measure_first", "with_measurement"],
    "decision.verdict": ["Figure", "Part", "Remedy", "Target", "Verdict", "judge", "ladder", "rung_target"],
    "decision.washout": ["string_dimming"],
    "stage.audience": ["Viewer", "audience_table", "windscreen"],
    "stage.beam_safety": ["beam_table", "keep_out"],
    "stage.content": ["content_parts", "picture_map", "save_masks"],
    "stage.obtrusive_light": ["Receiver", "obtrusive_light", "road_light"],
    "stage.aim": ["Lens"],
    "stage.places": ["Limits", "describe", "evaluate", "placement_of"],
    "stage.search": ["Stand", "search"],
    "answers.classes": ["Choice", "compare"],
    "answers.cloths": ["ClothChoice", "weigh"],
    "answers.evenings": ["EveningChoice", "plan_evening"],
    "answers.lessons": ["all_lessons", "lesson"],
    "answers.lists": ["surfaces", "towns"],
    "answers.show": ["Machine", "Show", "ShowLamp", "open_show", "save_show"],
    "answers.stands": ["StandChoice", "arrange"],
    "views.charts": ["draw_dimming", "draw_evening", "draw_ladder", "draw_season", "draw_sources", "draw_tradeoff"],
    "views.class_panel": ["ClassPanel"],
    "views.cloth_panel": ["ClothPanel"],
    "views.drawing": ["MapBoard", "NightBoard", "draw_house"],
    "views.evening_panel": ["EveningPanel"],
    "views.lesson_panel": ["LessonPanel"],
    "views.make_panel": ["MakePanel"],
    "views.page": ["report", "show"],
    "views.plans": ["PlanBoard", "draw_lamp", "draw_way"],
    "views.stand_panel": ["StandPanel"],
}

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__, submodules=["errors", "reference", "units", *FOLDERS], submod_attrs=PUBLIC
)
