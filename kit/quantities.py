"""What the kit returns, declared once: name, symbol, unit and meaning of each computed quantity.

Maps and tables take their ``long_name`` and ``units`` from here (`attrs`, `labelled`), the glossary its rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from kit.errors import InputError


@dataclass(frozen=True)
class Quantity:
    """One computed quantity.

    `meaning`: as a label of a plot or a table; `unit`: SI; ``"1"`` is dimensionless; empty for a time of the clock.
    """

    meaning: str
    unit: str = "1"
    symbol: str = ""


QUANTITIES: dict[str, Quantity] = {
    # Light on the front
    "illuminance": Quantity("illuminance from the projectors on full white", "lx", "E"),
    "black_illuminance": Quantity("illuminance from the projectors on black: leak and scatter", "lx"),
    "white_luminance": Quantity("luminance of projected white", "cd/m2", "L_w"),
    "black_luminance": Quantity("luminance of projected black", "cd/m2", "L_b"),
    "contrast": Quantity("contrast at the eye", "1", "C"),
    "reflectance": Quantity("diffuse reflectance", "1", "ρ"),
    "patch": Quantity("index of the visible patch"),
    "ambient_illuminance": Quantity("illuminance from ambient light", "lx", "E_a"),
    "veiling_luminance": Quantity("veiling luminance in the eye", "cd/m2", "L_v"),
    "picture_share": Quantity("share of a projector's light that lands on the patch"),
    "chain": Quantity("factors from stated to delivered light output"),
    "light_band": Quantity("likely illuminance relative to nominal"),
    "reflectance_band": Quantity("likely reflectance of the patch"),
    "doubt": Quantity("likely value of an input relative to nominal"),
    "gain": Quantity("gain of a screen"),
    "hidden_share": Quantity("share of what the pictures would reach that it hides"),
    "unit_white": Quantity("illuminance of white per delivered lumen, after blending", "lx/lm"),
    "unit_black": Quantity("the same before blending, as black has it", "lx/lm"),
    "delivered_light": Quantity("lumens that reach the wall", "lm"),
    "leak": Quantity("share of white that a black picture lets through"),
    "scatter": Quantity("share of a white picture that its lens scatters"),
    "landed_share": Quantity("share of a projector's light that lands on the front"),
    "bounce": Quantity("illuminance by way of the ground, per reflectance of the patch and picture level", "lx"),
    # Night view
    "xyz": Quantity("X, Y, Z at the eye", "cd/m2"),
    "drive": Quantity("linear drive of the picture where it lands"),
    # Evenings
    "sun_elevation": Quantity("height of the sun's centre, without refraction", "degree"),
    "moon_elevation": Quantity("height of the moon's centre, without refraction", "degree"),
    "moon_illuminated": Quantity("lit share of the moon's disc"),
    "status": Quantity("verdict"),
    "chance": Quantity("chance that it is enough"),
    "lit_share": Quantity("share that a picture reaches"),
    "earliest": Quantity("earliest start", ""),
    "dark_enough": Quantity("when contrast is first enough", ""),
    "until": Quantity("when a target is missed again", ""),
    "passing_minutes": Quantity("minutes from the earliest start until a target is missed", "min"),
    "sunset": Quantity("sunset", ""),
    "sunrise": Quantity("sunrise", ""),
    "moonrise": Quantity("moonrise", ""),
    "moonset": Quantity("moonset", ""),
    "sun_all_day": Quantity("whether the sun stays up (1) or down (-1) all day"),
    "contrast_passing": Quantity("median contrast while the passing light is there"),
    "passing_share": Quantity("share of the time"),
    "most_dimming": Quantity("highest dimming of the strings with enough contrast"),
    "first_loss": Quantity("dimming that takes a tenth of the contrast from half of the part"),
    # Places for the lens
    "position": Quantity("position of the lens", "m"),
    "aim": Quantity("point on the lens axis", "m"),
    "throw_ratio": Quantity("throw ratio"),
    "shift_across": Quantity("lens shift to the right, in picture widths"),
    "shift_up": Quantity("lens shift up, in picture heights"),
    "tilt": Quantity("tilt up from level", "degree"),
    "pan": Quantity("pan to the right from square to the wall", "degree"),
    "corner_angle": Quantity("angle of the picture's corner on the wall", "degree"),
    "keystone": Quantity("largest deviation of a corner from a right angle", "degree"),
    "reached_share": Quantity("share of the target within the picture"),
    "blocked_share": Quantity("share of the target within the picture that is hidden from the lens"),
    "people_share": Quantity("share of the beam that meets people"),
    "pixel_share": Quantity("share of the picture's pixels that are used once it is squared up"),
    "flux_share": Quantity("share of the light that lands on judged parts, estimated from points"),
    "illuminance_median": Quantity("median illuminance per lumen", "lx/lm"),
    "illuminance_lowest": Quantity("lowest illuminance per lumen", "lx/lm"),
    "finest_element": Quantity("shortest extent of a pixel on the wall", "mm"),
    "coarsest_element": Quantity("longest extent of a pixel on the wall", "mm"),
    "pixels_per_degree": Quantity("lowest number of pixels per degree of view", "1/degree"),
    "depth_range": Quantity("depth of the target along the lens axis", "m"),
    "feasible": Quantity("whether all limits are kept"),
    "fails_tilt": Quantity("whether the tilt is beyond its limits"),
    "fails_pan": Quantity("whether the pan is beyond its limits"),
    "fails_reached": Quantity("whether the picture reaches too little of the target"),
    "fails_keystone": Quantity("whether the corners are too far off a right angle"),
    "fails_blocked": Quantity("whether too much of the target is hidden"),
    "fails_focus_depth": Quantity("whether the target is too deep to be sharp at once"),
    "fails_people": Quantity("whether too much of the beam meets people"),
    "x": Quantity("across the front", "m", "x"),
    "y": Quantity("height above the ground line", "m", "y"),
}


def attrs(name: str) -> dict[str, str]:
    """Return ``long_name`` and ``units`` of a quantity as xarray keeps them.

    Raises `InputError` for a quantity that is not declared.
    """
    if name not in QUANTITIES:
        raise InputError("quantity", name, f"one of {', '.join(QUANTITIES)}")
    found = QUANTITIES[name]
    return {"long_name": found.meaning} | ({"units": found.unit} if found.unit else {})


def labelled(name: str, dims: str | Sequence[str], values: Any) -> tuple[str | tuple[str, ...], Any, dict[str, str]]:
    """Return (dims, values, attributes) of a declared quantity, as `xarray.Dataset` takes them."""
    return dims if isinstance(dims, str) else tuple(dims), values, attrs(name)
