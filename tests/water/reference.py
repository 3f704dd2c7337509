"""What the reference program says of the carbonate system, asked once for many waters.

Oracle: PyCO2SYS (Humphreys et al. 2022, Geoscientific Model Development 15:15), free
software under the GPL and used by the tests only.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import PyCO2SYS

# How the program numbers what is known, and the scales of pH.
ALKALINITY, CARBON, PH, PCO2 = 1, 2, 3, 4
SCALES = {"total": 1, "NBS": 4}


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Two known things of a water, each with its number in the program."""

    first: tuple[int, float] = (ALKALINITY, 2300.0)
    second: tuple[int, float] = (PH, 8.1)
    salinity: float = 35.0
    celsius: float = 25.0
    scale: str = "total"


def answers(known: Iterable[Known]) -> Mapping[Known, Mapping[str, float]]:
    """Everything that the program says of each; one call for all of them."""
    return _answers(tuple(known))


@cache
def _answers(known: tuple[Known, ...]) -> Mapping[Known, Mapping[str, float]]:
    found = PyCO2SYS.sys(
        par1_type=np.array([one.first[0] for one in known]),
        par1=np.array([one.first[1] for one in known]),
        par2_type=np.array([one.second[0] for one in known]),
        par2=np.array([one.second[1] for one in known]),
        salinity=np.array([one.salinity for one in known]),
        temperature=np.array([one.celsius for one in known]),
        opt_pH_scale=np.array([SCALES[one.scale] for one in known]),
        # Lueker 2000, Dickson 1990, Uppstrom 1974, Dickson and Riley 1979.
        opt_k_carbonic=10,
        opt_k_bisulfate=1,
        opt_total_borate=1,
        opt_k_fluoride=1,
    )
    size = len(known)
    columns = {
        name: np.broadcast_to(np.asarray(value, dtype=float), (size,))
        for name, value in found.items()
        if np.asarray(value).dtype.kind in "fi"
    }
    return {
        one: {name: float(column[place]) for name, column in columns.items()}
        for place, one in enumerate(known)
    }
