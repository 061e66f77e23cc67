"""What is not known of a scene beside its losses and surfaces, which carry bands of their own."""

from dataclasses import dataclass
from functools import partial

from kit import reference
from kit.errors import InputError
from kit.fields import Declared, Number, Range, declared, specs
from kit.light.ambient import EVEN
from kit.sky.site import GLOW, MOON, TWILIGHT

SPREAD = Range(of=Number(above=0.0))


def usual(name: str) -> tuple[float, float]:
    """Return low and high over nominal of a row of ``reference_data/doubts.csv``."""
    row = reference.row("doubts", name)
    return row.low / row.value, row.high / row.value


def _field(name: str, meaning: str) -> tuple[float, float]:
    return declared(SPREAD, label=name, meaning=meaning, default=partial(usual, name))  # type: ignore[no-any-return]


@dataclass(frozen=True, kw_only=True)
class Doubt(Declared):
    """The middle 90% of what is not known of a scene, each as (low, high) over the value given; (1, 1): it is certain.

    What is left out is as in ``reference_data/doubts.csv``. `kit.bands` has the distribution.
    """

    sequential_contrast: tuple[float, float] = _field("sequential contrast", "of all machines alike")
    checkerboard_contrast: tuple[float, float] = _field("checkerboard contrast", "the same")
    picture_level: tuple[float, float] = _field("average picture level", "of what is shown")
    picture_width: tuple[float, float] = _field("picture width", "by distance and throw ratio, measured with a tape")
    even_light: tuple[float, float] = _field(EVEN, "ambient light given as one figure")
    lamps: tuple[float, float] = _field("lamps", "light of each lamp and string, apart from the others")
    twilight: tuple[float, float] = _field(TWILIGHT, "on the front")
    sky_glow: tuple[float, float] = _field(GLOW, "on the front")
    moon: tuple[float, float] = _field(MOON, "on the front")

    def __post_init__(self) -> None:
        super().__post_init__()
        for name, spec in specs(self).items():
            low, high = getattr(self, name)
            if not low <= 1.0 <= high:
                raise InputError(name, (low, high), f"low and high of the {spec.label} over its value: 1 lies between")

    def of(self, name: str) -> tuple[float, float]:
        """Return the band of an input by its label; every lamp has that of `lamps`."""
        bands = {spec.label: getattr(self, field) for field, spec in specs(self).items()}
        found: tuple[float, float] = bands.get(name, self.lamps)
        return found
