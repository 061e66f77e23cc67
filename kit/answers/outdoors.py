"""Does the machine live through the evening in its housing, and what does its window cost? See `keep_outdoors`."""

from dataclasses import replace

import numpy as np

from kit import fields
from kit.answers.show import Show
from kit.decision.several import electrical_power
from kit.fields import declared
from kit.housing.air import AIR, FLOW, LOOP, WATTS, Housing, cooler_swing, house_pressure
from kit.housing.season import HUMIDITY, LASTS, SUN, TEMPERATURE, Kept, kept
from kit.housing.supply import CIRCUIT, EVENINGS, load_frame, load_sentence
from kit.housing.window import Pane
from kit.results import Frame, Result
from kit.units import edge, metres_per
from kit.words import Phrases, plain

say, FOOT = Phrases(__file__), metres_per("ft")


class KeepChoice(Housing):
    """A housing, the evening around it, and the machine's power; None: as the show's brightest machine may have it."""

    temperature: float = declared(TEMPERATURE, reading=lambda t: f"{t:g} °C, {1.8 * t + 32.0:.0f} °F")
    humidity: float = declared(HUMIDITY)
    flow: float | None = declared(FLOW, default=None, reading=lambda q: f"{q:.3f} m³/s, {60.0 * q / FOOT**3:.0f} cfm")
    sun: float = declared(SUN)
    power: float = declared(WATTS, label="power of the machine", default=None)
    lasts: float = declared(LASTS)
    circuit: str = declared(CIRCUIT)
    evenings: int = declared(EVENINGS)
    units: str = declared(fields.UNITS, default=None)

    def on(self, show: Show) -> "KeepChoice":
        """Return the choice with what is not chosen as in `show`."""
        watts = (electrical_power(show.machine.lumens) or WATTS.ends())[1] if self.power is None else self.power
        return replace(show.filled(self), power=watts, flow=replace(self, air=LOOP).air_flow)


class Outdoors(Result):
    """An evening in a housing: whether it stays within the limits, and what is worked out beside."""

    choice: KeepChoice
    show: Show
    kept: Kept

    @property
    def load(self) -> Frame:
        """What all of it draws, and in all evenings."""
        return load_frame(self.choice, self.choice.power, self.choice.lasts, self.choice.evenings)

    def frame(self, units: str = "m") -> Frame:
        """Return the hours outside the limits, as it is and with each change."""
        return self.kept.frame(units)

    def sentence(self, units: str = "m") -> str:
        """Return whether the machine is kept, how warm it gets, what window and fans do, and the power."""
        return " ".join((self.kept.sentence(units), *self.notes(units)))

    def notes(self, units: str = "m") -> tuple[str, ...]:
        """Return all but whether the machine is kept."""
        one, (machine, place) = self.choice, self.show.aimed(self.show.machine)
        pane = Pane(glass=one.glass, thickness=one.thickness, tilt=one.tilt)
        ghost, aside = pane.ghost(machine, place.position[2])
        (small, size), air = edge("mm", units), self.kept.curves[0, 1]
        warm = (air.min(), air.max(), *cooler_swing(one, one.power, one.temperature, 22.0))
        told = say(
            "notes", units, ghost=ghost, aside=1e3 * aside / size, small=small, light=pane.light(machine)[1],
            why=say(one.air), pascal=float(house_pressure(AIR[one.air][1] * one.air_flow)),
            ends=[f"{plain(1.8 * t + 32.0)} °F" if units == "ft" else f"{plain(t)} °C" for t in warm],
        )  # fmt: skip
        return (*told.splitlines(), load_sentence(self.load, one.circuit, one.evenings))


def keep_outdoors(show: Show, choice: KeepChoice | None = None) -> Outdoors:
    """Return how a machine lives through one evening in its housing, from noon to noon.

    Parameters
    ----------
    choice : KeepChoice, optional
        As the show says if not given; one that cannot be: `InputError`.
    """
    one = (choice or KeepChoice()).on(fields.Is(kind=Show).check("show", show))
    noon = np.abs((np.arange(25.0) + 12.0) % 24.0 - 12.0)[:, None]  # hours from the nearest
    sun = one.sun * np.maximum(0.0, np.cos(np.pi * np.minimum(noon, 4.5) / 9.0))
    sky = np.stack([np.full_like(noon, one.temperature), np.full_like(noon, one.humidity), sun])
    return Outdoors(choice=one, show=show, kept=kept(one, sky, one.power, one.lasts))
