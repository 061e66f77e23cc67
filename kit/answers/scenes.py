"""What the answers share: what may be chosen on every page, and the scene that follows from it."""

from __future__ import annotations

from collections.abc import Sequence

from kit import reference
from kit.decision.verdict import Target
from kit.eye.light_map import Scene
from kit.fields import LENGTH, LENS_HEIGHT, LIGHT_OUTPUT, SHARE, OneOf
from kit.light.ambient import Ambient
from kit.source.placement import Placement
from kit.source.projector import Projector, typical_projector
from kit.wall.facade import Facade, Surface

# The picture's lower edge is level with the lens, which stands on the ground in its housing.
LENS_SHIFT = (0.0, 0.5)
RESOLUTION = (1920, 1200)


def _with_value(table: str, group: str | None, unit: str) -> OneOf:
    """Return the declaration of a name of a reference table whose menu shows the values too."""
    return OneOf(
        options=lambda: reference.names(table, group),
        reading=lambda name: f"{name} ({reference.value(table, name, group=group):g}{unit})",
    )


WALL = OneOf(
    label="main wall", options=lambda: reference.names("surfaces"), optional=True, nothing="as the house is",
    meaning="surface of the main wall and of what matches it",
)  # fmt: skip
DISTRICT = _with_value("luminance_targets", "district brightness", " cd/m²").but(
    label="surroundings", default="dark", meaning="how bright the district is: the white that is wanted"
)
PURPOSE = _with_value("contrast_categories", None, ":1").but(
    label="contrast for", default="basic decision making", meaning="what is shown: the contrast that is wanted"
)
MACHINE = LIGHT_OUTPUT.but(label="light output")
SHIFT_UP = SHARE.but(
    label="lens shift up", low=-10.0, high=10.0, default=LENS_SHIFT[1], steps=(-0.5, 0.7, 0.05),
    meaning="of the picture in picture heights; 0.5: its lower edge is level with the lens",
)  # fmt: skip
ASIDE = LENGTH.but(
    label="to the right", default=0.0, steps=(-6.0, 6.0, 0.1), feet=(-20.0, 20.0, 0.5),
    meaning="of the middle of the front, as the audience sees it",
)  # fmt: skip


def walled(house: Facade, wall: str | None, patches: Sequence[str]) -> Facade:
    """Return the house with another surface on some patches; None: as it is."""
    return house if wall is None else house.cover(Surface.from_reference(wall), patches=tuple(patches))


def target_for(choice: object) -> Target:
    """Return the target that a choice with a district and a purpose asks for."""
    return Target.from_reference(district=choice.district, purpose=choice.purpose)  # type: ignore[attr-defined]


def street_scene(
    house: Facade,
    *,
    light_output: float,
    distance: float,
    throw_ratio: float,
    ambient: Ambient,
    options: dict[str, str] | None = None,
) -> Scene:
    """Return a typical projector on the ground in front of the middle of a house.

    `light_output`: stated [lm]; `distance`: lens to the plane of the front wall [m]; `ambient` (Ambient); `options`
    (dict): losses, as for `typical_projector`.
    """
    left, right, *_ = house.bounds
    x, height = 0.5 * (left + right), LENS_HEIGHT.default
    projector = typical_projector(
        light_output, throw_ratio, resolution=RESOLUTION, lens_shift=LENS_SHIFT, options=options
    )
    return on_grass(house, [(projector, Placement(position=(x, height, distance), aim=(x, height, 0.0)))], ambient)


def on_grass(
    house: Facade, projectors: Sequence[tuple[Projector, Placement]], ambient: Ambient, *, blend: bool = False
) -> Scene:
    """Return a scene with a lawn in front of the house."""
    grass = reference.value("surfaces", "grass")
    return Scene(facade=house, projectors=tuple(projectors), ambient=ambient, ground_reflectance=grass, blend=blend)
