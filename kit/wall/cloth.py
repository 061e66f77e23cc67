"""Cloth in front of a wall: how light it gets, how much of it, what it costs, how the wind pulls at it.

Thin cloth lets light through, so what hangs behind it counts. `hang` makes one surface out of cloth, wall and what is
between them; `cover` does so for chosen patches of a front and adds up the cloth.

Rain wets cloth and wall. Both become darker, and cloth lets more through; see `layers`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kit import reference
from kit.bands import in_quadrature
from kit.errors import InputError
from kit.fields import FLAG, NAME, SHARE, Band, Is, Number, Vector, check_fields, check_named, declared, specs
from kit.results import Result, banded, make_frame
from kit.source.projector import Levels
from kit.source.spectra import WAVELENGTHS, Spectrum, spectrum
from kit.units import edge
from kit.wall.facade import THINNEST, Facade, Patch, Surface, split_at
from kit.wall.layers import GAP, SIDE, Layer, gap_layer, soaked_sheet, stack, wet_reflectance, wet_sheet
from kit.wall.raster import exposed_area
from kit.wall.surface_spectra import surface_spectrum
from kit.wall.texture import Pattern, behind
from kit.words import plain

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

MASONRY = ("brick", "mortar", "stucco", "concrete", "stone")
# What rain soaks into. Paint, glass, siding and metal only get drops.
POROUS = (*MASONRY, "wood", "roof")
# Nobody may cover a way out; windows give light back already if their shades are white.
NEVER_COVERED = ("window", "door")

ALL_MASONRY, LOWER_STOREY, EVERYTHING = "all masonry", "the lower storey", "everything but windows and doors"
CHOICES = (ALL_MASONRY, LOWER_STOREY, EVERYTHING)

LAYERS = Number(label="layers", whole=True, low=1, high=16, default=1)
WIND = Number(label="wind", unit="m/s", low=0.0, meaning="speed at the cloth, gusts included")

CLOTH_CAUTION = (
    "Cloth on a house catches wind and can burn. How it must be anchored, which fire rating it needs and which exits "
    "and openings must stay clear are matters of your local code; keep it off lamps and chimneys, take it down in a "
    "storm, and mind the ladder."
)


@dataclass(frozen=True, kw_only=True)
class Cloth:
    """One layer of cloth, dry.

    Parameters
    ----------
    name : str
    reflectance, transmittance : float or (low, nominal, high)
        Diffuse, photopic, in [0, 1]. Each end of one with the nominal of the other adds up to at most 1.
    weight : float or (low, nominal, high)
        [kg/m2], above 0.
    price : float or (low, nominal, high)
        [USD/m2], 0 or more.

    Raises
    ------
    InputError
        For a value outside its domain, a band out of order, or more light than falls on the cloth.
    """

    name: str = declared(NAME)
    reflectance: Levels = declared(Band(label="reflectance", of=SHARE))
    transmittance: Levels = declared(Band(label="transmittance", of=SHARE))
    weight: Levels = declared(Band(label="weight", of=Number(unit="kg/m2", above=0.0)), default=0.15)
    price: Levels = declared(Band(label="price", of=Number(unit="USD/m2", low=0.0)), default=0.0)

    def __post_init__(self) -> None:
        where = check_named(self, "cloth")
        (_, r, r_high), (_, t, t_high) = self.reflectance, self.transmittance
        for one, other in ((r, t), (r_high, t), (r, t_high)):
            if one + other > 1.0 + 1e-9:
                raise InputError(
                    f"{where}: reflectance + transmittance",
                    round(one + other, 4),
                    "at most 1, each end of one band with the middle of the other",
                )

    @classmethod
    def from_reference(cls, name: str) -> Cloth:
        """Return a cloth of ``reference_data/cloths.csv``; an unknown name raises `InputError`."""
        if name not in (*cloth_names(), *reference.names("cloths", "lining")):
            raise InputError("cloth", name, f"one of {', '.join(cloth_names())}")
        rows = {quantity: reference.row("cloths", name, quantity=quantity) for quantity in list(specs(cls))[1:]}
        return cls(name=name, **{quantity: (row.low, row.value, row.high) for quantity, row in rows.items()})


def cloth_names() -> tuple[str, ...]:
    """Return the cloths of ``reference_data/cloths.csv``."""
    return tuple(reference.names("cloths", "cloth"))


@dataclass(frozen=True, kw_only=True)
class Hanging:
    """How cloth hangs.

    Parameters
    ----------
    layers : int
        Of the cloth itself, 1 to 16.
    lining : Cloth, optional
        A last layer of another cloth, nearest the wall.
    gap : float
        Between cloth and wall [m], 0 or more. What light leaves by its open edges is lost.
    span : (float, float)
        Width and height of the hanging, for the edges of the gap [m].
    wet : bool
        Cloth and porous wall soaked by rain.
    """

    layers: int = declared(LAYERS)
    lining: Cloth | None = declared(Is(kind=Cloth), default=None)
    gap: float = declared(GAP, default=0.0)
    span: tuple[float, float] = declared(Vector(label="span", length=2, of=SIDE), default=(3.0, 3.0))
    wet: bool = declared(FLAG, label="wet", default=False)

    def __post_init__(self) -> None:
        check_fields(self)


def hang(cloth: Cloth, wall: Surface, how: Hanging | None = None, *, spectral: bool = False) -> Surface:
    """Return the surface that `cloth` in front of `wall` makes.

    Parameters
    ----------
    cloth : Cloth
    wall : Surface
        What hangs behind, dry.
    how : Hanging
        One dry layer, close to the wall, if not given.
    spectral : bool
        Also work out the reflectance by wavelength, the wall's own colour behind the cloth included. Loads
        colour-science.

    Returns
    -------
    Surface
        Its band combines those of the cloth's reflectance, its transmittance and the wall in quadrature
        (JCGM 100:2008, 5.1.2). Wet cloth's low end is that of a soaked sheet.

    Notes
    -----
    The cloth reflects alike at all wavelengths: white cloths nearly do.
    """
    if not isinstance(cloth, Cloth):
        raise InputError("cloth", cloth, "a kit.Cloth, such as Cloth.from_reference('white cotton')")
    how = how or Hanging()
    porous = not wall.kind or wall.kind in POROUS
    bands = (cloth.reflectance, cloth.transmittance, (wall.low, wall.reflectance, wall.high))
    nominal = [band[1] for band in bands]
    # All nominal, then the low end of each with the others nominal, then the high end of each.
    single = [[*nominal[:k], bands[k][end], *nominal[k + 1 :]] for end in (0, 2) for k in range(len(bands))]
    r, t, back = np.array([nominal, *single]).T
    middle, *ends = np.asarray(_hung(r, t, back, how, porous, wet_sheet).reflectance).tolist()
    low, high = ends[: len(bands)], ends[len(bands) :]
    if how.wet:
        soaked = np.asarray(_hung(r[:1], t[:1], back[:1], how, porous, soaked_sheet).reflectance)
        low.append(min(float(soaked[0]), middle))
    # A reflectance of nothing has no logarithm.
    down, up = (
        float(in_quadrature([max(value, 1e-12) / max(middle, 1e-12) for value in values], sign))
        for values, sign in ((low, -1), (high, 1))
    )
    pieces = [f"{how.layers} x {cloth.name}" if how.layers > 1 else cloth.name]
    pieces += [how.lining.name] if how.lining else []
    return Surface(
        name=f"{'wet ' if how.wet else ''}{', '.join(pieces)} on {wall.name}",
        reflectance=min(middle, 1.0),
        low=min(middle * down, 1.0),
        high=min(middle * up, 1.0),
        kind="fabric",
        spectrum=_spectrum(cloth, wall, how, porous) if spectral else None,
    )


def hanging_frame(
    wall: Surface, cloths: Iterable[str] | None = None, *, gap: float = 0.3, units: str = "m"
) -> pd.DataFrame:
    """Return the reflectance that cloths in front of a wall make, a row for each, and the bare wall's last.

    Parameters
    ----------
    wall : Surface
    cloths : names, optional
        Of ``reference_data/cloths.csv``; all of them if not given.
    gap : float
        Of the hangings with a gap [m].
    units : {"m", "ft"}
        Of the gap in the name of its column.
    """
    sign, size = edge("mm", units)
    lining = Cloth.from_reference(reference.names("cloths", "lining")[0])
    hangings = {
        "two layers": Hanging(layers=2),
        "black lining": Hanging(lining=lining),
        f"gap {plain(1e3 * gap / size)} {sign}": Hanging(gap=gap),
        "wet": Hanging(wet=True),
    }
    rows = []
    for name in cloths or cloth_names():
        cloth = Cloth.from_reference(name)
        one = hang(cloth, wall)
        others = {label: hang(cloth, wall, how).reflectance for label, how in hangings.items()}
        rows.append({f"on {wall.name}": name, **banded("one layer", (one.low, one.reflectance, one.high)), **others})
    bare = banded("one layer", (wall.low, wall.reflectance, wall.high))
    rows.append({f"on {wall.name}": "no cloth", **bare, "wet": wet_surface(wall).reflectance})
    formats = {"one layer": "band", **dict.fromkeys(hangings, ".2f")}
    return make_frame(rows, formats, index=f"on {wall.name}")


def pattern_behind(pattern: Pattern, cloth: Cloth, how: Hanging | None = None) -> Pattern:
    """Return the pattern of a wall as it shows through cloth, `how` it hangs."""

    def through(reflectance: float) -> float:
        return hang(cloth, Surface(name="wall", reflectance=reflectance, kind="brick"), how).reflectance

    return behind(pattern, through)


def wet_surface(wall: Surface) -> Surface:
    """Return `wall` as rain darkens it; what does not soak water up stays as it is.

    A surface of unknown kind is taken to be porous.
    """
    if wall.kind and wall.kind not in POROUS:
        return wall
    solid = reference.value("constants", "refractive index of masonry")

    ends = ("reflectance", "low", "high")
    dry = np.array([getattr(wall, end) for end in ends])
    wet = wet_reflectance(dry, solid=solid)
    # A screen loses of its gain what it loses of its reflectance.
    gain = None if wall.gain is None else wall.gain * float(wet[0]) / max(wall.reflectance, 1e-12)
    return replace(wall, name=f"wet {wall.name}", gain=gain or None, **dict(zip(ends, wet.tolist(), strict=True)))


def wet_front(facade: Facade) -> Facade:
    """Return the front with every porous surface wet; cloth that hangs already is left as it hangs."""
    return replace(facade, patches=tuple(replace(p, surface=wet_surface(p.surface)) for p in facade.patches))


@dataclass(frozen=True, kw_only=True)
class Covering(Result):
    """A front with cloth over some of it, and the cloth added up.

    Attributes
    ----------
    facade : Facade
        The front as covered.
    bare : Facade
        The same patches without the cloth, wet where the cloth is wet.
    patches : tuple of str
        Covered.
    cloth, how
        As given.
    area : float
        Of wall that the cloth hides, windows cut out [m2].
    cloth_area : (float, float, float)
        To buy, all layers with hems and waste, without the lining [m2], low, nominal, high.
    weight, price : (float, float, float)
        Of all of it, lining included, dry [kg], [USD]. Low is all that is low together, high likewise.
    """

    facade: Facade
    bare: Facade
    patches: tuple[str, ...]
    cloth: Cloth
    how: Hanging
    area: float
    cloth_area: Levels
    weight: Levels
    price: Levels

    def wind_force(self, wind_speed: float) -> float:
        """Return the push of the wind on the cloth, q = rho v^2 / 2 times its area [N].

        Parameters
        ----------
        wind_speed : float
            At the cloth, gusts included [m/s]. Shape factors are left to whoever designs the anchoring.
        """
        speed = WIND.check("wind_speed", wind_speed)
        return 0.5 * reference.value("constants", "density of air") * speed**2 * self.area

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return area, weight and price, one row."""
        (square, metre2), (heavy, kilogram) = edge("m2", units), edge("kg", units)
        wall, cloth, weight, price = (
            f"wall under cloth [{square}]", f"cloth to buy [{square}]", f"weight [{heavy}]", "price [USD]",
        )  # fmt: skip
        row = {
            "cloth": self.cloth.name,
            wall: self.area / metre2,
            **banded(cloth, self.cloth_area, metre2),
            **banded(weight, self.weight, kilogram),
            **banded(price, self.price),
        }
        return make_frame([row], {wall: ",.0f"} | dict.fromkeys((cloth, weight, price), "band"), index="cloth")

    def sentence(self, units: str = "m", wind: str = "near gale") -> str:
        """Return area, weight, price and wind load in words.

        Parameters
        ----------
        units : {"m", "ft"}
        wind : str
            A row of ``reference_data/weather.csv``.
        """

        def said(value: float, unit: str, digits: int = 0) -> str:
            sign, size = edge(unit, units)
            return f"{plain(value / size, digits)} {sign}"

        speed = reference.row("weather", wind, group="wind").value
        force = self.wind_force(speed)
        pull = said(force / reference.value("constants", "standard gravity"), "kg")
        low, price, high = map(plain, self.price)
        return (
            f"{said(self.area, 'm2')} of wall under cloth; with hems and waste {said(self.cloth_area[1], 'm2')} to "
            f"buy, {said(self.weight[1], 'kg')}, about {price} USD (likely {low} to {high}). In a {wind} "
            f"({said(speed, 'm/s', 1)}) the wind pushes with {said(force, 'N')}"
            f"{'' if units == 'ft' else f', as much as the weight of {pull}'}; a gust half as fast again more than "
            "doubles that."
        )


def cover(
    facade: Facade,
    cloth: Cloth,
    what: str | Iterable[str] = ALL_MASONRY,
    *,
    how: Hanging | None = None,
    storey: float | None = None,
    spectral: bool = False,
) -> Covering:
    """Return the front with cloth over some of it.

    Parameters
    ----------
    facade : Facade
        Dry.
    cloth : Cloth
    what : str or names of patches
        One of `CHOICES`, or the patches by name. Windows, doors and what is not judged stay bare in all of `CHOICES`.
    how : Hanging
    storey : float, optional
        Height of the lower storey above the ground line [m]; half the front's height up to the eaves of its largest
        masonry patch if not given.
    spectral : bool
        As in `hang`.

    Raises
    ------
    InputError
        For a choice that covers nothing, or a patch that is not there.

    Examples
    --------
    >>> import kit
    >>> brick = kit.Surface.from_reference("red brick")
    >>> front = kit.Facade([kit.Patch("wall", [(0, 0), (8, 0), (8, 3), (0, 3)], brick)])
    >>> covering = kit.cover(front, kit.Cloth.from_reference("white cotton"))
    >>> covering.patches, round(covering.area, 1)
    (('wall',), 24.0)
    >>> round(covering.facade.patch("wall").surface.reflectance, 2)
    0.69
    """
    how = how or Hanging()
    if not isinstance(what, Iterable) or (isinstance(what, str) and what not in CHOICES):
        raise InputError("what to cover", what, f"one of {', '.join(CHOICES)}, or a list of patch names")
    if what == LOWER_STOREY:
        facade, chosen = _lower_storey(facade, storey)
    elif isinstance(what, str):
        chosen = tuple(p.name for p in facade.patches if _may_cover(p, what))
    else:
        chosen = tuple(dict.fromkeys(facade.patch(name).name for name in what))
    areas = {name: exposed_area(facade, name) for name in chosen}
    chosen = tuple(name for name in chosen if areas[name] > 0)
    if not chosen:
        right = f'something that this front shows; "{EVERYTHING}" takes in all that is not masonry too'
        raise InputError("what to cover", what, right)
    bare = wet_front(facade) if how.wet else facade
    hung = {p.name: hang(cloth, p.surface, how, spectral=spectral) for p in facade.patches if p.name in chosen}
    covered = replace(
        bare, patches=tuple(replace(p, surface=hung[p.name]) if p.name in hung else p for p in bare.patches)
    )
    area = sum(areas.values())
    allowance = reference.row("cloths", "hem and overlap")
    # To buy, for each layer: wall, hems and overlap.
    sheet = [area * (1.0 + share) for share in (allowance.low, allowance.value, allowance.high)]
    sheets = [(cloth, how.layers)] + ([(how.lining, 1)] if how.lining else [])

    def total(of: Callable[[Cloth], Levels]) -> Levels:
        low, nominal, high = (sum(of(c)[i] * size * n for c, n in sheets) for i, size in enumerate(sheet))
        return low, nominal, high

    low, nominal, high = (size * how.layers for size in sheet)
    return Covering(
        facade=covered,
        bare=bare,
        patches=chosen,
        cloth=cloth,
        how=how,
        area=area,
        cloth_area=(low, nominal, high),
        weight=total(lambda cloth: cloth.weight),
        price=total(lambda cloth: cloth.price),
    )


def _may_cover(patch: Patch, what: str) -> bool:
    if not (patch.faces_audience and patch.judged) or patch.surface.kind in NEVER_COVERED:
        return False
    return what == EVERYTHING or patch.surface.kind in MASONRY


def _lower_storey(facade: Facade, storey: float | None) -> tuple[Facade, tuple[str, ...]]:
    """Return the front with its masonry cut at the height of the lower storey, and the names of what is below."""
    walls = [p for p in facade.patches if _may_cover(p, ALL_MASONRY)]
    if not walls:
        return facade, ()
    if storey is None:
        main = max(walls, key=lambda p: p.area)
        low, high = (f(c[1] for c in main.outline) for f in (min, max))
        storey = (low + high) / 2.0
    pieces: list[Patch] = []
    below: list[str] = []
    for patch in facade.patches:
        parts = split_at(patch, storey) if patch in walls else (patch,)
        pieces += parts
        if patch in walls:
            below += [p.name for p in parts if max(c[1] for c in p.outline) <= storey + THINNEST]
    return replace(facade, patches=tuple(pieces)), tuple(below)


def _hung(r: Array, t: Array, behind: Array, how: Hanging, porous: bool, sheet: Callable[..., Layer]) -> Layer:
    """Return cloth, lining, gap and wall as one layer; `behind` is the wall's dry reflectance."""
    layers = [Layer(reflectance=r, transmittance=t)] * how.layers
    if how.lining:
        layers.append(Layer(reflectance=how.lining.reflectance[1], transmittance=how.lining.transmittance[1]))
    if how.wet:
        fibre = reference.value("constants", "refractive index of textile fibres")
        layers = [sheet(layer, solid=fibre) for layer in layers]
        if porous:
            behind = wet_reflectance(behind, solid=reference.value("constants", "refractive index of masonry"))
    if how.gap:
        layers.append(gap_layer(how.gap, *how.span))
    return stack([*layers, Layer(reflectance=behind)])


def _spectrum(cloth: Cloth, wall: Surface, how: Hanging, porous: bool) -> Spectrum:
    behind = surface_spectrum(wall).on(WAVELENGTHS)
    r, t = np.array(cloth.reflectance[1]), np.array(cloth.transmittance[1])
    found = _hung(r, t, behind, how, porous, wet_sheet)
    source = "layer over backing; cloth alike at all wavelengths"
    return spectrum(f"{cloth.name} on {wall.name}", WAVELENGTHS, np.asarray(found.reflectance), "combined", source)
