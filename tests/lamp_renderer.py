"""Illuminance of point lamps on a house front, computed by a general-purpose renderer.

Nothing of the kit is imported here; see `reference_renderer`, whose geometry and camera are used.
"""

from functools import cache

import numpy as np
import reference_renderer as base


def _scene(mi, polygons, extent, shape, lamps):
    scene = {"type": "scene", "integrator": {"type": "direct", "emitter_samples": 1, "bsdf_samples": 0}}
    scene["sensor"] = base._sensor(mi, polygons, extent, shape, 1)
    scene["front"] = base._front(mi, polygons)
    for i, (position, candela) in enumerate(lamps):
        light = {"type": "rgb", "value": float(candela)}
        scene[f"lamp{i}"] = {"type": "point", "position": [float(c) for c in position], "intensity": light}
    return mi.load_dict(scene)


@cache
def calibration():
    """Return the rendered value per lux, from walls square to the ray; several distances must agree."""
    mi = base._mitsuba()
    wall = np.array([[-99.0, -99.0, 0.0], [99.0, -99.0, 0.0], [99.0, 99.0, 0.0], [-99.0, 99.0, 0.0]])
    measured = []
    for distance in (0.5, 3.0, 20.0):
        half = 1e-3 * distance
        scene = _scene(mi, [wall], (-half, half, -half, half), (2, 2), [((0, 0, distance), 100.0)])
        measured.extend(base._pixels(mi, scene, (2, 2)).ravel() * distance**2 / 100.0)
    constant = float(np.median(measured))
    if not np.allclose(measured, constant, rtol=1e-4, atol=0.0):
        raise RuntimeError(f"calibration walls disagree: {min(measured)} to {max(measured)}")
    return constant


def illuminance(polygons, *, lamp, extent, shape):
    """Return the illuminance of one isotropic lamp at the centres of pixels, shape (ny, nx) [lx], row 0 lowest.

    Parameters
    ----------
    polygons : list of array_like, shape (N, 3)
    lamp : ((x, y, z), candela)
    extent : (x0, x1, y0, y1)
    shape : (ny, nx)
    """
    mi = base._mitsuba()
    return base._pixels(mi, _scene(mi, polygons, extent, shape, [lamp]), shape) / calibration()
