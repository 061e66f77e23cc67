"""Reflectance of sheets one behind another, computed by a general-purpose path tracer.

Nothing of the kit is imported here: each sheet is a rectangle that reflects and transmits by Lambert's law, lit square
on from the front, and Mitsuba 3 (`path` integrator) follows the light between them. The module itself needs no
Mitsuba; the first call loads it.

There is no plain diffuse transmitter among the renderer's materials, but `principledthin` with `diff_trans` = 2 is
one: its share comes out the same for every direction of view, and is checked so in the tests. Blended with `diffuse`
it makes a sheet of cloth.
"""

import numpy as np

# Some LLVM versions end the whole process on this material, so only the scalar variant is used.
VARIANT = "scalar_rgb"


def _grey(value):
    return {"type": "rgb", "value": float(value)}


def _material(reflectance, transmittance):
    """Return a two-sided Lambertian sheet; one of no transmittance is a wall."""
    total = reflectance + transmittance
    front = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": _grey(total)}}
    if transmittance == 0:
        return front
    # Both parts carry the same share, so that the choice between them adds no noise.
    through = {"type": "principledthin", "base_color": _grey(total), "diff_trans": 2.0, "spec_trans": 0.0}
    return {"type": "blendbsdf", "weight": transmittance / total, "first": front, "second": through}


def reflectance(sheets, *, gap, size, window, samples, pixels=32, tilt=0.0, behind=False, seed=0):
    """Return the share of light that comes back from a pile of sheets, with its standard error.

    Parameters
    ----------
    sheets : list of (float, float)
        Reflectance and transmittance of each, the one nearest the light first. The light meets the first alone, since
        all are of one size and it falls square on them.
    gap : float
        From sheet to sheet.
    size : float
        Side of the square sheets.
    window : float
        Side of the square in the middle of the first sheet over which the answer is the mean.
    samples : int
        Per pixel, in each of two renderings.
    pixels : int
        On each side of the window.
    tilt : float
        Degrees between the line of sight and the normal.
    behind : bool
        Look from behind, at the last sheet: the answer is the transmittance.
    seed : int
        Of the random numbers.

    Returns
    -------
    mean, standard_error : float
        The error is the spread between the two renderings, pixel by pixel.
    """
    import mitsuba as mi

    mi.set_variant(VARIANT)
    move = mi.ScalarTransform4f
    depth = gap * (len(sheets) - 1)
    scene = {
        "type": "scene",
        # Russian roulette from the 20th bounce on, which leaves the mean as it is.
        "integrator": {"type": "path", "max_depth": -1, "rr_depth": 20},
        # An irradiance of pi makes the radiance of a Lambertian face its share.
        "light": {"type": "directional", "direction": [0.0, 0.0, -1.0], "irradiance": _grey(np.pi)},
    }
    for i, (reflected, transmitted) in enumerate(sheets):
        place = move().translate([0.0, 0.0, -gap * i]) @ move().scale(0.5 * size)
        scene[f"sheet{i}"] = {"type": "rectangle", "to_world": place, "bsdf": _material(reflected, transmitted)}
    angle = np.radians(tilt)
    side = -1.0 if behind else 1.0
    target = np.array([0.0, 0.0, -depth if behind else 0.0])
    origin = target + np.array([np.sin(angle), 0.0, side * np.cos(angle)])
    view = move().look_at(origin=origin.tolist(), target=target.tolist(), up=[0.0, 1.0, 0.0])
    film = {"type": "hdrfilm", "width": pixels, "height": pixels, "rfilter": {"type": "box"}}
    scene["sensor"] = {
        "type": "orthographic",
        "to_world": view @ move().scale(0.5 * window),
        "film": film | {"pixel_format": "luminance", "component_format": "float32"},
        "sampler": {"type": "independent", "sample_count": samples},
    }
    loaded = mi.load_dict(scene)
    pair = [np.array(mi.render(loaded, spp=samples, seed=2 * seed + i), dtype=float).ravel() for i in range(2)]
    # Half the difference of two renderings spreads as their mean does, whatever the picture behind.
    return float(np.mean(pair)), float(np.std((pair[0] - pair[1]) / 2.0) / np.sqrt(pair[0].size))
