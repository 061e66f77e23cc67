"""Does covering the masonry pay? What cloth is worth in lumens, and four routes to a brighter wall side by side.

Cloth makes a wall brighter without more light: a wall of reflectance 0.19 under cloth of 0.69 has the luminance that
the bare wall would have with 3.7 times the lumens. It does not make the wall's contrast better: the street's light is
sent back as well as the projector's. `wall_only_contrast` shows that.

All four routes are worked out with `light_map`, on the same scene, and looked at on the part that the cloth covers:

- more lumens: as many as give the bare wall the luminance that the cloth gives,
- cloth,
- a smaller picture: the zoom set so that the bare wall gets that luminance; less of the front is lit,
- less ambient light: a share of it kept away, half if nothing is said; brings contrast, and no luminance at all.

Each costs what it takes to have it hanging and working (`kit.decision.costs`). A brighter machine in place of one that
is there needs the same housing, mount and cables, which are not counted again.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from kit import reference
from kit.arrays import Mask
from kit.bands import drawn_share, worked_out
from kit.decision.costs import Item, dollars, hangs, items, parts_sentence, swayed, total
from kit.decision.verdict import Target, Verdict, brightest, judge, judged_front
from kit.errors import InputError
from kit.eye.light_map import Scene, light_map
from kit.fields import LIGHT_OUTPUT, SHARE, Frozen
from kit.results import Format, Frame, Result, make_frame, pick
from kit.source.projector import Levels
from kit.units import edge
from kit.wall.cloth import Covering
from kit.words import Phrases, percent, short

AMBIENT_LEFT = SHARE.but(label="ambient light left", meaning="of the light of lamps, when they are shaded")

say = Phrases(__file__)
FORMATS: dict[str, Format] = {
    "contrast": ".1f", "lit": percent, "chance": ".0%", "price [USD]": ",.0f",
    "price of each cd/m² [USD]": lambda price: "buys none" if math.isinf(price) else short(price),
}  # fmt: skip


class Route(Frozen):
    """One way to a brighter wall: medians on the lit part of what cloth would cover, status of the whole front."""

    name: str
    change: str  # what is done
    luminance: float  # of white [cd/m2]
    contrast: float
    added_luminance: float  # above that of the bare wall
    lit_share: float
    chance: float
    status: str
    items: tuple[Item, ...] | None  # what it takes to have it working; None where nothing on sale does it

    @property
    def price(self) -> Levels | None:
        """Price of all items together [USD]; None where nothing on sale does it."""
        return None if self.items is None else total(self.items)

    @property
    def price_per_luminance(self) -> float:
        """Price of each cd/m2 added [USD/(cd/m2)]; infinite where none is added or none is on sale."""
        if self.price is None or self.added_luminance <= 1e-9 * max(self.luminance, 1.0):
            return math.inf
        return self.price[1] / self.added_luminance

    def row(self) -> dict[str, Any]:
        """Return the figures as a row of the frame of a `PayOff`; prices are NaN where nothing on sale does it."""
        return {
            "route": self.name, "white [cd/m²]": self.luminance, "contrast": self.contrast, "lit": self.lit_share,
            "price [USD]": math.nan if self.price is None else self.price[1],
            "price of each cd/m² [USD]": math.nan if self.price is None else self.price_per_luminance,
            "chance": self.chance, "front": self.status, "change": self.change,
        }  # fmt: skip


class PayOff(Result):
    """The decision: cloth against the other routes."""

    covering: Covering
    routes: tuple[Route, ...]  # the bare wall, then more lumens, cloth, a smaller picture, less ambient light
    stated_light_output: float
    worth: float  # what the bare wall would need for the luminance that the cloth gives [lm]
    worth_band: tuple[float, float]  # its middle 90%, from the bands of wall and cloth
    break_even_price: float | None  # of cloth where it hangs, at which it costs what the extra lumens cost [USD/m2]
    wall_only_contrast: tuple[float, float]  # bare and covered: no veil in the eye, nothing sent back by the ground
    under: Verdict  # on the front under cloth
    before: xr.Dataset  # maps of the bare and the covered front
    after: xr.Dataset

    def route(self, name: str) -> Route:
        """Return the route called `name`, or raise `InputError` with the names there are."""
        return pick("route", name, {route.name: route for route in self.routes})

    def frame(self, units: str = "m") -> Frame:
        """Return the routes side by side, a row for each."""
        return make_frame([route.row() for route in self.routes], FORMATS, index="route")

    def patches_frame(self, units: str = "m") -> Frame:
        """Return luminance before and after for each covered patch; NaN for one that no picture reaches."""
        rows = []
        for name in self.covering.patches:
            one, other = (_medians(light, (name,))[0] for light in (self.before, self.after))
            rows.append({"patch": name, "bare [cd/m²]": one, "cloth [cd/m²]": other, "times": other / one})
        return make_frame(rows, {"times": ".2f"}, index="patch")

    def sentence(self, units: str = "m") -> str:
        """Return the decision in words."""
        bare, cloth, lumens = map(self.route, ("as it is", "cloth", "more lumens"))
        (low, high), rain, stated = self.worth_band, self.covering.rain, self.stated_light_output
        change, need = say("change", bare=bare, cloth=cloth), say("need", worth=self.worth, low=low, high=high)
        # Beside a wet wall wet cloth looks good; it is dimmer than dry.
        first = "takes" if self.worth <= stated else "wet" if rain < 1.0 else "dry"
        parts = [say(first, change=change, need=need, more=self.worth - stated, stated=stated, rain=rain)]
        if self.worth > stated and not self.break_even_price:
            parts.append(say("not listed" if self.break_even_price is None else "no more"))
        elif self.worth > stated and self.break_even_price:
            sign, square = edge("m2", units)
            size, most = square / self.covering.cloth_area[1], brightest()
            parts += [say("most", most=most)] if self.worth > most else []
            each: dict[str, Any] = {"whole": size * total(cloth.items or ())[1], "alone": size * self.covering.price[1]}
            parts.append(say("pays", limit=self.break_even_price * square, sign=sign, **each))
        parts.append(say("costs", parts=parts_sentence(cloth.items or ())))
        if lumens.price is not None and lumens.price[1]:
            best, other = sorted((cloth, lumens), key=lambda way: total(way.items or ())[1])
            price, dear = (dollars(total(way.items or ())) for way in (best, other))
            hung = hangs(swayed(best.items or (), [other.items or ()]))
            parts.append(say("less", best=best.name, price=price, other=dear, hangs=hung))
        one, other_wall = self.wall_only_contrast
        parts.append(say("contrast", one=one, other=other_wall))
        return " ".join([*parts, say("chance", wanted=self.under.target.share, bare=bare, cloth=cloth, lumens=lumens)])


def pay_off(
    scene: Scene, covering: Covering, target: Target | None = None, *, spacing: float = 0.1, ambient_left: float = 0.5,
    costs: Mapping[str, float] | None = None, draws: int = 2048,
) -> PayOff:  # fmt: skip
    """Compare cloth with the other routes to the same luminance.

    Parameters
    ----------
    scene : Scene
        Projectors and ambient light as they are; its front is replaced by the covering's.
    covering : Covering
        From `kit.cover`.
    target, spacing, draws
        As for `kit.compare_setups` and `kit.judge`.
    ambient_left : float
        Share of the ambient light that the fourth route leaves, 0 to 1; of the sky's light it leaves all.
    costs : mapping of str to float, optional
        Prices that are known, such as ``{"ladder": 0}``; others are guesses of ``reference_data/prices.csv``.

    Raises
    ------
    InputError
        For a picture that misses what the cloth covers.

    Examples
    --------
    >>> import kit
    >>> brick = kit.Surface.from_reference("red brick")
    >>> front = kit.Facade([kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], brick)])
    >>> machine = kit.Projector(light_output=4000, throw_ratio=1.0, resolution=(1600, 1000))
    >>> place = kit.Placement(position=(0, 2.5, 8), aim=(0, 2.5, 0))
    >>> street = kit.Ambient(vertical_illuminance=2.0)
    >>> scene = kit.Scene(facade=front, projectors=[(machine, place)], ambient=street)
    >>> found = kit.pay_off(scene, kit.cover(front, kit.Cloth.from_reference("white cotton")))
    >>> round(found.worth, -2)
    18400.0
    """
    fabric = Item(name="fabric", price=covering.price, typed=covering.cloth.price[0] == covering.cloth.price[2])
    hung = (fabric, *items("cloth", costs, area=covering.cloth_area[1]))
    left = AMBIENT_LEFT.check("ambient_left", ambient_left)
    target = target or Target()
    bare_scene, cloth_scene = (replace(scene, facade=f) for f in (covering.bare, covering.facade))
    extent = covering.facade.bounds

    def mapped(scene: Scene, **changes: Any) -> xr.Dataset:
        return light_map(replace(scene, **changes), spacing, extent=extent)

    before, after = mapped(bare_scene), mapped(cloth_scene)
    under = judge(after, target, draws=draws)
    chosen = covering.patches
    check_reach(before, chosen)
    bare_at, cloth_at = _medians(before, chosen), _medians(after, chosen)
    if not bare_at[0] > 0:
        raise InputError("reflectance", 0.0, "a wall that sends some light back, to compare cloth with")
    if not cloth_at[0] > 0:
        raise InputError("cloth: reflectance", 0.0, "cloth that sends some light back")

    lit = lit_part(before, chosen)
    with np.errstate(divide="ignore"):  # some of the wall may be black
        times = float(np.median(after["white_luminance"].values[lit] / before["white_luminance"].values[lit]))
    stated = float(before.attrs["stated_light_output"])
    worth = stated * times
    present, wanted = projector_price(stated), projector_price(worth)
    extra: Levels | None = (0.0, 0.0, 0.0) if times <= 1.0 else None
    if times > 1.0 and present is not None and wanted is not None:
        low, nominal, high = (max(0.0, b - a) for a, b in zip(present, wanted, strict=True))
        extra = low, nominal, high

    def route(name: str, change: str, light: xr.Dataset, takes: tuple[Item, ...] | None) -> Route:
        white, contrast = _medians(light, chosen) if lit_part(light, chosen).any() else (0.0, 1.0)
        front = under.front if light is after else judged_front(light, target, draws)
        return Route(
            name=name, change=change, luminance=white, contrast=contrast, added_luminance=white - bare_at[0],
            lit_share=front.lit_share, chance=front.chance, status=front.status, items=takes,
        )  # fmt: skip

    pairs = scene.projectors
    stronger = tuple((replace(p, light_output=p.light_output * times), place) for p, place in pairs)
    # A picture that much narrower is `times` as bright.
    width = 1.0 / math.sqrt(times)
    smaller = tuple((replace(p, throw_ratio=p.fixed_throw_ratio() / width), place) for p, place in pairs)
    dimmer = mapped(bare_scene, ambient=scene.ambient.dimmed(left))
    lux, less = (float(np.nanmedian(m["ambient_illuminance"].sum("source", skipna=False))) for m in (before, dimmer))
    lumens = f"{short(worth)} instead of {short(stated)} lumens"
    brighter = None if extra is None else (Item(name="a brighter machine", price=extra, typed=False),)
    zoomed = f"a picture {width:.2f} times as wide, by zoom or lens"
    routes = (
        route("as it is", "the bare wall", before, ()),
        route("more lumens", lumens, mapped(bare_scene, projectors=stronger), brighter),
        route("cloth", f"{covering.cloth.name} over {', '.join(chosen)}", after, hung),
        route("smaller picture", zoomed, mapped(bare_scene, projectors=smaller), ()),
        route("less ambient light", f"{less:.2f} instead of {lux:.2f} lx on the front", dimmer, items("lamp", costs)),
    )
    # Light on the wall and nothing else.
    alone = {"ground_reflectance": 0.0, "ambient": replace(scene.ambient, glare=(), eye=None), "black_detail": None}
    wall_only = [_medians(mapped(one, **alone), chosen)[1] for one in (bare_scene, cloth_scene)]
    return PayOff(
        covering=covering, routes=routes, stated_light_output=stated, worth=worth,
        worth_band=_worth_band(covering, worth),
        break_even_price=None if extra is None else extra[1] / covering.cloth_area[1],
        wall_only_contrast=(wall_only[0], wall_only[1]), under=under, before=before, after=after,
    )  # fmt: skip


def check_reach(light: xr.Dataset, names: tuple[str, ...]) -> None:
    """Raise `InputError` where the picture reaches nothing of the named patches."""
    if not lit_part(light, names).any():
        raise InputError("scene: picture", names, "a picture that reaches what the cloth covers")


def projector_price(light_output: float) -> Levels | None:
    """Return the likely price of a projector [USD], low, nominal, high; None above the largest that is listed.

    Parameters
    ----------
    light_output : float
        Stated, above 0 [lm]; between the classes of ``reference_data/prices.csv`` a power law holds.
    """
    return between_classes("prices", "projector", light_output)


def between_classes(table: str, group: str, light_output: float) -> Levels | None:
    """Return low, nominal and high of a table whose rows are classes such as ``"4000 lumens"``.

    Between them along a power law, below the smallest its value, None above the largest.
    """
    lumens = LIGHT_OUTPUT.check("light_output", light_output)
    rows = [(float(row.name.split()[0]), row) for row in reference.table(table) if row.group == group]
    rows.sort(key=lambda item: item[0])
    if lumens > rows[-1][0]:
        return None
    sizes, bands = np.log([size for size, _ in rows]), np.log([row.band for _, row in rows])
    low, nominal, high = np.exp([np.interp(math.log(lumens), sizes, level) for level in bands.T]).tolist()
    return low, nominal, high


def _medians(light: xr.Dataset, names: tuple[str, ...]) -> tuple[float, float]:
    """Return the medians of white luminance and contrast over the lit part of patches; NaN where none is lit."""
    where = lit_part(light, names)
    if not where.any():
        return math.nan, math.nan
    white, contrast = (float(np.median(light[name].values[where])) for name in ("white_luminance", "contrast"))
    return white, contrast


def _worth_band(covering: Covering, worth: float) -> tuple[float, float]:
    """Return the band of `worth`: that of the cloth over that of the wall, for the largest patch it covers."""
    name = max(covering.patches, key=lambda name: covering.bare.patch(name).area)
    walls = (facade.patch(name).surface for facade in (covering.bare, covering.facade))
    bands = [(wall.low, wall.reflectance, wall.high) for wall in walls]
    low, nominal, high = worked_out(lambda wall, cloth: cloth / wall, *bands, by=drawn_share)
    return worth * low / nominal, worth * high / nominal


def lit_part(light: xr.Dataset, names: tuple[str, ...]) -> Mask:
    """Return which points of a map lie on the named patches and are reached by a picture, shape (y, x)."""
    member = np.isin(light["patch_name"].values, names)
    return np.append(member, False)[light["patch"].values] & (light["illuminance"].values > 0)
