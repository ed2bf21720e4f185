"""A circuit loaded into a worker, asked by the roles of its parts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

from receiver_sim.circuit.circuit import Circuit, NoSuchPart
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.writer import deck
from receiver_sim.engine import Bench, Session, Vectors


@dataclass(frozen=True)
class Loaded:
    """A circuit in a worker. What is set stays set until the session ends."""

    session: Session
    circuit: Circuit

    def _name(self, which: Role | str) -> str:
        return self.circuit.part(which) if isinstance(which, Role) else which

    def set(self, which: Role | str, value: float) -> None:
        """Give an element another value: ohm, farad, henry, or the d.c. of a source."""
        self.session.alter(self._name(which), value)

    def course(self, which: Role | str, kind: str, numbers: Sequence[float]) -> None:
        """Give a source a course over time: `kind` 'sin', 'pwl' ... with its numbers, as ngspice has them."""
        self.session.alter(self._name(which), numbers, kind)

    def drive(self, which: Role | str, strength: float = 1.0) -> None:
        """Give a source an a.c. magnitude (V or A)."""
        self.session.alter(self._name(which), strength, "acmag")

    @contextmanager
    def driven(self, which: Role | str, strength: float = 1.0) -> Iterator[None]:
        """Drive a source for the length of the block; it rests before and after."""
        self.drive(which, strength)
        yield
        self.drive(which, 0.0)

    def turn(self, rotation: float) -> None:
        """Turn the regeneration control to a rotation (0..1)."""
        for element, value in self.circuit.control.at(rotation).items():
            self.session.alter(element, value)

    def turn_to_share(self, share: float) -> None:
        """Turn the regeneration control to a share (0..1) of its travel."""
        for element, value in self.circuit.control.at_share(share).items():
            self.session.alter(element, value)

    def tune(self, farad: float) -> None:
        """Set the tuning capacitor (F)."""
        self.set(Role.TUNING, farad)

    def mains(self, share: float) -> None:
        """Set the supply to a share of its nominal volts."""
        supply = self.circuit.part(Role.SUPPLY)
        self.set(supply, (self.circuit[supply].value or 0.0) * share)

    def node(self, place: Place) -> str:
        """Return the node of a role."""
        return self.circuit.node(place)

    @property
    def control_vectors(self) -> list[str]:
        """What an analysis must keep for `figure` to tell where the control stands."""
        node = self.circuit.control.node
        return [] if node is None else [node]

    def figure(self, run: Vectors, *, share: float) -> float:
        """Return what the control sets, at `share` of its travel, in a run that kept its operating point."""
        control = self.circuit.control
        known = {} if control.node is None else {control.node: operating_volts(run, control.node)}
        return control.figure(known, share=share)

    def volts(self) -> dict[str, float]:
        """Return the operating point: volts of nodes, amperes of branches."""
        return {name: float(values.real[0]) for name, values in self.session.op().items()}


@contextmanager
def loaded(bench: Bench, circuit: Circuit, *, climb: bool = True) -> Iterator[Loaded]:
    """Load a circuit into a worker of its own for the length of the block. Raises EngineFailed.

    climb: False for a caller that has another way where the circuit has no solution.
    """
    with bench.session(deck(circuit), easy=_easy(circuit), climb=climb) as session:
        yield Loaded(session, circuit)


def hard_volts(bench: Bench, circuit: Circuit, *, share: float) -> dict[str, float] | None:
    """Return the volts of all nodes, those inside laws too, with the control at a share (0..1) of its travel,
    where Newton's method does not find them from nothing: whatever resembles the circuit had better begin
    there. None where it does: it is quicker without. Raises EngineError.
    """
    with loaded(bench, circuit) as on:
        on.turn_to_share(share)
        volts = {node: v for node, v in on.volts().items() if "#" not in node}
        return volts if on.session.troubled else None


def _easy(circuit: Circuit) -> dict[str, tuple[float, float]]:
    """Return (value, value as built) of what puts the control at its lowest setting, where the tube hardly
    works: from there a circuit is taken in small steps to a setting that has no solution at once.
    """
    knob = circuit.find(Role.KNOB)
    try:
        lowest = circuit.control.at_share(0.0) if knob is None else {knob: 0.0}
    except NoSuchPart:
        lowest = {}
    built = {name: circuit[name].value for name in lowest if name in circuit}
    return {name: (lowest[name], value) for name, value in built.items() if value is not None}


class Standing:
    """A circuit that stays loaded from one measurement to the next; loaded anew after one that failed.

    Use it as a context manager. A measurement leaves the sources at rest, and sets for itself where tuning
    and control are.
    """

    def __init__(self, bench: Bench, circuit: Circuit) -> None:
        self._bench, self._circuit = bench, circuit
        self._stack = ExitStack()
        self._on: Loaded | None = None

    def __enter__(self) -> Standing:
        return self

    def __exit__(self, *_: object) -> None:
        self._stack.close()

    def on(self) -> Loaded:
        """Return the loaded circuit. Raises EngineFailed if ngspice does not take it."""
        if self._on is None or self._on.session.over:
            self._stack.close()
            self._on = self._stack.enter_context(loaded(self._bench, self._circuit))
        return self._on


def operating_volts(run: Vectors, node: str) -> float:
    """Return the d.c. volts of a node at the operating point that belongs to an a.c. run."""
    if run.op is None:
        raise ValueError("this run kept no operating point: the deck lacks the option keepopinfo")
    return float(run.op[node].real[0])
