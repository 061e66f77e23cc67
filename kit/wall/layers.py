r"""Layers of cloth in front of a wall, and what rain does to both.

A layer sends back a share R of the light on it and lets a share T through; what hangs behind sends some of that
back again. For a layer over a backing, with all reflections between the two,

.. math::

    R = R_1 + \frac{T_1 T_1' R_2}{1 - R_1' R_2}, \qquad T = \frac{T_1 T_2}{1 - R_1' R_2},

where a dash marks the side that looks away from the audience. Applied again and again it gives any stack. The relation
is exact where each layer scatters light so well that what leaves it has forgotten where it came from.

Masonry darkens when it is wet for two reasons: light that the wall sends out is thrown back into it by the film of
water on top, and grains in water mirror less than grains in air, so more light enters them.

References
----------
P. Kubelka, J. Opt. Soc. Am. 44 (1954) 330: layers. J. Lekner and M. C. Dorf, Appl. Opt. 27 (1988) 1278: wet surfaces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, number

Array = NDArray[np.float64]

# Rounding in a sum of shares.
ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True)
class Layer:
    """A plane layer that scatters light.

    Parameters
    ----------
    reflectance, transmittance : array
        Shares of the light on the front, each in [0, 1], together at most 1. Any shape, for example by wavelength.
    back_reflectance, back_transmittance : array, optional
        The same for light on the back; as the front where not given.

    Raises
    ------
    InputError
        For a share outside [0, 1], or reflectance and transmittance that add up to more than 1.
    """

    reflectance: ArrayLike
    transmittance: ArrayLike = 0.0
    back_reflectance: ArrayLike | None = None
    back_transmittance: ArrayLike | None = None

    def __post_init__(self) -> None:
        fix = object.__setattr__
        if self.back_reflectance is None:
            fix(self, "back_reflectance", self.reflectance)
        if self.back_transmittance is None:
            fix(self, "back_transmittance", self.transmittance)
        for side in ("", "back_"):
            pair = []
            for share in ("reflectance", "transmittance"):
                values = _shares(f"layer: {side}{share}", getattr(self, side + share))
                fix(self, side + share, values)
                pair.append(values)
            _match("layer: shapes of reflectance and transmittance", *pair)
            if np.any(pair[0] + pair[1] > 1.0 + ROUNDING):
                raise InputError(
                    f"layer: {side}reflectance + {side}transmittance",
                    float(np.max(pair[0] + pair[1])),
                    "at most 1; a layer cannot give more light than it gets",
                )

    def over(self, backing: Layer) -> Layer:
        """Return this layer and `backing` behind it as one layer; shapes broadcast."""
        one = [np.asarray(v, float) for v in (self.reflectance, self.transmittance)]
        one_back = [np.asarray(v, float) for v in (self.back_reflectance, self.back_transmittance)]
        two = [np.asarray(v, float) for v in (backing.reflectance, backing.transmittance)]
        two_back = [np.asarray(v, float) for v in (backing.back_reflectance, backing.back_transmittance)]
        _match("layers: shapes", *one, *one_back, *two, *two_back)
        lost = 1.0 - one_back[0] * two[0]
        # Two perfect mirrors face to face: no light gets between them.
        between = np.divide(1.0, lost, out=np.zeros_like(lost), where=lost > 0)
        return Layer(
            reflectance=np.minimum(one[0] + one[1] * one_back[1] * two[0] * between, 1.0),
            transmittance=np.minimum(one[1] * two[1] * between, 1.0),
            back_reflectance=np.minimum(two_back[0] + two[1] * two_back[1] * one_back[0] * between, 1.0),
            back_transmittance=np.minimum(one_back[1] * two_back[1] * between, 1.0),
        )


def _shares(field: str, given: ArrayLike) -> Array:
    """Return `given` as an array of shares; neither a truth value nor a text is a number here."""
    try:
        values = np.asarray(given)
    except ValueError:  # rows of unlike length
        values = np.asarray(None)
    if values.dtype.kind not in "iuf" or not np.all((values >= 0.0) & (values <= 1.0 + ROUNDING)):
        raise InputError(field, given, "numbers from 0 to 1")
    return values.astype(float)


def _match(field: str, *values: Array) -> None:
    """Raise `InputError` where shapes do not broadcast."""
    shapes = [v.shape for v in values]
    try:
        np.broadcast_shapes(*shapes)
    except ValueError:
        raise InputError(field, shapes, "shapes that broadcast together") from None


def stack(layers: Sequence[Layer]) -> Layer:
    """Return the layers, the one nearest the audience first, as one layer.

    Raises
    ------
    InputError
        For no layers at all, or something else among them.
    """
    if not isinstance(layers, Sequence) or not layers or not all(isinstance(layer, Layer) for layer in layers):
        raise InputError("layers", layers, "at least one kit.Layer")
    return reduce(lambda front, back: front.over(back), layers)


def gap_layer(gap: float, width: float, height: float) -> Layer:
    """Return the air between two parallel sheets of one size as a layer: what leaves by the open edges is lost.

    Parameters
    ----------
    gap : float
        Between the sheets [m], 0 or more.
    width, height : float
        Of the sheets [m].

    Returns
    -------
    Layer
        Reflectance 0; transmittance is the view factor from sheet to sheet for diffuse light evenly spread.

    References
    ----------
    Aligned parallel equal rectangles: J. R. Howell, A Catalog of Radiation Configuration Factors, C-11 (from memory).
    """
    d = number("gap", gap, minimum=0.0, unit="m")
    a, b = number("width", width, above=0.0, unit="m"), number("height", height, above=0.0, unit="m")
    if d == 0.0:
        return Layer(reflectance=0.0, transmittance=1.0)
    x, y = a / d, b / d
    u, v = np.sqrt(1.0 + x * x), np.sqrt(1.0 + y * y)
    share = (
        0.5 * np.log(u * u * v * v / (1.0 + x * x + y * y))
        + x * v * np.arctan(x / v)
        + y * u * np.arctan(y / u)
        - x * np.arctan(x)
        - y * np.arctan(y)
    ) * (2.0 / (np.pi * x * y))
    return Layer(reflectance=0.0, transmittance=float(np.clip(share, 0.0, 1.0)))


def diffuse_interface_reflectance(index: float) -> float:
    """Return the share of even, unpolarised diffuse light that a smooth interface mirrors, from the thinner side.

    Parameters
    ----------
    index : float
        Refractive index of the denser side over that of the thinner, above 1.

    References
    ----------
    The mean of Fresnel's reflectance over all directions in closed form; J. W. T. Walsh, Dept. Sci. Ind. Res.
    Illum. Res. Tech. Paper 2 (1926); as used by Lekner and Dorf (both from memory; the tests integrate Fresnel's
    equations).
    """
    n = number("index", index, above=1.0)
    n2 = n * n
    if n < 1.003:
        # Two terms of the closed form grow without limit and cancel here: all but the logarithm as a series.
        above = n - 1.0
        series = above / 3 + 19 * above**2 / 24 - 16 * above**3 / 15
        return float(series + n2 * (n2 - 1) ** 2 / (n2 + 1) ** 3 * np.log(above / (n + 1)))
    return float(
        0.5
        + (n - 1) * (3 * n + 1) / (6 * (n + 1) ** 2)
        + n2 * (n2 - 1) ** 2 / (n2 + 1) ** 3 * np.log((n - 1) / (n + 1))
        - 2 * n**3 * (n2 + 2 * n - 1) / ((n2 + 1) * (n2 * n2 - 1))
        + 8 * n2 * n2 * (n2 * n2 + 1) / ((n2 + 1) * (n2 * n2 - 1) ** 2) * np.log(n)
    )


def wet_reflectance(dry: ArrayLike, *, solid: float) -> Array:
    """Return the diffuse reflectance of an opaque rough surface under a film of water.

    Parameters
    ----------
    dry : array
        Diffuse reflectance of the dry surface, in [0, 1].
    solid : float
        Refractive index of its grains or fibres, above that of water.

    Returns
    -------
    array
        Without the part that the film mirrors, which reaches the audience only as a highlight.

    Notes
    -----
    With n of water, a = 1 - dry and rho(m) the mean reflectance of an interface (`diffuse_interface_reflectance`),
    a wet grain absorbs

        a_w = a [ (1 - a) / n^2 + a (1 - rho(solid/n)) / (1 - rho(solid)) ],

    between the limits of weak and strong absorption. The film throws back p = 1 - (1 - rho(n)) / n^2 of what
    the grains send out, so the surface absorbs (1 - R0) a_w / (1 - p (1 - a_w)), R0 the film's mirror reflection
    at normal incidence. a_w is held to at most 1: the strong limit is meant for grains that mirror a little.

    References
    ----------
    J. Lekner and M. C. Dorf, Appl. Opt. 27 (1988) 1278 (equations from memory).
    """
    mirrored, _ = _film()
    return (1.0 - mirrored) * _under_film(1.0 - _shares("dry", dry), solid)


def _water() -> float:
    return reference.value("constants", "refractive index of water")


def _film() -> tuple[float, float]:
    """Return what a film of water mirrors at normal incidence, and what it lets out of diffuse light from below."""
    n = _water()
    return ((n - 1.0) / (n + 1.0)) ** 2, (1.0 - diffuse_interface_reflectance(n)) / n**2


def _solid_in_water(solid: float) -> tuple[float, float]:
    """Return the mean reflectance of a grain or fibre in air and in water."""
    n = _water()
    m = number("solid", solid, above=n)
    return diffuse_interface_reflectance(m), diffuse_interface_reflectance(m / n)


def _under_film(a: Array, solid: float) -> Array:
    """Return what comes out of a wet surface of dry absorptance `a`, of the light that entered the film."""
    in_air, in_water = _solid_in_water(solid)
    absorbed = np.minimum(a * ((1.0 - a) / _water() ** 2 + a * (1.0 - in_water) / (1.0 - in_air)), 1.0)
    _, let_out = _film()
    return let_out * (1.0 - absorbed) / (1.0 - (1.0 - let_out) * (1.0 - absorbed))


def wet_sheet(layer: Layer, *, solid: float) -> Layer:
    """Return a sheet of fibres when it is wet, by the darkening of a thick pile of it.

    The sheet's absorption stays; its scattering falls until an endless pile of such sheets darkens as
    `wet_reflectance` says. The two are told apart by the two-flux equations of Kubelka and Munk.

    Parameters
    ----------
    layer : Layer
        Alike on both sides.
    solid : float
        Refractive index of the fibres, above that of water.

    Notes
    -----
    The kind end: a white pile hardly darkens, since almost no light is lost in it, yet a thin white sheet also turns
    translucent. `soaked_sheet` is the other end.
    """
    ratio, thickness = _two_flux(layer)
    wet = _under_film(1.0 - _pile(ratio), solid)
    with np.errstate(divide="ignore", invalid="ignore"):
        wet_ratio = (1.0 - wet) ** 2 / (2.0 * wet)
        # A pile that loses nothing stays white; the limit of the two relations is the film's own.
        limit = (1.0 - diffuse_interface_reflectance(_water())) ** 2
        less = np.where(ratio > 1e-9, np.where((wet > 0) & np.isfinite(ratio), ratio / wet_ratio, 0.0), limit)
    mirrored, _ = _film()
    inside = _sheet(*_with_less_scattering(ratio, thickness, less))
    return stack([Layer(reflectance=0.0, transmittance=1.0 - mirrored, back_transmittance=1.0), inside])


def soaked_sheet(layer: Layer, *, solid: float) -> Layer:
    """Return a sheet whose pores are full of water, with a smooth film on both faces.

    Parameters
    ----------
    layer, solid
        As for `wet_sheet`.

    Notes
    -----
    Fibres scatter by what their surfaces mirror, which water lowers from rho(solid) to rho(solid/n); the faces of the
    film throw light back inside. The harsh end; our own use of Fresnel's equations, without a published check on cloth.
    """
    ratio, thickness = _two_flux(layer)
    in_air, in_water = _solid_in_water(solid)
    inside = _sheet(*_with_less_scattering(ratio, thickness, in_water / in_air))
    # The front face's mirror reflection is left out of the diffuse part, as in `wet_reflectance`.
    mirrored, let_out = _film()
    front = Layer(
        reflectance=0.0,
        transmittance=1.0 - mirrored,
        back_reflectance=1.0 - let_out,
        back_transmittance=let_out,
    )
    back = Layer(
        reflectance=1.0 - let_out,
        transmittance=let_out,
        back_reflectance=0.0,
        back_transmittance=1.0 - mirrored,
    )
    return stack([front, inside, back])


def _two_flux(layer: Layer) -> tuple[Array, Array]:
    """Return K / S and S t of a sheet alike on both sides; S t is infinite for an opaque sheet.

    A sheet that sends nothing back has no scattering; it is given as (infinite, -ln T).
    """
    r, t = np.asarray(layer.reflectance, float), np.asarray(layer.transmittance, float)
    if np.any(r != layer.back_reflectance) or np.any(t != layer.back_transmittance):
        raise InputError("layer", "different front and back", "a sheet that is alike on both sides")
    black = r < 1e-100  # below it the squares of the ratio overflow
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        ratio = np.maximum((1.0 - r - t) * (1.0 - r + t), 0.0) / np.where(black, 1.0, 2.0 * r)
        b = np.sqrt(ratio * (ratio + 2.0))
        thickness = np.where(b > 1e-6, np.arcsinh(b * r / t) / np.where(b > 0, b, 1.0), r / t)
        return np.where(black, np.inf, ratio), np.where(black, -np.log(t), thickness)


def _with_less_scattering(ratio: Array, thickness: Array, less: ArrayLike) -> tuple[Array, Array]:
    """Return (K / S, S t) with S times `less` and K as it was; see `_two_flux` for no scattering at all."""
    gone = np.isinf(ratio) | (np.asarray(less) == 0.0)
    kept = np.where(gone, 1.0, less)
    with np.errstate(invalid="ignore"):  # a white pile without end: not asked for its absorption
        absorption = np.where(np.isinf(ratio), thickness, ratio * thickness)
    return np.where(gone, np.inf, ratio / kept), np.where(gone, absorption, thickness * kept)


def _pile(ratio: Array) -> Array:
    """Return the reflectance of an endless pile, a - b in the usual symbols, written without cancellation."""
    return 1.0 / (1.0 + ratio + np.sqrt(ratio * (ratio + 2.0)))


def _sheet(ratio: Array, thickness: Array) -> Layer:
    """Return the layer of given (K / S, S t), as from `_two_flux`."""
    black = np.isinf(ratio)
    ratio, scattering = np.where(black, 0.0, ratio), np.where(black, 0.0, thickness)
    b = np.sqrt(ratio * (ratio + 2.0))
    opaque = np.isinf(scattering)
    scattering = np.where(opaque, 1.0, scattering)
    exponent = b * scattering
    opaque |= exponent > 300.0  # short of overflow; less than 1e-130 comes through
    exponent = np.where(opaque, 1.0, exponent)
    weak = b <= 1e-6
    sinh, cosh = np.sinh(exponent), np.cosh(exponent)
    base = np.where(weak, 1.0 + scattering, (1.0 + ratio) * sinh + b * cosh)
    r = np.where(opaque, _pile(ratio), np.where(weak, scattering, sinh) / base)
    t = np.where(opaque, 0.0, np.where(weak, 1.0, b) / base)
    return Layer(reflectance=np.where(black, 0.0, r), transmittance=np.where(black, np.exp(-thickness), t))
