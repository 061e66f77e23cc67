"""Mains power: what a set-up draws from a circuit and costs, and what is left of the voltage along an LED string."""

from kit.errors import InputError
from kit.fields import LENGTH, Declared, Number, OneOf, declared
from kit.housing.air import CLOSED, LOOP, Housing, of_table
from kit.reference import row
from kit.results import Frame, make_frame
from kit.words import Phrases

say = Phrases(__file__)
# What a circuit and its breaker bear, here and there; which one it is, its label says.
CIRCUIT = OneOf(
    label="circuit",
    options=("120 V, 15 A", "120 V, 20 A", "230 V, 10 A", "230 V, 13 A", "230 V, 16 A"),
    default="120 V, 15 A",
)
EVENINGS = Number(label="evenings of a season", low=1, high=365, whole=True, steps=(1, 120, 1), default=45)


class Feed(Declared):
    """The supply of an LED string; one of another voltage than its nodes' is refused, as an interlock."""

    nodes: int = declared(Number(label="nodes", low=1, high=100_000, whole=True))
    node_volts: str = declared(OneOf(label="nodes for", options=("5 V", "12 V")), default="5 V")
    supply_volts: float = declared(Number(label="supply", unit="V", above=0.0, high=60.0), default=5.0)
    length: float = declared(LENGTH, label="length", low=0.0, high=1000.0)
    ends: int = declared(Number(label="ends that are fed", low=1, high=2, whole=True), default=1)

    def _agree(self, where: str) -> None:
        if f"{self.supply_volts:g} V" != self.node_volts:
            raise InputError("supply_volts", self.supply_volts, say("interlock", nodes=self.node_volts))

    @property
    def power(self) -> float:
        """Of all nodes at full white [W]."""
        return self.nodes * of_table(f"{self.supply_volts:g} v node")

    @property
    def last_share(self) -> float:
        """Of the voltage, left at the node with least: each draws its own current; below 0 it stays dark."""
        run, current = self.nodes / self.ends, self.power / self.nodes / self.supply_volts
        wire = 2.0 * of_table("conductor of a string") * self.length / self.nodes
        return 1.0 - wire * current * 0.5 * run * (run + 1.0) / self.supply_volts

    def sentence(self) -> str:
        """Return power, current, and whether the far end gets enough."""
        enough = self.last_share >= of_table("voltage left at the last node")
        first = say("string", feed=self, amperes=self.power / self.supply_volts)
        return f"{first} {say('fed' if enough else 'starved', share=self.last_share)}"


def load_frame(box: Housing, power: float, lasts: float, nights: int) -> Frame:
    """Return power [W], and energy in so many evenings [kWh], of a machine that runs for so many hours in a housing."""
    blows, ducts = lasts + box.run_on / 60.0, {CLOSED: 0, LOOP: 2}.get(box.air, 1)
    fans, dry = (of_table(name, quantity="power") for name in ("inline fan", "small"))
    watts = {"machine": power, "fans": ducts * fans, "dehumidifier": box.dehumidifier * dry, "heater": box.heater}
    hours, names = (lasts, blows, 24.0 - blows, 24.0 - blows), ("part", "power [W]", "energy [kWh]")
    rows = ((part, watt, nights * watt * h / 1e3) for (part, watt), h in zip(watts.items(), hours, strict=True))
    return make_frame((dict(zip(names, one, strict=True)) for one in rows), dict.fromkeys(names[1:], ",.0f"), "part")


def load_sentence(load: Frame, circuit: str, nights: int) -> str:
    """Return the current of a load, as of `load_frame`, against a circuit's breaker, its energy and what that costs."""
    power, energy = load.sum()
    volts, amperes = (float(end.split()[0]) for end in circuit.split(", "))
    low, usual, high = (energy * one for one in row("housing", "electricity").band)
    draws, share = power / volts, of_table("continuous load")
    text = say("beyond" if draws > share * amperes else "within", draws=draws, share=share, circuit=circuit)
    return f"{text} {say('energy', nights=nights, energy=energy, usual=usual, low=low, high=high)}"
