"""From a scene to a map: illuminance, luminance of white and black, contrast at the eye.

The black that the eye sees is not dark. It is filled by what the panel leaks when it shows black (sequential contrast);
by what a bright picture scatters inside the lens (checkerboard contrast) and by way of wall and ground
(`BOUNCE`), both of which grow with the average picture level; and by ambient light on the wall and the veil in
the eye. `white_luminance` and `black_luminance` leave out these last two (and what walls send each other), the contrast
does not; what the ground sends back falls on white and black alike, so contrast is never below 1:

    contrast = (L_white + L_ambient + L_veil) / (L_black + L_ambient + L_veil)

Light of several projectors adds up, white and black. Where their pictures are blended (`Scene.blend`), the white of
each is faded in the overlap, and the black is not: a panel cannot go below its leak, so the black is brighter there.

With L = reflectance x E / pi in every term but the veil (`tint` apart), **the wall's reflectance cancels where there is
no veil**: a dark wall has the same contrast as a white one. It fails on luminance, and on the veil.
"""

import math
from dataclasses import replace
from functools import partial

import numpy as np
import xarray as xr

from kit import reference
from kit.arrays import Array, Extent, Point
from kit.blocks import in_bands
from kit.errors import InputError
from kit.eye.colorimetry import tint
from kit.eye.glare import haze_veil, picture_spread, source_veils, spread_by
from kit.fields import AVERAGE_PICTURE_LEVEL as PICTURE_LEVEL
from kit.fields import FLAG, LENGTH, SHARE, SPACING, Declared, Is, Many, Number, Range, Spec, Vector, declared, specs
from kit.light.ambient import EVEN, FOG, PICTURE, ROOMS, WALLS, Ambient, source_maps
from kit.light.cast import Machines, blended, cast_light, light_from_walls
from kit.quantities import labelled
from kit.results import Frame, check_made, make_frame
from kit.sky.site import GLOW, MOON, TWILIGHT
from kit.source.placement import Placement
from kit.source.projector import LEVELS, Factor, Projector, combine
from kit.wall.facade import Facade
from kit.wall.occlusion import OBSTACLES
from kit.wall.occlusion import Obstacle as Obstacle
from kit.wall.points import middle

MAPS = ("illuminance", "black_illuminance", "white_luminance", "black_luminance", "contrast", "reflectance")
# Those fields of `Doubt` that are of no source of light, by their labels.
DOUBTS = ("sequential contrast", "checkerboard contrast", "average picture level", "picture width")
# The share of a long wall's exitance that level ground in front returns, per reflectance: a wall of height H and even
# exitance M lights the ground at distance s with M/2 (1 - s / sqrt(s^2 + H^2)); by reciprocity it gets r / (M H) times
# the integral over s of that squared, which is r M (2 - pi/2) / 4. A front of finite width gets less.
BOUNCE = (2.0 - math.pi / 2.0) / 4.0
VISIBILITY = Number(label="visibility", unit="m", above=0.0, optional=True, meaning="in fog or rain; None: clear air")
DETAIL = Number(
    label="black detail", unit="m", above=0.0, optional=True,
    meaning="side of a black square, over which the eye spreads the picture around it",
)  # fmt: skip
EXTENT = Vector(length=4, of=LENGTH, label="extent", meaning="left, right, bottom and top", optional=True)


class Machine(Spec):
    """A pair (kit.Projector, kit.Placement)."""

    def _checked(self, field: str, value: object) -> tuple[Projector, Placement]:
        match value:
            case [Projector() as projector, Placement() as placement]:
                return projector, placement
        raise InputError(field, value, "a pair (kit.Projector, kit.Placement)")


SPREAD = Range(of=Number(above=0.0))


def usual(name: str) -> tuple[float, float]:
    """Return low and high over nominal of a row of ``reference_data/doubts.csv``."""
    row = reference.row("doubts", name)
    return row.low / row.value, row.high / row.value


def _field(name: str, meaning: str) -> tuple[float, float]:
    return declared(SPREAD, label=name, meaning=meaning, default=partial(usual, name))  # type: ignore[no-any-return]


class Doubt(Declared):
    """The middle 90% of what is not known of a scene, each as (low, high) over the value given; (1, 1): it is certain.

    Losses and surfaces carry bands of their own; `kit.bands` has the distribution.
    """

    sequential_contrast: tuple[float, float] = _field("sequential contrast", "of all machines alike")
    checkerboard_contrast: tuple[float, float] = _field("checkerboard contrast", "the same")
    picture_level: tuple[float, float] = _field("average picture level", "of what is shown")
    picture_width: tuple[float, float] = _field("picture width", "by distance and throw ratio, measured with a tape")
    even_light: tuple[float, float] = _field(EVEN, "ambient light given as one figure")
    rooms: tuple[float, float] = _field(ROOMS, "what comes through shades of the light behind them")
    lamps: tuple[float, float] = _field("lamps", "light of each lamp and string, apart from the others")
    twilight: tuple[float, float] = _field(TWILIGHT, "on the front")
    sky_glow: tuple[float, float] = _field(GLOW, "on the front")
    moon: tuple[float, float] = _field(MOON, "on the front")

    def _agree(self, where: str) -> None:
        for name, spec in specs(self).items():
            low, high = getattr(self, name)
            if not low <= 1.0 <= high:
                raise InputError(name, (low, high), f"low and high of the {spec.label} over its value: 1 lies between")

    def of(self, name: str) -> tuple[float, float]:
        """Return the band of an input by its label; every lamp has that of `lamps`."""
        bands = {spec.label: getattr(self, field) for field, spec in specs(self).items()}
        found: tuple[float, float] = bands.get(name, self.lamps)
        return found


class Scene(Declared):
    """A house front, the projectors in front of it, and the light around.

    Notes
    -----
    Pictures beside the front are taken to be masked black. Where pictures are blended (`kit.light.cast.blended`), equal
    machines make an even white; the leak of each stays and adds, and what a lens scatters follows its faded white.
    Seams are taken to be perfectly aligned. With a `black_detail`, contrast is that which the eye sees between it and
    the white beside it, in a picture that is even else (`kit.eye.glare.picture_spread`): the first map at 0.05 m takes
    some 0.5 s longer, at 0.3 m hardly so. In fog or rain (`visibility`, Koschmieder: what is seen at all at that
    distance keeps 2% of its contrast) all light on the front is what gets through the air to the eye. Obstacles hide
    beams, lamps and sky from the front, as its own depth does, and lamps from the eye; of the moon they hide nothing.
    """

    facade: Facade = declared(Is(kind=Facade))
    projectors: Machines = declared(Many(of=Machine(), least=1))
    ambient: Ambient = declared(Is(kind=Ambient), default=Ambient)
    average_picture_level: float = declared(PICTURE_LEVEL)
    ground_reflectance: float | None = declared(
        SHARE, label="ground reflectance", default=None, meaning="of the ground; None: as under its sky; none: 0"
    )
    doubt: Doubt = declared(Is(kind=Doubt), default=Doubt, meaning="what is not known of all this")
    blend: bool = declared(FLAG, default=False, meaning="whether pictures side by side fade into each other")
    obstacles: tuple[Obstacle, ...] = declared(OBSTACLES, default=(), meaning="what stands in the beams")
    black_detail: float | None = declared(DETAIL, default=None)
    visibility: float | None = declared(VISIBILITY, default=None)

    def air(self, start: Point) -> float:
        """Return the share of light that gets from `start` to the middle of the front and on to the eye, if known."""
        if self.visibility is None:
            return 1.0
        way = sum(math.dist(end, middle(self.facade)) for end in (start, self.ambient.eye) if end is not None)
        return math.exp(-reference.value("weather", "extinction times visibility") * way / self.visibility)

    @property
    def ground(self) -> float:
        """Reflectance of the ground, the same for lamps and for the picture's own light as for the sky."""
        given, sky = self.ground_reflectance, self.ambient.sky
        return given if given is not None else sky.site.ground_reflectance if sky else 0.0


def light_map(scene: Scene, spacing: float = 0.05, *, extent: Extent | None = None) -> xr.Dataset:
    """Return the light on the front of a scene, as the audience sees it in elevation.

    Parameters
    ----------
    scene : Scene
        The front, machines in their places, and the light that is there.
    spacing : float
        Size of a pixel of the map [m].
    extent : tuple of float, optional
        Left, right, bottom and top of a part of the front [m]; all of it if not given.

    Returns
    -------
    xarray.Dataset
        On (y, x), pixel centres in metres; NaN (index -1) where there is no wall: illuminance and black_illuminance
        [lx], from the projectors on full white and on black by the nominal chain, white_luminance and black_luminance
        [cd/m2], contrast, reflectance, and patch, index into `patch_index`; on (source, y, x): ambient_illuminance [lx]
        and veiling_luminance [cd/m2] of each source of ambient light; on (projector, patch_index): picture_share, the
        share of each projector's lumens that lands there, before it is blended; on (level, patch_index):
        reflectance_band; on (projector, step, level): chain; on (input, level): doubt; on (obstacle,): hidden_share,
        where one hides any. Where walls face each other, on (y, x) walls_share: what they send each other, as a share
        of black at the eye. Read-only, on (projector, y, x): unit_white [lx/lm], illuminance of white per delivered
        lumen, and unit_black, the same before pictures are blended, where they are.

    Raises
    ------
    InputError
        For a lens behind or inside the front, or a picture that misses it.

    Examples
    --------
    >>> import kit
    >>> wall = kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], kit.Surface(name="grey", reflectance=0.5))
    >>> place = kit.Placement(position=(0, 2.5, 8), aim=(0, 2.5, 0))
    >>> machine = kit.Projector(light_output=4000, throw_ratio=1.0, resolution=(1600, 1000))
    >>> scene = kit.Scene(facade=kit.Facade([wall]), projectors=[(machine, place)])
    >>> light = kit.light_map(scene, spacing=0.1)
    >>> round(float(light["illuminance"].mean()), 3)  # 4,000 lm on 40 square metres
    100.0
    """
    from kit.light.kernel import map_rows

    step = SPACING.check("spacing", spacing)
    facade = scene.facade
    area = facade.bounds if extent is None else EXTENT.check("extent", extent)
    cast = cast_light(facade, scene.projectors, area, step, scene.obstacles)
    raster = cast.raster
    faded, share = blended(cast) if scene.blend and len(cast.units) > 1 else (cast.units, cast.share)

    air = [scene.air(place.position) for _, place in scene.projectors]
    machines = [hazed(projector, share) for (projector, _), share in zip(scene.projectors, air, strict=True)]
    transmission = np.array([machine.transmission() for machine in machines])
    lumens = np.array([machine.light_output for machine in machines]) * transmission[:, 1]
    used = share.sum(axis=1)
    dark = black_share(machines, scene.average_picture_level, used)
    surfaces = [patch.surface for patch in facade.patches]
    reflectance = np.array([surface.reflectance for surface in surfaces])
    # What comes back from the ground, of each projector's light on each patch, per reflectance and picture level.
    back = BOUNCE * scene.ground / raster.seen_area * lumens[:, None] * share
    bounce = scene.average_picture_level * float((back @ reflectance).sum())
    names, veils = list(scene.ambient.sources()), source_veils(scene.ambient, raster, scene.obstacles)
    sources, air_here = source_maps(scene.ambient, raster, scene.ground, scene.obstacles), scene.air(middle(facade))
    if air_here != 1.0:
        sources = air_here * sources
    more, none = [], np.broadcast_to(0.0, raster.patch.shape)
    rooms = np.append([patch.shines_like for patch in facade.patches], np.nan)[raster.patch]
    if (rooms > 0.0).any():
        more.append((ROOMS, air_here * rooms, none))
    walls = light_from_walls(raster, cast.beams, lumens * used / cast.share.sum(axis=1), reflectance, scene.obstacles)
    if walls is not None:
        more.append((WALLS, scene.average_picture_level * walls, none))
    facing = np.array([surface.luminance_factor for surface in surfaces]) / np.pi
    if scene.black_detail is not None:
        if scene.ambient.eye is None:
            raise InputError("black_detail", scene.black_detail, "None, or an eye in the ambient light")
        white = np.tensordot(lumens, faded, 1) * np.append(facing, np.nan)[raster.patch]
        kernel = picture_spread(facade, white.shape, raster.grid.spacing, scene.ambient.viewer, scene.black_detail)
        more.append((PICTURE, none, spread_by(kernel, scene.average_picture_level * white)))
    if scene.visibility is not None and scene.ambient.eye is not None:
        haze = reference.value("weather", "extinction times visibility") / scene.visibility
        glow = haze_veil(raster, scene.ambient.eye, cast.beams, lumens / air, haze)
        more.append((FOG, none, np.where(raster.patch < 0, np.nan, scene.average_picture_level * glow)))
    if more:
        added, light, glow = zip(*more, strict=True)
        names, sources, veils = [*names, *added], np.concatenate([sources, light]), np.concatenate([veils, glow])
    ambient, veil = (one[0] if len(one) == 1 else one.sum(axis=0) for one in (sources, veils))
    maps = np.empty((len(MAPS), *raster.patch.shape))
    tints = np.array([[tint(projector.light_source, surface) for surface in surfaces] for projector in machines])
    given = raster.patch, cast.units, faded, lumens, dark, bounce, reflectance, facing, tints, ambient, veil, maps
    in_bands(lambda first, last: map_rows(first, last, *given), *raster.patch.shape)
    steps, chain = _chain_table(machines)
    weights = lumens * used
    gains = np.array([np.nan if surface.gain is None else surface.gain for surface in surfaces])
    inputs = (*DOUBTS, *names)
    bands = np.array([[s.low, s.reflectance, s.high] for s in surfaces]).T
    plane, patches = ("y", "x"), ("patch_index",)
    found = {name: (plane, values) for name, values in zip(MAPS, maps, strict=True)} | {
        # What is remembered is shared: what the caller changes must not be.
        "patch": (plane, raster.patch.copy()), "ambient_illuminance": (("source", *plane), sources),
        "veiling_luminance": (("source", *plane), veils), "reflectance_band": (("level", *patches), bands),
        "picture_share": (("projector", *patches), cast.share.copy()),
        "chain": (("projector", "step", "level"), chain),
        "light_band": ("level", (transmission / transmission[:, 1:2]).T @ weights / weights.sum()),
        "doubt": (("input", "level"), [(low, 1.0, high) for low, high in map(scene.doubt.of, inputs)]),
        "gain": (patches, gains), "bounce": (("projector", *patches), back), "tint": (("projector", *patches), tints),
        "unit_white": (("projector", *plane), np.broadcast_to(faded, faded.shape)),
        "delivered_light": ("projector", lumens), "landed_share": ("projector", used),
        "leak": ("projector", [machine.leak() for machine in machines]),
        "scatter": ("projector", [machine.scatter() for machine in machines]),
        "y": ("y", raster.grid.y), "x": ("x", raster.grid.x),
    }  # fmt: skip
    if walls is not None:
        black = maps[3] + maps[5] / np.pi * ambient + veil
        found["walls_share"] = plane, scene.average_picture_level * walls * maps[5] / np.pi / np.maximum(black, 1e-99)
    if cast.hidden:
        found["hidden_share"] = "obstacle", list(cast.hidden.values())
    if faded is not cast.units:
        found["unit_black"] = ("projector", *plane), np.broadcast_to(cast.units, cast.units.shape)
    coords = {
        "source": names, "obstacle": list(cast.hidden), "level": list(LEVELS), "step": steps,
        "input": list(inputs),
        "patch_name": ("patch_index", [patch.name for patch in facade.patches]),
        "surface_name": ("patch_index", [surface.name for surface in surfaces]),
        "surface_kind": ("patch_index", [surface.kind for surface in surfaces]),
        "judged": ("patch_index", [patch.judged for patch in facade.patches]),
    }  # fmt: skip
    stated = float(sum(machine.light_output for machine in machines))
    attrs = {"front": facade.name, "stated_light_output": stated, "spacing": raster.grid.spacing}
    attrs |= {"average_picture_level": scene.average_picture_level, "light_from_ground": bounce}
    return xr.Dataset({name: labelled(name, *given) for name, given in found.items()}, coords, attrs)


def hazed(machine: Projector, share: float) -> Projector:
    """Return a machine with what the air leaves of its light; visibility is judged within a factor of 1.5."""
    if share == 1.0:
        return machine
    air = Factor(name="air: fog or rain", low=share**1.5, nominal=share, high=share ** (1 / 1.5), source="Koschmieder")
    return replace(machine, chain=(*machine.chain, air))


def black_share(machines: list[Projector], level: float, used: Array) -> Array:
    """Return black over white of machines at a picture level; `used`: share of each one's light on the front."""
    return np.array([m.leak() + m.scatter() * level * share for m, share in zip(machines, used, strict=True)])


def chain_frame(light: xr.Dataset) -> Frame:
    """Return the way from stated lumens to lumens on the wall in a `light_map`, a row for each projector's factors."""
    check_made("light", light, "chain step", "kit.light_map")
    rows = []
    for machine, table in enumerate(light["chain"].transpose("projector", "step", "level").values, 1):
        steps = [*zip(light["step"].values[1:], table[1:], strict=True)]
        together = ("all together (independent deviations)", combine(table.tolist()))
        for name, factors in (*steps, together):
            row = {"projector": machine, "factor": str(name)}
            rows.append(row | dict(zip(LEVELS, map(float, factors), strict=True)))
    frame = make_frame(rows, dict.fromkeys(LEVELS, ".2f"), index="factor")
    frame.attrs["title"] = "from stated lumens to lumens on the wall"
    return frame.drop(columns="projector") if light.sizes["projector"] == 1 else frame


def _chain_table(machines: list[Projector]) -> tuple[list[str], Array]:
    """Return the step names and the factors, shape (projector, step, level); 1 where not applied."""
    steps = list(dict.fromkeys(["stated light output", *(f.name for m in machines for f in m.chain)]))
    table = np.ones((len(machines), len(steps), len(LEVELS)))
    for i, machine in enumerate(machines):
        for factor in machine.chain:
            table[i, steps.index(factor.name)] *= [getattr(factor, level) for level in LEVELS]
    return steps, table
