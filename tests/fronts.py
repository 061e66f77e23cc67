"""Random fronts: a wall at the back, and patches before it that are turned, have holes, or are not convex."""

import numpy as np

import kit
from kit.wall.raster import exposed

PLAIN = kit.Surface(name="plain", reflectance=0.5)
BOUNDS = (-5.0, 5.0, 0.0, 6.0)
CORNERS = ((BOUNDS[0], BOUNDS[2]), (BOUNDS[1], BOUNDS[2]), (BOUNDS[1], BOUNDS[3]), (BOUNDS[0], BOUNDS[3]))
BACK = kit.Patch("wall", CORNERS, PLAIN)


def star(rng, middle, size, count):
    """Return corners (x, y) round a middle, in order: an outline that is rarely convex and never crossed."""
    angle = np.sort(2 * np.pi * (np.arange(count) + rng.uniform(0.1, 0.9, count)) / count)
    reach = size * rng.uniform(0.35, 1.0, count)
    return np.column_stack([middle[0] + reach * np.cos(angle), middle[1] + reach * np.sin(angle)])


def on_plane(flat, z0, zx, zy):
    """Return places in elevation, shape (n, 2), as corners on the plane z = z0 + zx x + zy y."""
    return [(x, y, z0 + zx * x + zy * y) for x, y in np.asarray(flat).tolist()]


def random_front(seed, count=4, *, returns=False):
    """Return a front whose corners lie nowhere in particular; `returns` closes one of its patches off backwards."""
    rng = np.random.default_rng(seed)
    patches = [BACK]
    for i in range(count):
        middle = rng.uniform((-3.5, 1.5), (3.5, 4.5))
        plane = rng.uniform(1.2, 2.5), rng.uniform(-0.15, 0.15), rng.uniform(-0.15, 0.15)
        outline = star(rng, middle, rng.uniform(0.6, 2.0), int(rng.integers(3, 9)))
        # Much smaller than the outline's nearest corner, so that it lies inside.
        hole = middle + 0.12 * np.min(np.linalg.norm(outline - middle, axis=1)) * np.array([(-1, -1), (1, -1), (0, 1)])
        holes = [on_plane(hole, *plane)] if len(outline) > 4 else []
        patches.append(kit.Patch(f"patch {i}", on_plane(outline, *plane), PLAIN, holes=holes))
    if returns:
        patches[1:2] = kit.with_returns(patches[1], 0.0)
    return kit.Facade(patches)


def points_of(picture, column, row):
    """Return the wall points on which places of the raster [px] land, shape (..., 3) [m]; NaN where none is."""
    across, down = np.broadcast_arrays(np.asarray(column, float), np.asarray(row, float))
    rows, columns = picture.patch.shape
    inside = (across >= 0) & (across <= columns) & (down >= 0) & (down <= rows)
    i, j = (
        np.clip(np.where(inside, place, 0.0).astype(np.intp), 0, size - 1)
        for place, size in ((down, rows), (across, columns))
    )
    # The last row serves the index -1: no plane at all.
    planes = np.array([*((*p.normal, p.offset) for p in picture.facade.patches), (np.nan,) * 4])
    planes = planes[np.where(inside, picture.patch[i, j], -1)]
    return picture.beam.land(picture.beam.pixel_rays(across, down), planes[..., :3], planes[..., 3])


def exposed_area(facade, name):
    """Return how much of a patch is not hidden by others, in the patch's own plane [m2]."""
    patch = facade.patch(name)
    return float(exposed(facade)[name].area / patch.normal[2]) if patch.faces_audience else 0.0
