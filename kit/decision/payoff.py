"""Does covering the masonry pay? What cloth is worth in lumens, and four routes to a brighter wall side by side.

Cloth makes a wall brighter without more light: a wall of reflectance 0.19 under cloth of 0.69 has the luminance that
the bare wall would have with 3.7 times the lumens. It does not make the wall's contrast better: the street's light is
sent back as well as the projector's. `wall_only_contrast` shows that.

All four routes are worked out with `light_map`, on the same scene, and looked at on the part that the cloth covers:

- more lumens: as many as give the bare wall the luminance that the cloth gives,
- cloth,
- a smaller picture: the zoom set so that the bare wall gets that luminance; less of the front is lit,
- less ambient light: a share of it kept away, half if nothing is said; brings contrast, and no luminance at all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from kit import reference
from kit.decision.verdict import Target, checked_target, judge
from kit.errors import InputError, number
from kit.eye.light_map import Scene, light_map
from kit.source.projector import combine
from kit.units import metres_per
from kit.wall.cloth import Band, Covering


@dataclass(frozen=True, kw_only=True)
class Route:
    """One way to a brighter wall.

    Attributes
    ----------
    name : str
    change : str
        What is done, in words.
    luminance : float
        Median of projected white on the lit part of what the cloth would cover [cd/m2].
    contrast : float
        Median contrast at the eye there.
    gain : float
        Luminance above that of the bare wall [cd/m2].
    lit_share : float
        Of the whole front.
    status : str
        Verdict on the whole front.
    price : (float, float, float) or None
        Low, nominal, high [USD]; None where nothing on sale does it.
    """

    name: str
    change: str
    luminance: float
    contrast: float
    gain: float
    lit_share: float
    status: str
    price: Band | None

    @property
    def price_per_luminance(self) -> float:
        """Price of each cd/m2 gained [USD/(cd/m2)]; infinite where none is gained or none is on sale."""
        if self.price is None or self.gain <= 1e-9 * max(self.luminance, 1.0):
            return math.inf
        return self.price[1] / self.gain


@dataclass(frozen=True, kw_only=True)
class PayOff:
    """The decision: cloth against the other routes.

    Attributes
    ----------
    covering : Covering
    routes : tuple of Route
        The bare wall first, then more lumens, cloth, a smaller picture, less ambient light.
    stated_light_output, worth : float
        Now, and what the bare wall would need for the luminance that the cloth gives [lm].
    worth_band : (float, float)
        Likely low and high of `worth`, from the bands of wall and cloth in quadrature [lm].
    break_even_price : float or None
        Price of cloth to buy, lining included, at which it costs what the extra lumens cost [USD/m2]; None
        where no machine is listed.
    break_even_area : float or None
        Area of wall above which more lumens are cheaper than cloth [m2]; None likewise, infinite for free cloth.
    wall_only_contrast : (float, float)
        Bare and covered, by light on the wall alone: no veil in the eye, nothing sent back by the ground.
    before, after : xarray.Dataset
        Maps of the bare and the covered front.
    """

    covering: Covering
    routes: tuple[Route, ...]
    stated_light_output: float
    worth: float
    worth_band: tuple[float, float]
    break_even_price: float | None
    break_even_area: float | None
    wall_only_contrast: tuple[float, float]
    before: xr.Dataset
    after: xr.Dataset

    def route(self, name: str) -> Route:
        """Return the route called `name`, or raise `InputError` with the names there are."""
        for route in self.routes:
            if route.name == name:
                return route
        raise InputError("route", name, f"one of {', '.join(r.name for r in self.routes)}")

    @property
    def sentence(self) -> str:
        """The decision in words, in metres."""
        return self.words("m")

    def words(self, units: str) -> str:
        """Return the decision in words, prices of cloth by the square metre or, with ``"ft"``, by the square foot."""
        square, name = metres_per(units) ** 2, "sq ft" if units == "ft" else "m²"
        bare, _, cloth, *_ = self.routes
        text = (
            f"This cloth is worth {_round(self.worth - self.stated_light_output):,} lumens: the wall goes from "
            f"{bare.luminance:.1f} to {cloth.luminance:.1f} cd/m², for which bare it would take {_round(self.worth):,} "
            f"lumens (likely {_round(self.worth_band[0]):,} to {_round(self.worth_band[1]):,}) instead of "
            f"{_round(self.stated_light_output):,}."
        )
        if self.worth <= self.stated_light_output:
            text = (
                f"This cloth takes light away: the wall goes from {bare.luminance:.1f} to {cloth.luminance:.1f} cd/m²."
            )
        elif self.break_even_price is None:
            text += " No listed machine gives that."
        else:
            cloth_price = self.covering.price[1] / self.covering.cloth_area[1]
            text += (
                f" Cloth pays as long as it costs less than {_price(self.break_even_price * square)} USD/{name} sewn"
                f" and hung (cloth alone is about {_price(cloth_price * square)})."
            )
        one, other = self.wall_only_contrast
        return f"{text} It does not buy contrast: {one:.1f}:1 on the bare wall, {other:.1f}:1 on the cloth."

    def table(self) -> str:
        """Return the routes as a text table."""
        lines = [f"{'route':22}{'white cd/m2':>12}{'contrast':>10}{'lit':>6}{'USD':>9}{'USD per cd/m2':>15}  front"]
        for r in self.routes:
            price = "" if r.price is None else f"{r.price[1]:,.0f}"
            per = r.price_per_luminance
            if r is self.routes[0]:
                price, each = "-", "-"
            elif r.price is None:
                price, each = "not sold", "-"
            else:
                each = "buys none" if math.isinf(per) else f"{per:,.0f}"
            lines.append(
                f"{r.name:22}{r.luminance:>12.2f}{r.contrast:>10.1f}{r.lit_share:>6.0%}{price:>9}{each:>15}  {r.status}"
            )
        return "\n".join(lines)

    def changes(self) -> str:
        """Return what each route does, one line each."""
        return "\n".join(f"{r.name}: {r.change}" for r in self.routes)

    def patches(self) -> str:
        """Return luminance before and after for each covered patch as a text table."""
        lines = [f"{'':24}{'bare cd/m2':>12}{'cloth cd/m2':>13}{'times':>8}"]
        for name in self.covering.patches:
            one, other = (_median(light, (name,)) for light in (self.before, self.after))
            if one is None or other is None:
                lines.append(f"{name[:23]:24}{'not lit':>12}")
            else:
                lines.append(f"{name[:23]:24}{one[0]:>12.2f}{other[0]:>13.2f}{other[0] / one[0]:>8.2f}")
        return "\n".join(lines)


def pay_off(
    scene: Scene,
    covering: Covering,
    target: Target | None = None,
    *,
    spacing: float = 0.1,
    ambient_left: float = 0.5,
    lamp_price: float | None = None,
) -> PayOff:
    """Compare cloth with the other routes to the same luminance.

    Parameters
    ----------
    scene : Scene
        Projectors and ambient light as they are; its front is replaced by the covering's. No sweeps.
    covering : Covering
        From `kit.cover`.
    target : Target
        For the verdicts.
    spacing : float
        Pixel size of the maps [m].
    ambient_left : float
        Share of the ambient light that the fourth route leaves, 0 to 1; of the sky's light it leaves all.
    lamp_price : float, optional
        Of that route [USD]; from ``reference_data/prices.csv`` if not given.

    Raises
    ------
    InputError
        For a negative price, a scene with sweeps, or a picture that misses what the cloth covers.
    """
    shade = reference.row("prices", "shade for one street side lamp")
    lamp: Band = (shade.low, shade.value, shade.high)
    if lamp_price is not None:
        lamp = (number("lamp_price", lamp_price, minimum=0.0, unit="USD"),) * 3
    left = number("ambient_left", ambient_left, minimum=0.0, maximum=1.0)
    target = checked_target(target)
    bare_scene, cloth_scene = (replace(scene, facade=f) for f in (covering.bare, covering.facade))
    extent = covering.facade.bounds
    before, after = (light_map(s, spacing, extent=extent) for s in (bare_scene, cloth_scene))
    if before["contrast"].dims != ("y", "x"):
        raise InputError("scene", before["contrast"].dims, "one light output, one ambient light, one reflectance")
    chosen = covering.patches
    check_reach(before, chosen)
    bare_at, cloth_at = _median(before, chosen), _median(after, chosen)
    assert bare_at is not None
    assert cloth_at is not None
    if not bare_at[0] > 0:
        raise InputError("reflectance", 0.0, "a wall that sends some light back, to compare cloth with")
    if not cloth_at[0] > 0:
        raise InputError("cloth: reflectance", 0.0, "cloth that sends some light back")

    times = _ratio(before, after, chosen)
    stated = float(before.attrs["stated_light_output"])
    worth = stated * times
    present, wanted = projector_price(stated), projector_price(worth)
    extra: Band | None = (0.0, 0.0, 0.0) if times <= 1.0 else None
    if times > 1.0 and present is not None and wanted is not None:
        extra = tuple(max(0.0, b - a) for a, b in zip(present, wanted, strict=True))  # type: ignore[assignment]

    def route(name: str, change: str, light: xr.Dataset, price: Band | None) -> Route:
        at = _median(light, chosen) or (0.0, 1.0)
        front = judge(light, target).front
        return Route(
            name=name, change=change, luminance=at[0], contrast=at[1], gain=at[0] - bare_at[0],
            lit_share=front.lit_share, status=front.status, price=price,
        )  # fmt: skip

    stronger = tuple(
        (replace(p, light_output=float(p.light_output) * times), place)  # type: ignore[arg-type]
        for p, place in scene.projectors
    )
    smaller, width = _smaller(bare_scene, times)
    dimmer = light_map(replace(bare_scene, ambient=scene.ambient.dimmed(left)), spacing, extent=extent)
    lux, less = (float(np.nanmedian(light["ambient_illuminance"])) for light in (before, dimmer))
    routes = (
        route("as it is", "the bare wall", before, (0.0, 0.0, 0.0)),
        route(
            "more lumens", f"{_round(worth):,} instead of {_round(stated):,} lumens",
            light_map(replace(bare_scene, projectors=stronger), spacing, extent=extent), extra,
        ),
        route("cloth", f"{covering.cloth.name} over {', '.join(chosen)}", after, covering.price),
        route(
            "smaller picture", f"a picture {width:.2f} times as wide, by zoom or lens",
            light_map(smaller, spacing, extent=extent), (0.0, 0.0, 0.0),
        ),
        route(
            "less ambient light", f"{less:.2f} instead of {lux:.2f} lx on the front", dimmer, lamp,
        ),
    )  # fmt: skip
    per_area = covering.price[1] / covering.area
    return PayOff(
        covering=covering,
        routes=routes,
        stated_light_output=stated,
        worth=worth,
        worth_band=_worth_band(covering, worth),
        break_even_price=None if extra is None else extra[1] / covering.cloth_area[1],
        break_even_area=None if extra is None else (extra[1] / per_area if per_area else math.inf),
        wall_only_contrast=_wall_only(bare_scene, cloth_scene, chosen, spacing, extent),
        before=before,
        after=after,
    )


def check_reach(light: xr.Dataset, names: tuple[str, ...]) -> None:
    """Raise `InputError` where the picture reaches nothing of the named patches."""
    if not lit_part(light, names).any():
        raise InputError("scene: picture", names, "a picture that reaches what the cloth covers")


def projector_price(light_output: float) -> Band | None:
    """Return the likely price of a projector of a stated light output [USD], low, nominal, high.

    Parameters
    ----------
    light_output : float
        [lm], above 0.

    Returns
    -------
    tuple or None
        Between the classes of ``reference_data/prices.csv`` along a power law; below the smallest its price. None
        above the largest: nothing is listed.
    """
    return between_classes("prices", "projector", light_output)


def between_classes(table: str, group: str, light_output: float) -> Band | None:
    """Return low, nominal and high of a table whose rows are classes such as ``"4000 lumens"``.

    Between the classes along a power law, below the smallest its value, None above the largest: nothing is listed.
    `light_output` is in lm, above 0.
    """
    lumens = number("light_output", light_output, above=0.0, unit="lm")
    rows = [(float(row.name.split()[0]), row) for row in reference.table(table) if row.group == group]
    rows.sort(key=lambda item: item[0])
    if lumens > rows[-1][0]:
        return None
    at = np.log([size for size, _ in rows])
    low, nominal, high = (
        float(np.exp(np.interp(math.log(lumens), at, np.log([getattr(row, level) for _, row in rows]))))
        for level in ("low", "value", "high")
    )
    return low, nominal, high


def _median(light: xr.Dataset, names: tuple[str, ...]) -> tuple[float, float] | None:
    """Return the medians of white luminance and contrast over the lit part of patches, or None."""
    where = lit_part(light, names)
    if not where.any():
        return None
    white, contrast = light["white_luminance"].values[where], light["contrast"].values[where]
    return float(np.median(white)), float(np.median(contrast))


def _worth_band(covering: Covering, worth: float) -> tuple[float, float]:
    """Return the band of `worth`: that of the cloth over that of the wall, for the largest patch it covers."""
    name = max(covering.patches, key=lambda name: covering.bare.patch(name).area)
    wall, cloth = (facade.patch(name).surface for facade in (covering.bare, covering.facade))
    # A band that reaches down to nothing has no logarithm; a millionth stands for it.
    floors = [max(surface.low, 1e-6 * surface.reflectance) for surface in (wall, cloth)]  # type: ignore[type-var, operator]
    low, nominal, high = combine(
        [
            (floors[1], cloth.reflectance, cloth.high),  # type: ignore[list-item]
            (1.0 / wall.high, 1.0 / wall.reflectance, 1.0 / floors[0]),  # type: ignore[operator]
        ]
    )
    return worth * low / nominal, worth * high / nominal


def _ratio(before: xr.Dataset, after: xr.Dataset, names: tuple[str, ...]) -> float:
    """Return the median over the lit points of the luminance after over that before."""
    where = lit_part(before, names)
    one, other = (light["white_luminance"].values[where] for light in (before, after))
    with np.errstate(divide="ignore"):  # some of the wall may be black
        return float(np.median(other / one))


def lit_part(light: xr.Dataset, names: tuple[str, ...]) -> NDArray[np.bool_]:
    """Return which points of a map lie on the named patches and are reached by a picture, shape (y, x)."""
    member = np.isin(light["patch_name"].values, names)
    return np.append(member, False)[light["patch"].values] & (light["illuminance"].values > 0)


def _smaller(scene: Scene, times: float) -> tuple[Scene, float]:
    """Return the scene with every picture made smaller until it is `times` as bright, and the width's factor."""
    width = 1.0 / math.sqrt(times)
    pairs = tuple((replace(p, throw_ratio=p.fixed_throw_ratio() / width), place) for p, place in scene.projectors)
    return replace(scene, projectors=pairs), width


def _wall_only(
    bare: Scene, covered: Scene, names: tuple[str, ...], spacing: float, extent: tuple[float, float, float, float]
) -> tuple[float, float]:
    """Return the median contrast bare and covered, with light on the wall and nothing else."""
    result = []
    for scene in (bare, covered):
        plain = replace(scene, ground_reflectance=0.0, ambient=replace(scene.ambient, glare=(), eye=None))
        at = _median(light_map(plain, spacing, extent=extent), names)
        assert at is not None
        result.append(at[1])
    return result[0], result[1]


def _price(value: float) -> str:
    """Return a price as a buyer reads it: with cents where it is small."""
    return f"{value:,.0f}" if value >= 2.0 or value == 0.0 else f"{value:.2f}"


def _round(value: float) -> int:
    """Return a number of lumens rounded to two significant figures."""
    if value == 0:
        return 0
    places = 1 - math.floor(math.log10(abs(value)))
    return int(round(value, places))
