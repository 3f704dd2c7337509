"""Figures with their names and kinds, and who hands them out.

Floor 6. One subject: records. Laws here: nothing of any package is needed to make them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

Type = Literal["gauge", "counter", "histogram"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One figure; `suffix` goes behind the family's name, as in `_sum`."""

    value: float
    labels: Mapping[str, str] = field(default_factory=dict)
    suffix: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Figures of one name, with what they mean and their kind."""

    name: str
    meaning: str
    type: Type
    samples: tuple[Sample, ...] = ()


class Listener(Protocol):
    """Hands out the newest figures on loopback; closing it takes them away."""

    families: Sequence[Family]

    @property
    def port(self) -> int:
        """Where it listens; the port that was asked for while it does not."""

    @property
    def is_open(self) -> bool:
        """Whether it listens."""

    def start(self) -> None:
        """Listen, in a thread of its own; OSError when the port cannot be had."""

    def close(self) -> None:
        """Stop listening; whoever is being served is left to its own end."""
