"""What one report states, row by row, before any figure is read.

Floor 6. One subject: the shape that every layout becomes. Laws here: each text keeps
its place in the file; nothing is dropped that was not left out by name.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from slackwater.outside.lab.cells import Cell, Faults
from slackwater.outside.lab.columns import Role
from slackwater.outside.lab.names import Analyte, plain
from slackwater.water.texts import shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A figure beside the result, and the unit that belongs to it if it has its own."""

    cell: Cell
    unit: Cell | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Everything a report says about one element in one place.

    `values` has a cell for each replicate; `units` every place where the unit is said.
    `beside` holds limits and deviations, `about` texts about sample and method.
    """

    name: Cell
    analyte: Analyte
    values: tuple[Cell, ...]
    units: tuple[Cell, ...] = ()
    beside: Mapping[Role, Stated] = field(default_factory=dict)
    about: Mapping[Role, Cell] = field(default_factory=dict)

    def said(self, role: Role) -> str:
        """What is said about the sample or method, empty when nothing is."""
        return self.about[role].text if role in self.about else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The readings of a report and what stands above them."""

    readings: tuple[Reading, ...]
    above: Mapping[Role, Cell] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """The name of the one sample, empty when there is none or several are one."""
        if Role.SAMPLE in self.above:
            return self.above[Role.SAMPLE].text
        labels = {one.said(Role.SAMPLE) for one in self.readings} - {""}
        return labels.pop() if len(labels) == 1 else ""

    def said(self, role: Role, faults: Faults) -> Cell | None:
        """The one thing the report says of a role; two different ones are a fault."""
        cells = [self.above[role]] if role in self.above else []
        cells += [one.about[role] for one in self.readings if role in one.about]
        if not cells:
            return None
        for other in cells[1:]:
            if other.text != cells[0].text:
                faults.add(
                    other,
                    f'"{role}" is {shown(other.text)} here and '
                    f"{shown(cells[0].text)} in line {cells[0].line}",
                    "one and the same for one sample",
                    "Import the samples one by one: name them in `samples` of the "
                    "mapping.",
                )
                break
        return cells[0]


def of_samples(
    readings: Sequence[Reading], wanted: frozenset[str], faults: Faults
) -> tuple[Reading, ...]:
    """The readings of the samples that are wanted, all where there is only one.

    `wanted` are labels as `plain` gives them; a report of several samples without one
    that is wanted is a fault.
    """
    labels = {plain(one.said(Role.SAMPLE)) for one in readings}
    chosen = labels & wanted
    if chosen:
        return tuple(one for one in readings if plain(one.said(Role.SAMPLE)) in chosen)
    if len(labels) > 1:
        found = sorted({one.said(Role.SAMPLE) for one in readings})
        told = ", ".join(f'"{label}"' for label in found)
        other = next(one for one in readings if one.said(Role.SAMPLE) != found[0])
        faults.add(
            other.about.get(Role.SAMPLE, other.name),
            f"the report holds several samples: {told}",
            "one sample, or labels that say which rows are this sample",
            f'Add the line  samples = ["{found[-1]}"]  to the mapping; several labels '
            "are taken as replicates.",
        )
    return tuple(readings)
