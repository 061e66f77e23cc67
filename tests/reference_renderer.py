"""Illuminance of a projection on a house front, computed by a general-purpose renderer.

Nothing of the kit is imported here: geometry, lens and light path are handed to Mitsuba 3
(`projector` emitter, orthographic sensor, `direct` integrator), so its answer is independent.
The module itself needs no Mitsuba; the first call loads it.
"""

from functools import cache

import numpy as np
import shapely

# The JIT variants are fastest but need a shared LLVM library; the scalar one always works.
# The wheels ship no double-precision variant, so every answer carries single-precision rounding.
VARIANTS = ("llvm_ad_mono", "llvm_ad_rgb", "scalar_rgb")


@cache
def available_variants():
    """Return the variants of `VARIANTS` that work on this machine, preferred one first."""
    import mitsuba as mi

    usable = []
    before = mi.variant()
    for name in VARIANTS:
        try:
            mi.set_variant(name)
            # LLVM is looked for at the first traced operation, not when the variant is chosen.
            mi.Point3f(1.0, 2.0, 3.0) + mi.Point3f(1.0)
        except (ImportError, RuntimeError, AttributeError):
            continue
        usable.append(name)
    if before is not None:
        mi.set_variant(before)
    return tuple(usable)


def _mitsuba(variant=None):
    """Return the mitsuba module with a variant set, the preferred one unless one is named."""
    import mitsuba as mi

    mi.set_variant(variant or available_variants()[0])
    return mi


def axes(position, aim, roll):
    """Return the picture's unit vectors (right, up, forward) in world axes."""
    forward = np.subtract(aim, position, dtype=float)
    forward /= np.linalg.norm(forward)
    level = np.cross(forward, (0.0, 1.0, 0.0))
    level /= np.linalg.norm(level)
    upright = np.cross(level, forward)
    cos, sin = np.cos(np.radians(roll)), np.sin(np.radians(roll))
    return level * cos - upright * sin, upright * cos + level * sin, forward


def triangles(polygons):
    """Return vertices (n, 3) and triangle indices (m, 3) of planar simple polygons."""
    vertices, faces = [], []
    for polygon in polygons:
        ring = np.asarray(polygon, dtype=float)
        normal = np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0)
        # Dropping the dominant axis keeps walls that are edge-on to the audience.
        flat = np.delete(ring, np.abs(normal).argmax(), axis=1)
        index = {tuple(point): len(vertices) + i for i, point in enumerate(flat)}
        for piece in shapely.constrained_delaunay_triangles(shapely.Polygon(flat)).geoms:
            faces.append([index[point] for point in piece.exterior.coords[:3]])
        vertices.extend(ring)
    return np.array(vertices), np.array(faces)


def _front(mi, polygons, reflectance):
    """Return the front as one mesh, two-sided and diffuse."""
    vertices, faces = triangles(polygons)
    properties = mi.Properties()
    white = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": reflectance}}}
    properties["bsdf"] = mi.load_dict(white)
    mesh = mi.Mesh("front", vertex_count=len(vertices), face_count=len(faces), props=properties)
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = vertices.ravel().astype(np.float32)
    parameters["faces"] = faces.ravel().astype(np.uint32)
    parameters.update()
    return mesh


def _projector(mi, light_output, throw_ratio, resolution, lens_shift, position, aim, roll):
    """Return the emitter: a full-white picture with no light beside it."""
    width = 1.0 / throw_ratio
    height = width * resolution[1] / resolution[0]
    across, along = lens_shift
    # The emitter has no lens shift. Its frame is therefore a square around the axis, large enough
    # for the shifted picture, and its texture is one white texel amid black ones; `to_uv` lays the
    # white texel exactly on the picture.
    half = 1.02 * max((abs(across) + 0.5) * width, (abs(along) + 0.5) * height)
    texels = np.zeros((3, 3, 1), dtype=np.float32)
    texels[1, 1] = 1.0
    centre = 0.5 + 0.5 * across * width / half, 0.5 - 0.5 * along * height / half
    scale = 2.0 * half / (3.0 * width), 2.0 * half / (3.0 * height)
    shift = [0.5 - s * c for s, c in zip(scale, centre, strict=True)]
    transform = mi.ScalarTransform4f
    right, up, forward = axes(position, aim, roll)
    frame = np.eye(4)
    # The renderer's local x runs to the left of the picture.
    frame[:3, 0], frame[:3, 1], frame[:3, 2], frame[:3, 3] = -right, up, forward, position
    return {
        "type": "projector",
        "to_world": transform(frame),
        "fov_axis": "x",
        "fov": float(2.0 * np.degrees(np.arctan(half))),
        "scale": float(light_output / (width * height)),
        "irradiance": {
            "type": "bitmap",
            "bitmap": mi.Bitmap(texels),
            "raw": True,
            "filter_type": "nearest",
            "wrap_mode": "clamp",
            "to_uv": transform().translate([*shift, 0.0]) @ transform().scale([*scale, 1.0]),
        },
    }


def _sensor(mi, polygons, extent, shape, samples, sampler=None):
    """Return an orthographic sensor that looks along -z; without a sampler it samples pixel centres."""
    x0, x1, y0, y1 = extent
    ny, nx = shape
    film = {"type": "hdrfilm", "width": nx, "height": ny, "rfilter": {"type": "box"}}
    film |= {"pixel_format": "luminance", "component_format": "float32"}
    transform = mi.ScalarTransform4f
    x, y = (x0 + x1) / 2.0, (y0 + y1) / 2.0
    z = max(float(np.max(np.asarray(p)[:, 2])) for p in polygons) + 1.0
    view = transform().look_at(origin=[x, y, z], target=[x, y, z - 1.0], up=[0.0, 1.0, 0.0])
    # Unscaled, the sensor spans 2 in width and 2 ny/nx in height.
    size = transform().scale([(x1 - x0) / 2.0, (y1 - y0) / 2.0 * nx / ny, 1.0])
    return {
        "type": "orthographic",
        "to_world": view @ size,
        "film": film,
        # Without jitter one stratum per pixel means its centre.
        "sampler": sampler or {"type": "stratified", "jitter": False, "sample_count": samples},
    }


def _scene(mi, polygons, extent, shape, samples, reflectance=None, **projector):
    """Return the loaded scene: of direct light on white, or of all light that a front of some reflectance sends on."""
    direct = {"type": "direct", "emitter_samples": 1, "bsdf_samples": 0}
    scene = {"type": "scene", "integrator": {"type": "path", "max_depth": 16} if reflectance else direct}
    # Without jitter all points would send their rays the same few ways, and between them miss what is narrow.
    random = {"type": "independent", "sample_count": samples} if reflectance else None
    scene["sensor"] = _sensor(mi, polygons, extent, shape, samples, random)
    scene["projector"] = _projector(mi, **projector)
    scene["front"] = _front(mi, polygons, reflectance or 1.0)
    return mi.load_dict(scene)


def _pixels(mi, scene, shape, samples=1):
    """Return the rendered values as float64, row 0 lowest."""
    return np.array(mi.render(scene, spp=samples), dtype=float).reshape(shape)[::-1]


@cache
def calibration(variant=None):
    """Return the rendered value per lux, measured on perpendicular walls.

    The renderer's unit of light is no lumen. A wall square to the axis at distance d carries
    light_output / (width height) all over the picture, width and height taken at d; the constant
    is read from that. Several lenses and distances must agree, or RuntimeError is raised.
    """
    mi = _mitsuba(variant)
    wall = np.array([[-99.0, -99.0, 0.0], [99.0, -99.0, 0.0], [99.0, 99.0, 0.0], [-99.0, 99.0, 0.0]])
    square = {"light_output": 1.0, "resolution": (1, 1), "lens_shift": (0, 0), "aim": (0, 0, 0), "roll": 0}
    measured = []
    for throw_ratio, distance in ((1.0, 1.0), (1.0, 7.0), (0.5, 3.0), (2.5, 20.0)):
        width = distance / throw_ratio
        extent = 0.45 * width * np.array([-1, 1, -1, 1])
        pose = {"throw_ratio": throw_ratio, "position": (0, 0, distance)}
        values = _pixels(mi, _scene(mi, [wall], extent, (8, 8), 1, **square, **pose), (8, 8))
        measured.extend(values.ravel() * width**2)
    constant = float(np.median(measured))
    if not np.allclose(measured, constant, rtol=1e-4, atol=0.0):
        raise RuntimeError(f"calibration walls disagree: {min(measured)} to {max(measured)}")
    return constant


def illuminance(
    polygons, *, light_output, throw_ratio, resolution, lens_shift, position, aim, roll, extent, shape,
    samples=1, variant=None, reflectance=None,
):  # fmt: skip
    """Return the illuminance on the front as its audience sees it.

    Parameters
    ----------
    polygons : list of array_like, shape (N, 3)
        Planar, simple, possibly non-convex parts of the front, in metres.
    light_output : float
        Lumens of the full-white picture.
    throw_ratio : float
        Throw distance over picture width.
    resolution : tuple of int
        Pixels (across, down); only their ratio counts.
    lens_shift : tuple of float
        Picture widths to the right and picture heights up.
    position, aim : array_like, shape (3,)
        Lens centre and a point on the lens axis, in metres.
    roll : float
        Degrees; positive turns the picture clockwise for the audience.
    extent : tuple of float
        (x0, x1, y0, y1) of the map, in metres.
    shape : tuple of int
        (ny, nx) of the map.
    samples : int
        Samples per pixel, a square number; 1 samples pixel centres.
    variant : str, optional
        A name out of `available_variants`; the preferred one by default.
    reflectance : float, optional
        Of the front, whose parts then light each other (`path` integrator); direct light alone by default.

    Returns
    -------
    ndarray, shape (ny, nx), float64
        Lux; row 0 is lowest, zero where no part of the front is seen.

    Notes
    -----
    A pixel centre exactly on a seam between two triangles may slip through, and one exactly on
    the border of a picture or shadow may fall on either side: compare by quantiles.
    """
    mi = _mitsuba(variant)
    scene = _scene(
        mi, polygons, extent, shape, samples, light_output=light_output, throw_ratio=throw_ratio,
        resolution=resolution, lens_shift=lens_shift, position=position, aim=aim, roll=roll, reflectance=reflectance,
    )  # fmt: skip
    return _pixels(mi, scene, shape, samples) / (calibration(variant) * (reflectance or 1.0))


def direct_pass(polygons, *, extent, shape=(960, 1920), variant=None, **projector):
    """Return a callable that renders the scene of `illuminance` once, for a benchmark.

    Set-up and, where there is one, the compilation of the kernel happen here. The callable
    returns only after the image is computed, as renderer values rather than lux.
    """
    import drjit as dr

    mi = _mitsuba(variant)
    scene = _scene(mi, polygons, extent, shape, 1, **projector)

    def render():
        _mitsuba(variant)  # another call may have changed it in between
        image = mi.render(scene, spp=1)
        dr.eval(image)
        dr.sync_thread()
        return image

    render()
    return render
