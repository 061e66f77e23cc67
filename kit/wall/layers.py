r"""Layers of cloth in front of a wall, and what rain does to both.

A layer sends back a share R of the light on it and lets a share T through. For a layer over a backing, with all
reflections between the two (P. Kubelka, J. Opt. Soc. Am. 44 (1954) 330, doi:10.1364/JOSA.44.000330),

.. math:: R = R_1 + \frac{T_1 T_1' R_2}{1 - R_1' R_2}, \qquad T = \frac{T_1 T_2}{1 - R_1' R_2},

where a dash marks the side that looks away from the audience; applied again and again it gives any stack. It is exact
where each layer scatters light so well that what leaves it has forgotten where it came from.

Masonry darkens when it is wet: the film of water throws light that the wall sends out back into it, and grains in water
mirror less than grains in air, so more light enters them (J. Lekner and M. C. Dorf, Appl. Opt. 27 (1988) 1278,
doi:10.1364/AO.27.001278).
"""

from collections.abc import Sequence
from functools import cache, lru_cache, reduce

import numpy as np

from kit import reference
from kit.arrays import Array, ArrayLike
from kit.errors import InputError
from kit.fields import SHARE, Declared, Is, Many, Number, Numbers, declared, specs, together

# Rounding in a sum of shares.
ROUNDING = 1e-9
# What a sheet that sends nothing back scatters: so little that none of it is seen, so that its absorption is defined.
FAINT, BLACK = 1e-60, 1e50

SHARES = Numbers(label="shares", of=SHARE.but(high=1.0 + ROUNDING))
GAP = Number(label="gap", unit="m", low=0.0, high=100.0, meaning="between cloth and wall")
SIDE = Number(label="size", unit="m", above=0.0, meaning="of a sheet")


class Layer(Declared):
    """A plane layer that scatters light; each share of any shape, for example by wavelength; at most 1 together."""

    thing = "layer"
    reflectance: ArrayLike = declared(SHARES, meaning="of the light on the front")
    transmittance: ArrayLike = declared(SHARES, default=0.0, meaning="of the light on the front")
    back_reflectance: ArrayLike = declared(SHARES, default=None, meaning="of light on the back; None: as the front")
    back_transmittance: ArrayLike = declared(SHARES, default=None, meaning="of light on the back; None: as the front")

    def _agree(self, where: str) -> None:
        for share in ("reflectance", "transmittance"):
            if getattr(self, f"back_{share}") is None:
                object.__setattr__(self, f"back_{share}", getattr(self, share))
        for side in ("", "back_"):
            r, t = together(**{f"layer: {side}{s}": getattr(self, side + s) for s in ("reflectance", "transmittance")})
            if np.any(r + t > 1.0 + ROUNDING):
                field = f"layer: {side}reflectance + {side}transmittance"
                right = "at most 1; a layer cannot give more light than it gets"
                raise InputError(field, float(np.max(r + t)), right)

    def over(self, backing: "Layer") -> "Layer":
        """Return this layer and `backing` behind it as one layer; shapes broadcast."""
        both = {"layer": self, "layer behind": backing}
        r, t, back_r, back_t, behind_r, behind_t, behind_back_r, behind_back_t = together(
            **{f"{where}: {name}": getattr(one, name) for where, one in both.items() for name in specs(one)}
        )
        lost = 1.0 - back_r * behind_r
        # Two perfect mirrors face to face: no light gets between them.
        between = np.divide(1.0, lost, out=np.zeros_like(lost), where=lost > 0)
        return Layer(
            reflectance=np.minimum(r + t * back_t * behind_r * between, 1.0),
            transmittance=np.minimum(t * behind_t * between, 1.0),
            back_reflectance=np.minimum(behind_back_r + behind_t * behind_back_t * back_r * between, 1.0),
            back_transmittance=np.minimum(back_t * behind_back_t * between, 1.0),
        )


def stack(layers: Sequence[Layer]) -> Layer:
    """Return the layers, at least one and the one nearest the audience first, as one layer."""
    return reduce(Layer.over, Many(of=Is(kind=Layer), least=1).check("layers", layers))


def gap_layer(gap: float, width: float, height: float) -> Layer:
    """Return the air between two sheets of one size [m] as a layer: what leaves by the open edges is lost. Aligned
    equal rectangles: J. R. Howell, A Catalog of Radiation Configuration Factors, C-11 (from memory).
    """
    x, y = np.array([width, height]) / max(gap, 1e-6)  # thinner than that, nothing leaves
    u, v = np.sqrt(1.0 + x * x), np.sqrt(1.0 + y * y)
    share = 0.5 * np.log(u * u * v * v / (1.0 + x * x + y * y)) + x * v * np.arctan(x / v) + y * u * np.arctan(y / u)
    share = (share - x * np.arctan(x) - y * np.arctan(y)) * (2.0 / (np.pi * x * y))
    return Layer(reflectance=0.0, transmittance=float(np.clip(share, 0.0, 1.0)))


@lru_cache(maxsize=64)
def diffuse_interface_reflectance(index: float) -> float:
    """Return the share of even diffuse light that a smooth interface mirrors, from the thinner side, by Fresnel."""
    at, weight = np.polynomial.legendre.leggauss(100)
    u = 0.5 * (at + 1.0)  # the cube root of the cosine: at grazing light the integrand is steep
    inside = index * np.sqrt(1.0 - (1.0 - u**6) / index**2)
    across, along = (u**3 - inside) / (u**3 + inside), (index**2 * u**3 - inside) / (index**2 * u**3 + inside)
    return float(1.5 * weight @ ((across**2 + along**2) * u**5))


def wet_reflectance(dry: ArrayLike, *, solid: float) -> Array:
    """Return the diffuse reflectance of an opaque rough surface, `dry` without it, under a film of water, without
    highlight.

    `solid` is the refractive index of its grains or fibres. With n of water, a = 1 - dry and rho(m) of an interface, a
    wet grain absorbs a_w = a [ (1 - a) / n^2 + a (1 - rho(solid/n)) / (1 - rho(solid)) ], at most 1 - rho(solid/n),
    which even a black one mirrors. The film throws back p = 1 - (1 - rho(n)) / n^2 of what the grains send out, so the
    surface absorbs (1 - R0) a_w / (1 - p (1 - a_w)), R0 the film's mirror reflection. By Lekner and Dorf, equations
    from memory.
    """
    _, mirrored, _ = _film()
    share = np.asarray(dry, float)
    return np.minimum((1.0 - mirrored) * _under_film(1.0 - share, solid), share)


@cache
def _film() -> tuple[float, float, float]:
    """Return the index of water, what its film mirrors at normal incidence, and lets out of diffuse light below."""
    n = reference.value("constants", "refractive index of water")
    return n, ((n - 1.0) / (n + 1.0)) ** 2, (1.0 - diffuse_interface_reflectance(n)) / n**2


def _under_film(a: Array, solid: float) -> Array:
    """Return what comes out of a wet surface of dry absorptance `a`, of the light that entered the film."""
    n, _, let_out = _film()
    in_air, in_water = map(diffuse_interface_reflectance, (solid, solid / n))
    absorbed = np.minimum(a * ((1.0 - a) / n**2 + a * (1.0 - in_water) / (1.0 - in_air)), 1.0 - in_water)
    return let_out * (1.0 - absorbed) / (1.0 - (1.0 - let_out) * (1.0 - absorbed))


def wet_sheet(layer: Layer, *, solid: float) -> Layer:
    """Return a wet sheet of fibres, alike on both sides: the lighter end of what rain may do.

    Its absorption stays; its scattering falls until an endless pile of such sheets darkens as `wet_reflectance` says.
    The two are told apart by the two-flux equations of Kubelka and Munk. A white pile hardly darkens, yet a thin sheet
    turns translucent.
    """
    (ratio, thickness), (n, mirrored, _) = _two_flux(layer), _film()
    wet = _under_film(1.0 - _pile(ratio), solid)
    with np.errstate(divide="ignore", invalid="ignore"):
        wet_ratio = (1.0 - wet) ** 2 / (2.0 * wet)
        # A pile that loses nothing stays white; the limit of the two relations is the film's own.
        limit = (1.0 - diffuse_interface_reflectance(n)) ** 2
        less = np.where(ratio > 1e-9, np.where(ratio < BLACK, np.maximum(ratio / wet_ratio, FAINT), FAINT), limit)
    inside = _sheet(ratio / less, thickness * less)
    return stack([Layer(reflectance=0.0, transmittance=1.0 - mirrored, back_transmittance=1.0), inside])


def soaked_sheet(layer: Layer, *, solid: float) -> Layer:
    """Return a sheet, alike on both sides, whose pores are full of water, a smooth film on both faces: the darker end.
    Fibres scatter by what their surfaces mirror, which water lowers from rho(solid) to rho(solid/n). Our own use of
    Fresnel's equations, without a published check on cloth.
    """
    (ratio, thickness), (n, mirrored, let_out) = _two_flux(layer), _film()
    less = diffuse_interface_reflectance(solid / n) / diffuse_interface_reflectance(solid)
    inside = _sheet(ratio / less, thickness * less)
    # The front face's mirror reflection is left out of the diffuse part, as in `wet_reflectance`.
    kept, enters = 1.0 - let_out, 1.0 - mirrored
    front = Layer(reflectance=0.0, transmittance=enters, back_reflectance=kept, back_transmittance=let_out)
    back = Layer(reflectance=kept, transmittance=let_out, back_reflectance=0.0, back_transmittance=enters)
    return stack([front, inside, back])


def _two_flux(layer: Layer) -> tuple[Array, Array]:
    """Return K / S and S t of a sheet alike on both sides; S t is infinite for an opaque sheet."""
    r, t = np.asarray(layer.reflectance, float), np.asarray(layer.transmittance, float)
    if np.any(r != layer.back_reflectance) or np.any(t != layer.back_transmittance):
        raise InputError("layer", "different front and back", "a sheet that is alike on both sides")
    r = np.maximum(r, FAINT)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        ratio = np.maximum((1.0 - r - t) * (1.0 - r + t), 0.0) / (2.0 * r)
        b = np.sqrt(ratio * (ratio + 2.0))
        return ratio, np.where(b > 1e-6, np.arcsinh(b * r / t) / np.where(b > 0, b, 1.0), r / t)


def _pile(ratio: Array) -> Array:
    """Return the reflectance of an endless pile, a - b in the usual symbols, written without cancellation."""
    return 1.0 / (1.0 + ratio + np.sqrt(ratio * (ratio + 2.0)))


def _sheet(ratio: Array, thickness: Array) -> Layer:
    """Return the layer of given (K / S, S t), as from `_two_flux`."""
    b = np.sqrt(ratio * (ratio + 2.0))
    opaque = np.isinf(thickness)
    scattering = np.where(opaque, 1.0, thickness)
    exponent = b * scattering
    opaque |= exponent > 300.0  # short of overflow; less than 1e-130 comes through
    exponent = np.where(opaque, 1.0, exponent)
    weak = b <= 1e-6
    sinh, cosh = np.sinh(exponent), np.cosh(exponent)
    base = np.where(weak, 1.0 + scattering, (1.0 + ratio) * sinh + b * cosh)
    r = np.where(opaque, _pile(ratio), np.where(weak, scattering, sinh) / base)
    t = np.where(opaque, 0.0, np.where(weak, 1.0, b) / base)
    return Layer(reflectance=r, transmittance=t)
