"""Cloth in front of a wall: how light it gets, how much of it, what it costs, how the wind pulls at it.

Thin cloth lets light through, so what hangs behind it counts. `hang` makes one surface out of cloth, wall and what is
between them; `cover` does so for chosen patches of a front and adds up the cloth. Rain makes both darker (`layers`).
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any, Self

import numpy as np

from kit import reference
from kit.arrays import Array, ArrayLike
from kit.bands import drawn_share, worked_out
from kit.errors import InputError
from kit.fields import FLAG, NAME, SHARE, Band, Declared, Is, Many, Number, Vector, declared, specs
from kit.results import Frame, Result, banded, make_frame
from kit.source.projector import Levels, combine
from kit.source.spectra import WAVELENGTHS, Spectrum
from kit.units import edge
from kit.wall.facade import THINNEST, Facade, Patch, Surface, split_at
from kit.wall.layers import GAP, SIDE, Layer, gap_layer, soaked_sheet, stack, wet_reflectance, wet_sheet
from kit.wall.raster import exposed
from kit.wall.surface_spectra import surface_spectrum
from kit.wall.texture import Pattern, behind
from kit.words import Phrases, measured

MASONRY = ("brick", "mortar", "stucco", "concrete", "stone")
# What rain soaks into. Paint, glass, siding and metal only get drops.
POROUS = (*MASONRY, "wood", "roof")
# Nobody may cover a way out; windows give light back already if their shades are white.
NEVER_COVERED = ("window", "door")

ALL_MASONRY, LOWER_STOREY, EVERYTHING = "all masonry", "the lower storey", "everything but windows and doors"
CHOICES = (ALL_MASONRY, LOWER_STOREY, EVERYTHING)

SPAN = Vector(length=2, of=SIDE)
LAYERS = Number(label="layers", whole=True, low=1, high=16, default=1)
WIND = Number(label="wind", unit="m/s", low=0.0, high=1e3, meaning="speed at the cloth, gusts included")

say = Phrases(__file__)
CLOTH_CAUTION = say("caution")


class Cloth(Declared):
    """One layer of cloth, dry; each end of one share of its light with the nominal of the other is at most 1."""

    thing = "cloth"
    name: str = declared(NAME)
    reflectance: Levels = declared(Band(label="reflectance", of=SHARE))
    transmittance: Levels = declared(Band(label="transmittance", of=SHARE))
    weight: Levels = declared(Band(label="weight", of=Number(unit="kg/m²", above=0.0)), default=0.15)
    price: Levels = declared(Band(label="price", of=Number(unit="USD/m²", low=0.0)), default=0.0)

    def _agree(self, where: str) -> None:
        (_, r, r_high), (_, t, t_high) = self.reflectance, self.transmittance
        for total in (r + t, r_high + t, r + t_high):
            if total > 1.0 + 1e-9:
                right = "at most 1, each end of one band with the middle of the other"
                raise InputError(f"{where}: reflectance + transmittance", round(total, 4), right)

    @classmethod
    def from_reference(cls, name: str) -> Self:
        """Return a cloth of ``reference_data/cloths.csv``; an unknown name raises `InputError`."""
        if name not in (*cloth_names(), *reference.names("cloths", "lining")):
            raise InputError("cloth", name, f"one of {', '.join(cloth_names())}")
        return cls(name=name, **{of: reference.row("cloths", name, quantity=of).band for of in list(specs(cls))[1:]})


def cloth_names() -> tuple[str, ...]:
    """Return the cloths of ``reference_data/cloths.csv``."""
    return tuple(reference.names("cloths", "cloth"))


class Hanging(Declared):
    """How cloth hangs."""

    layers: int = declared(LAYERS, meaning="of the cloth itself")
    lining: Cloth | None = declared(Is(kind=Cloth), default=None, meaning="a last layer, nearest the wall")
    gap: float = declared(GAP, default=0.0, meaning="between cloth and wall; light that leaves it at the edges is lost")
    span: tuple[float, float] = declared(SPAN, default=(3.0, 3.0), meaning="width and height, for the gap's edges")
    wet: bool = declared(FLAG, label="wet", default=False, meaning="cloth and porous wall soaked by rain")


def hang(cloth: Cloth, wall: Surface, how: Hanging | None = None, *, spectral: bool = False) -> Surface:
    """Return the surface that cloth in front of a wall makes.

    Its band is that of draws of the cloth's reflectance, its transmittance, which is at most what that leaves, and the
    wall (`kit.bands`). The low end of what rain leaves is a soaked sheet.

    Parameters
    ----------
    cloth, wall : Cloth, Surface
        The wall is dry, and of no kind taken to be porous.
    how : Hanging, optional
        One dry layer close to the wall if not given.
    spectral : bool
        Also work out the reflectance by wavelength, with the wall's own colour behind the cloth; the cloth is taken to
        reflect alike at all wavelengths.
    """
    if not isinstance(cloth, Cloth):
        raise InputError("cloth", cloth, "a kit.Cloth, such as Cloth.from_reference('white cotton')")
    how = how or Hanging()
    porous = _porous(wall)
    bands = (cloth.reflectance, cloth.transmittance, (wall.low, wall.reflectance, wall.high))

    def under(r: Array, t: Array, back: Array) -> Array:
        r, t, back = np.broadcast_arrays(r, np.minimum(t, 1.0 - np.asarray(r)), back)
        return _hung(r, t, back, how, porous, wet_sheet)

    low, middle, high = worked_out(under, *bands, by=drawn_share)
    if how.wet and middle:
        r, t, back = (np.array(nominal) for _, nominal, _ in bands)
        soaked = float(_hung(r, t, back, how, porous, soaked_sheet)) / middle
        low, middle, high = combine([(low, middle, high), (min(soaked, 1.0), 1.0, 1.0)])
    own = None
    if spectral:
        r, t = (np.array(nominal) for _, nominal, _ in bands[:2])
        values = _hung(r, t, surface_spectrum(wall).on(WAVELENGTHS), how, porous, wet_sheet)
        source = "layer over backing; cloth alike at all wavelengths"
        own = Spectrum(f"{cloth.name} on {wall.name}", WAVELENGTHS, values, "combined", source)
    number, lining = f"{how.layers} x " if how.layers > 1 else "", f", {how.lining.name}" if how.lining else ""
    return Surface(
        name=f"{'wet ' if how.wet else ''}{number}{cloth.name}{lining} on {wall.name}", kind="fabric",
        reflectance=middle, low=low, high=min(high, 1.0), spectrum=own,
    )  # fmt: skip


def hanging_frame(wall: Surface, cloths: Iterable[str] | None = None, *, gap: float = 0.3, units: str = "m") -> Frame:
    """Return the reflectance that cloths in front of a wall make, a row for each, and the bare wall's last.

    `cloths` are names of ``reference_data/cloths.csv``, all of them if not given; `gap` is that of the hangings with
    one [m], and `units`, "m" or "ft", those of the gap in the name of its column.
    """
    lining = Cloth.from_reference(reference.names("cloths", "lining")[0])
    hangings = {"two layers": Hanging(layers=2), "black lining": Hanging(lining=lining)}
    hangings |= {f"gap {measured('mm', units, 1e3 * gap)}": Hanging(gap=gap), "wet": Hanging(wet=True)}

    def row(name: str, one: Surface) -> dict[str, Any]:
        return {f"on {wall.name}": name, **banded("one layer", (one.low, one.reflectance, one.high))}

    rows = []
    for cloth in map(Cloth.from_reference, cloths or cloth_names()):
        others = {label: hang(cloth, wall, how).reflectance for label, how in hangings.items()}
        rows.append(row(cloth.name, hang(cloth, wall)) | others)
    rows.append(row("no cloth", wall) | {"wet": wet_surface(wall).reflectance})
    return make_frame(rows, dict.fromkeys(hangings, ".2f"), index=f"on {wall.name}")


def pattern_behind(pattern: Pattern, cloth: Cloth, how: Hanging | None = None) -> Pattern:
    """Return the pattern of a wall as it shows through cloth, `how` it hangs."""
    return behind(pattern, lambda r: hang(cloth, Surface(name="wall", reflectance=r, kind="brick"), how).reflectance)


def wet_surface(wall: Surface) -> Surface:
    """Return `wall` as rain darkens it; what does not soak water up stays as it is, an unknown kind does soak."""
    if not _porous(wall):
        return wall
    ends = ("reflectance", "low", "high")
    grains = reference.value("constants", "refractive index of masonry")
    wet = wet_reflectance([getattr(wall, end) for end in ends], solid=grains).tolist()
    # A screen loses of its gain what it loses of its reflectance.
    gain = None if wall.gain is None else wall.gain * wet[0] / max(wall.reflectance, 1e-12)
    return replace(wall, name=f"wet {wall.name}", gain=gain or None, **dict(zip(ends, wet, strict=True)))


def _porous(wall: Surface) -> bool:
    return not wall.kind or wall.kind in POROUS


def wet_front(facade: Facade) -> Facade:
    """Return the front with every porous surface wet; cloth that hangs already is left as it hangs."""
    return replace(facade, patches=tuple(replace(p, surface=wet_surface(p.surface)) for p in facade.patches))


class Covering(Result):
    """A front with cloth over some of it, and the cloth added up.

    `bare` has the same patches without the cloth, wet where the cloth is wet. `area` [m2] is of the wall that the cloth
    hides, windows cut out; the others are (low, nominal, high): the cloth to buy, all layers with hems and waste,
    without the lining [m2], and weight [kg] and price [USD] of all of it, lining included, dry. Low is all that is low
    together, high likewise. `rain` is what rain leaves of the dry cloth's light on the largest patch; 1: dry.
    """

    facade: Facade
    bare: Facade
    patches: tuple[str, ...]
    cloth: Cloth
    area: float
    cloth_area: Levels
    weight: Levels
    price: Levels
    rain: float = 1.0

    def wind_force(self, wind_speed: float) -> float:
        """Return the push of the wind on the cloth, q = rho v^2 / 2 times its area [N].

        `wind_speed` is at the cloth, gusts included [m/s]; shape factors are left to whoever designs the anchoring.
        """
        speed = WIND.check("wind_speed", wind_speed)
        return 0.5 * reference.value("constants", "density of air") * speed**2 * self.area

    def frame(self, units: str = "m") -> Frame:
        """Return area, weight and price, one row."""
        row = {"cloth": self.cloth.name, "wall under cloth [m2]": self.area}
        row |= banded("cloth to buy [m2]", self.cloth_area) | banded("weight [kg]", self.weight)
        row |= banded("price [USD]", self.price)
        return make_frame([row], {"wall under cloth [m2]": ",.0f"}, index="cloth", units=units)

    def sentence(self, units: str = "m", wind: str = "near gale") -> str:
        """Return area, weight, price and load in a `wind` of ``reference_data/weather.csv``, in words."""
        speed = reference.value("weather", wind, group="wind")
        force = self.wind_force(speed)
        weight = force / reference.value("constants", "standard gravity")
        pull = say("pull", weight=weight) if edge("N", units)[0] == "N" else ""
        return say("covering", units, on=self, wind=wind, speed=speed, force=force, pull=pull)


def cover(
    facade: Facade, cloth: Cloth, what: str | Iterable[str] = ALL_MASONRY, *, how: Hanging | None = None,
    storey: float | None = None, spectral: bool = False,
) -> Covering:  # fmt: skip
    """Return the front, which is dry, with cloth over some of it.

    Parameters
    ----------
    facade, cloth : Facade, Cloth
        The front as it is, and what hangs before it.
    what : str or iterable of str
        One of `CHOICES`, in all of which windows, doors and what is not judged stay bare; or the patches by name.
    how, spectral
        As for `hang`.
    storey : float, optional
        Height of the lower storey above the ground line [m]; half way up the largest masonry patch if not given.

    Raises
    ------
    InputError
        For a patch that is not there, or where nothing that shows would be covered.

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
    what = what if isinstance(what, str) else Many(of=Is(kind=str)).check("what to cover", what)
    if isinstance(what, str) and what not in CHOICES:
        raise InputError("what to cover", what, f"one of {', '.join(CHOICES)}, or a list of patch names")
    if what == LOWER_STOREY:
        facade, chosen = _lower_storey(facade, storey)
    elif isinstance(what, str):
        chosen = tuple(p.name for p in facade.patches if _may_cover(p, what))
    else:
        chosen = tuple(dict.fromkeys(facade.patch(name).name for name in what))
    shown, named = exposed(facade), {p.name: p for p in facade.patches}
    areas = {name: float(shown[name].area / named[name].normal[2]) for name in chosen if name in shown}
    chosen = tuple(name for name in chosen if areas.get(name, 0.0) > 0)
    if not chosen:
        right = f'something that this front shows; "{EVERYTHING}" takes in all that is not masonry too'
        raise InputError("what to cover", what, right)
    bare = wet_front(facade) if how.wet else facade
    hung = {p.name: hang(cloth, p.surface, how, spectral=spectral) for p in facade.patches if p.name in chosen}
    area, largest = sum(areas.values()), max(chosen, key=areas.__getitem__)
    dry = hang(cloth, facade.patch(largest).surface, replace(how, wet=False))
    # To buy, for each layer: wall, hems and overlap.
    sheet = area * (1.0 + np.array(reference.row("cloths", "hem and overlap").band))

    def total(one: ArrayLike, lining: ArrayLike) -> Levels:
        low, nominal, high = (sheet * (how.layers * np.asarray(one) + np.asarray(lining))).tolist()
        return low, nominal, high

    return Covering(
        facade=replace(bare, patches=tuple(replace(p, surface=hung.get(p.name, p.surface)) for p in bare.patches)),
        bare=bare, patches=chosen, cloth=cloth, area=area, cloth_area=total(1.0, 0.0),
        weight=total(cloth.weight, how.lining.weight if how.lining else 0.0),
        price=total(cloth.price, how.lining.price if how.lining else 0.0),
        rain=hung[largest].reflectance / max(dry.reflectance, 1e-12) if how.wet else 1.0,
    )  # fmt: skip


def _may_cover(patch: Patch, what: str) -> bool:
    may = patch.faces_audience and patch.judged and patch.surface.kind not in NEVER_COVERED
    return may and (what == EVERYTHING or patch.surface.kind in MASONRY)


def _lower_storey(facade: Facade, storey: float | None) -> tuple[Facade, tuple[str, ...]]:
    """Return the front with its masonry cut at the height of the lower storey, and the names of what is below."""
    walls = [p for p in facade.patches if _may_cover(p, ALL_MASONRY)]
    if not walls:
        return facade, ()
    if storey is None:
        heights = [corner[1] for corner in max(walls, key=lambda p: p.area).outline]
        storey = (min(heights) + max(heights)) / 2.0
    cut = {p.name: split_at(p, storey) for p in walls}
    pieces = tuple(piece for p in facade.patches for piece in cut.get(p.name, (p,)))
    top = storey + THINNEST
    below = tuple(p.name for parts in cut.values() for p in parts if max(c[1] for c in p.outline) <= top)
    return replace(facade, patches=pieces), below


def _hung(r: Array, t: Array, behind: Array, how: Hanging, porous: bool, sheet: Callable[..., Layer]) -> Array:
    """Return the reflectance of cloth, lining, gap and wall as one layer; `behind` is the wall's, dry."""
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
    return np.asarray(stack([*layers, Layer(reflectance=behind)]).reflectance)
