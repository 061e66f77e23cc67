"""Illuminance of point lamps on a house front, computed by a general-purpose renderer.

Nothing of the kit is imported here; see `reference_renderer`, whose geometry and camera are used.
"""

from functools import cache

import numpy as np
import reference_renderer as base


def _scene(mi, polygons, extent, shape, lamps):
    scene = {"type": "scene", "integrator": {"type": "direct", "emitter_samples": 1, "bsdf_samples": 0}}
    scene["sensor"] = base._sensor(mi, polygons, extent, shape, 1)
    scene["front"] = base._front(mi, polygons, 1.0)
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


def by_way_of_the_ground(wall, ground, reflectance, *, lamp, extent, shape, samples=1 << 13):
    """Return the light of one isotropic lamp that reaches a wall by one bounce off the ground, as `illuminance` does.

    Parameters
    ----------
    wall, ground : array_like, shape (N, 3)
    """
    per_lux = calibration()
    mi = base._mitsuba("scalar_rgb")  # its loop over a path does not compile everywhere
    found = []
    for depth in (3, 2):
        scene = {"type": "scene", "integrator": {"type": "path", "max_depth": depth, "rr_depth": 99}}
        scene["sensor"] = base._sensor(mi, [wall], extent, shape, samples)
        scene["front"] = base._front(mi, [wall], 1.0)
        grey = {"type": "diffuse", "reflectance": {"type": "rgb", "value": float(reflectance)}}
        square = mi.ScalarTransform4f(np.column_stack([
            np.append(0.5 * (ground[1] - ground[0]), 0.0), np.append(0.5 * (ground[3] - ground[0]), 0.0),
            (0.0, 1.0, 0.0, 0.0), np.append(ground.mean(axis=0), 1.0),
        ]))  # fmt: skip
        scene["ground"] = {"type": "rectangle", "to_world": square, "bsdf": {"type": "twosided", "bsdf": grey}}
        position, candela = lamp
        light = {"type": "rgb", "value": float(candela)}
        scene["lamp"] = {"type": "point", "position": [float(c) for c in position], "intensity": light}
        found.append(base._pixels(mi, mi.load_dict(scene), shape, samples) / per_lux)
    return found[0] - found[1]
