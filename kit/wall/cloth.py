"""Cloth in front of a wall: how light it gets, how much of it, what it costs, how the wind pulls at it.

Thin cloth lets light through, so what hangs behind it counts. `hang` makes one surface out of cloth, wall and what is
between them; `cover` does so for chosen patches of a front and adds up the cloth.

Rain wets cloth and wall. Both become darker, and cloth lets more through; see `layers`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from numbers import Integral

import numpy as np
from numpy.typing import NDArray

from kit import reference
from kit.errors import InputError, number, numbers, text
from kit.source.projector import is_many
from kit.units import area_text, mass_text
from kit.wall.facade import THINNEST, Facade, Patch, Surface, split_at
from kit.wall.layers import Layer, gap_layer, soaked_sheet, stack, wet_reflectance, wet_sheet
from kit.wall.raster import exposed_area
from kit.wall.texture import Pattern, behind

Array = NDArray[np.float64]
Band = tuple[float, float, float]

MASONRY = ("brick", "mortar", "stucco", "concrete", "stone")
# What rain soaks into. Paint, glass, siding and metal only get drops.
POROUS = (*MASONRY, "wood", "roof")
# Nobody may cover a way out; windows give light back already if their shades are white.
NEVER_COVERED = ("window", "door")

ALL_MASONRY, LOWER_STOREY, EVERYTHING = "all masonry", "the lower storey", "everything but windows and doors"
CHOICES = (ALL_MASONRY, LOWER_STOREY, EVERYTHING)

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

    name: str
    reflectance: float | Band
    transmittance: float | Band
    weight: float | Band = 0.15
    price: float | Band = 0.0

    def __post_init__(self) -> None:
        where = f"cloth {text('cloth name', self.name)!r}"
        for field, limits in (
            ("reflectance", {"minimum": 0.0, "maximum": 1.0}),
            ("transmittance", {"minimum": 0.0, "maximum": 1.0}),
            ("weight", {"above": 0.0, "unit": "kg/m2"}),
            ("price", {"minimum": 0.0, "unit": "USD/m2"}),
        ):
            object.__setattr__(self, field, _band(f"{where}: {field}", getattr(self, field), **limits))
        (_, r, r_high), (_, t, t_high) = self.bands()
        for one, other in ((r, t), (r_high, t), (r, t_high)):
            if one + other > 1.0 + 1e-9:
                raise InputError(
                    f"{where}: reflectance + transmittance",
                    round(one + other, 4),
                    "at most 1, each end of one band with the middle of the other",
                )

    def bands(self) -> tuple[Band, Band]:
        """Return (low, nominal, high) of reflectance and of transmittance."""
        return self.reflectance, self.transmittance  # type: ignore[return-value]

    @classmethod
    def from_reference(cls, name: str) -> Cloth:
        """Return a cloth of ``reference_data/cloths.csv``; an unknown name raises `InputError`."""
        if name not in (*cloth_names(), *reference.names("cloths", "lining")):
            raise InputError("cloth", name, f"one of {', '.join(cloth_names())}")
        rows = {
            quantity: reference.row("cloths", name, quantity=quantity)
            for quantity in ("reflectance", "transmittance", "weight", "price")
        }
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

    layers: int = 1
    lining: Cloth | None = None
    gap: float = 0.0
    span: tuple[float, float] = (3.0, 3.0)
    wet: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.layers, bool) or not isinstance(self.layers, Integral) or not 1 <= self.layers <= 16:
            raise InputError("layers", self.layers, "a whole number from 1 to 16")
        if self.lining is not None and not isinstance(self.lining, Cloth):
            raise InputError("lining", self.lining, "a kit.Cloth or None")
        number("gap", self.gap, minimum=0.0, unit="m")
        for name, value in zip(("span: width", "span: height"), numbers("span", self.span, 2, unit="m"), strict=True):
            number(name, value, above=0.0, unit="m")
        if not isinstance(self.wet, bool):
            raise InputError("wet", self.wet, "true or false")


def hang(cloth: Cloth, wall: Surface, how: Hanging | None = None, *, spectral: bool = False) -> Surface:
    """Return the surface that `cloth` in front of `wall` makes.

    Parameters
    ----------
    cloth : Cloth
    wall : Surface
        What hangs behind, dry; its reflectance may be a sweep.
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
    (r_low, r, r_high), (t_low, t, t_high) = cloth.bands()
    back_low, back, back_high = (np.atleast_1d(np.asarray(v, float)) for v in (wall.low, wall.reflectance, wall.high))
    porous = not wall.kind or wall.kind in POROUS

    def seen(r: float, t: float, behind: Array, sheet: Callable[..., Layer] = wet_sheet) -> Array:
        return np.asarray(_hung(r, t, behind, how, porous, sheet).reflectance, float)

    middle = seen(r, t, back)
    ends = []
    for end in ("low", "high"):
        variants = [
            seen(r_low, t, back) if end == "low" else seen(r_high, t, back),
            seen(r, t_low, back) if end == "low" else seen(r, t_high, back),
            seen(r, t, back_low) if end == "low" else seen(r, t, back_high),
        ]
        if how.wet and end == "low":
            variants.append(np.minimum(seen(r, t, back, soaked_sheet), middle))
        deviation = np.sqrt(sum(np.log(np.maximum(v, 1e-12) / np.maximum(middle, 1e-12)) ** 2 for v in variants))
        ends.append(middle * np.exp(-deviation if end == "low" else deviation))
    spectrum = _spectrum(cloth, wall, how, porous) if spectral else None
    many = is_many(wall.reflectance)

    def given(values: Array) -> float | tuple[float, ...]:
        return tuple(np.minimum(values, 1.0).tolist()) if many else float(min(values[0], 1.0))

    pieces = [f"{how.layers} x {cloth.name}" if how.layers > 1 else cloth.name]
    pieces += [how.lining.name] if how.lining else []
    name = f"{'wet ' if how.wet else ''}{', '.join(pieces)} on {wall.name}"
    return Surface(
        name=name,
        reflectance=given(middle),
        low=given(ends[0]),
        high=given(ends[1]),
        kind="fabric",
        spectrum=spectrum,
    )


def hanging_table(wall: Surface, cloths: Iterable[str] | None = None, *, gap: float = 0.3) -> str:
    """Return the reflectance that cloths in front of a wall make, as a text table.

    Parameters
    ----------
    wall : Surface
    cloths : names, optional
        Of ``reference_data/cloths.csv``; all of them if not given.
    gap : float
        Of the hangings with a gap [m].
    """
    lining = Cloth.from_reference(reference.names("cloths", "lining")[0])
    hangings = {
        "one layer": Hanging(),
        "two": Hanging(layers=2),
        "black lining": Hanging(lining=lining),
        f"gap {100 * gap:.0f} cm": Hanging(gap=gap),
        "wet": Hanging(wet=True),
    }
    lines = [f"{'on ' + wall.name:24}{'one layer (likely)':>24}" + "".join(f"{h:>14}" for h in list(hangings)[1:])]
    for name in cloths or cloth_names():
        one, *others = (hang(Cloth.from_reference(name), wall, how) for how in hangings.values())
        band = f"{one.reflectance:.2f} ({one.low:.2f} to {one.high:.2f})"
        lines.append(f"{name:24}{band:>24}" + "".join(f"{other.reflectance:>14.2f}" for other in others))
    rain = wet_surface(wall).reflectance
    bare = f"{wall.reflectance:.2f} ({wall.low:.2f} to {wall.high:.2f})"
    lines.append(f"{'no cloth':24}{bare:>24}{'':>14}{'':>14}{'':>14}{rain:>14.2f}")
    return "\n".join(lines)


def pattern_behind(pattern: Pattern, cloth: Cloth, how: Hanging | None = None) -> Pattern:
    """Return the pattern of a wall as it shows through cloth, `how` it hangs."""

    def through(reflectance: float) -> float:
        return float(hang(cloth, Surface(name="wall", reflectance=reflectance, kind="brick"), how).reflectance)  # type: ignore[arg-type]

    return behind(pattern, through)


def wet_surface(wall: Surface) -> Surface:
    """Return `wall` as rain darkens it; what does not soak water up stays as it is.

    A surface of unknown kind is taken to be porous.
    """
    if wall.kind and wall.kind not in POROUS:
        return wall
    solid = reference.value("constants", "refractive index of masonry")

    def wetted(value: float | tuple[float, ...] | None) -> float | tuple[float, ...]:
        values = np.atleast_1d(wet_reflectance(np.asarray(value, float), solid=solid))
        return tuple(values.tolist()) if is_many(value) else float(values[0])

    return replace(
        wall, name=f"wet {wall.name}", reflectance=wetted(wall.reflectance), low=wetted(wall.low),
        high=wetted(wall.high),
    )  # fmt: skip


def wet_front(facade: Facade) -> Facade:
    """Return the front with every porous surface wet; cloth that hangs already is left as it hangs."""
    return replace(facade, patches=tuple(replace(p, surface=wet_surface(p.surface)) for p in facade.patches))


@dataclass(frozen=True, kw_only=True)
class Covering:
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
    cloth_area: Band
    weight: Band
    price: Band

    def wind_force(self, wind_speed: float) -> float:
        """Return the push of the wind on the cloth, q = rho v^2 / 2 times its area [N].

        Parameters
        ----------
        wind_speed : float
            At the cloth, gusts included [m/s]. Shape factors are left to whoever designs the anchoring.
        """
        return wind_pressure(wind_speed) * self.area

    def sentence(self, wind: str = "near gale", *, units: str = "m") -> str:
        """Return area, weight, price and wind load in words.

        Parameters
        ----------
        wind : str
            A row of ``reference_data/weather.csv``.
        units : {"m", "ft"}
            With feet, areas are in square feet and weights in pounds.
        """
        row = reference.row("weather", wind, group="wind")
        force = self.wind_force(row.value)
        pull = mass_text(force / reference.value("constants", "standard gravity"), units)
        return (
            f"{area_text(self.area, units)} of wall under cloth; with hems and waste "
            f"{area_text(self.cloth_area[1], units)} to buy, {mass_text(self.weight[1], units)}, about "
            f"{self.price[1]:,.0f} USD (likely {self.price[0]:,.0f} to {self.price[2]:,.0f}). In a {wind} "
            f"({row.value:g} m/s) the wind pushes with {force:,.0f} N, as much as the weight of {pull}; a gust half as "
            "fast again more than doubles that."
        )


def wind_pressure(wind_speed: float) -> float:
    """Return the dynamic pressure q = rho v^2 / 2 of wind [Pa]; `wind_speed` in m/s, 0 or more."""
    speed = number("wind_speed", wind_speed, minimum=0.0, unit="m/s")
    return 0.5 * reference.value("constants", "density of air") * speed**2


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
    """
    how = how or Hanging()
    if isinstance(what, str) and what not in CHOICES:
        raise InputError("what to cover", what, f"one of {', '.join(CHOICES)}, or a list of patch names")
    if what == LOWER_STOREY:
        facade, chosen = _lower_storey(facade, storey)
    elif isinstance(what, str):
        chosen = tuple(p.name for p in facade.patches if _may_cover(p, what))
    elif isinstance(what, Iterable):
        chosen = tuple(dict.fromkeys(facade.patch(name).name for name in what))
    else:
        raise InputError("what to cover", what, f"one of {', '.join(CHOICES)}, or a list of patch names")
    areas = {name: exposed_area(facade, name) for name in chosen}
    chosen = tuple(name for name in chosen if areas[name] > 0)
    if not chosen:
        raise InputError(
            "what to cover",
            what,
            f'something that this front shows; "{EVERYTHING}" takes in all that is not masonry too',
        )
    bare = wet_front(facade) if how.wet else facade
    hung = {p.name: hang(cloth, p.surface, how, spectral=spectral) for p in facade.patches if p.name in chosen}
    covered = replace(
        bare, patches=tuple(replace(p, surface=hung[p.name]) if p.name in hung else p for p in bare.patches)
    )
    area = sum(areas.values())
    allowance = reference.row("cloths", "hem and overlap")
    sheets = [(cloth, how.layers)] + ([(how.lining, 1)] if how.lining else [])
    bought = [tuple(area * n * (1.0 + a) for a in (allowance.low, allowance.value, allowance.high)) for _, n in sheets]

    def total(quantity: str) -> Band:
        bands = [getattr(sheet, quantity) for sheet, _ in sheets]
        low, nominal, high = (sum(b[i] * a[i] for b, a in zip(bands, bought, strict=True)) for i in range(3))
        return low, nominal, high

    return Covering(
        facade=covered,
        bare=bare,
        patches=chosen,
        cloth=cloth,
        how=how,
        area=area,
        cloth_area=bought[0],  # type: ignore[arg-type]
        weight=total("weight"),
        price=total("price"),
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


def _hung(r: float, t: float, behind: Array, how: Hanging, porous: bool, sheet: Callable[..., Layer]) -> Layer:
    """Return cloth, lining, gap and wall as one layer; `behind` is the wall's dry reflectance."""
    layers = [Layer(reflectance=r, transmittance=t)] * how.layers
    if how.lining:
        layers.append(Layer(reflectance=how.lining.bands()[0][1], transmittance=how.lining.bands()[1][1]))
    if how.wet:
        fibre = reference.value("constants", "refractive index of textile fibres")
        layers = [sheet(layer, solid=fibre) for layer in layers]
        if porous:
            behind = wet_reflectance(behind, solid=reference.value("constants", "refractive index of masonry"))
    if how.gap:
        layers.append(gap_layer(how.gap, *how.span))
    return stack([*layers, Layer(reflectance=behind)])


def _spectrum(cloth: Cloth, wall: Surface, how: Hanging, porous: bool):  # type: ignore[no-untyped-def]
    from kit.source.spectra import WAVELENGTHS, Spectrum
    from kit.wall.surface_spectra import surface_spectrum

    behind = surface_spectrum(wall).on(WAVELENGTHS)
    (_, r, _), (_, t, _) = cloth.bands()
    values = np.asarray(_hung(r, t, behind, how, porous, wet_sheet).reflectance, float)
    return Spectrum(
        name=f"{cloth.name} on {wall.name}",
        wavelengths=tuple(WAVELENGTHS.tolist()),
        values=tuple(values.tolist()),
        origin="combined",
        source="layer over backing; cloth alike at all wavelengths",
    )


def _band(field: str, value: float | Band, **limits: float | str) -> Band:
    """Return one number or a (low, nominal, high) as a checked band."""
    if not is_many(value):
        middle = number(field, value, **limits)  # type: ignore[arg-type]
        return middle, middle, middle
    if len(value) != 3:  # type: ignore[arg-type]
        raise InputError(field, value, "one number, or three: low, nominal, high")
    low, middle, high = (number(field, v, **limits) for v in value)  # type: ignore[arg-type, union-attr]
    if not low <= middle <= high or math.isinf(high):
        raise InputError(field, value, "low <= nominal <= high")
    return low, middle, high
