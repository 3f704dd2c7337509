"""The water of an invented tank, and what its hoses really bring.

Outside every floor; never imports Slackwater. One subject: the true state of the water,
which nobody is told. Laws here: pure; what flowed is integrated from the time the
outputs were on and the true rates, never from what a node reports; the result does not
depend on how finely the time is cut; nothing runs faster than the clock.

One well-mixed box: the volume of a dose itself, evaporation and pH are left out. A hose
that drains or fills moves water, and the top-off sets the level right with fresh water
when it is asked what the salinity is; new water is as the tank's but for its salinity.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

# 1 dKH is 10 mg/L CaO, 2 eq a mole: 20 / 56.077 meq/L.
# Source: definition of the German degree of hardness; molar mass of CaO from IUPAC
# standard atomic weights (Ca 40.078, O 15.999).
DKH_PER_MEQ_PER_L = 56.077 / 20
# Ca2+ + 2 HCO3- = CaCO3 + CO2 + H2O: one mole of calcium for two equivalents.
# Source: stoichiometry; 40.078 / 2 mg per meq.
CALCIUM_MG_PER_L_PER_DKH = 40.078 / 2 / DKH_PER_MEQ_PER_L
# Alkalinity at which corals of this reef build nothing any more (invented).
REST_DKH = 3.0
_DAY_MS = 86_400_000
_UL_PER_LITRE = 1_000_000

Moves = Literal["dose", "drain", "fill"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hose:
    """One pump head's hose: where it ends and what its solution adds.

    Units: `rate_ul_per_s` is the true rate, which the daemon does not know.
    """

    tank: str
    rate_ul_per_s: float
    alkalinity_meq_per_ml: float = 0.0
    calcium_mg_per_ml: float = 0.0
    moves: Moves = "dose"
    salinity: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Uptake:
    """What the corals take up in a day at one alkalinity; less when it is lower."""

    dkh_per_day: float
    at_dkh: float

    def share_per_ms(self) -> float:
        """The share of the alkalinity above rest that goes in a millisecond."""
        return self.dkh_per_day / (self.at_dkh - REST_DKH) / _DAY_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """A fault: alkalinity pushed up or down until it is at a value."""

    dkh_per_s: float
    until_dkh: float


@dataclass(slots=True, kw_only=True)
class Tank:
    """One body of water and its present state.

    `salt` is salinity times litres, `surplus_l` what stands above its own level.
    """

    litres: float
    alkalinity_dkh: float
    calcium_mg_per_l: float
    uptake: Uptake
    salt: float = 0.0
    surplus_l: float = 0.0

    @property
    def salinity(self) -> float:
        """Once fresh water, or evaporation, has set the level right."""
        return self.salt / self.litres

    def live(self, span_ms: float) -> None:
        """Let the corals take up alkalinity and calcium for a time.

        Source: U = U0 (A - 3) / (A0 - 3), integrated exactly; below rest nothing.
        """
        above_dkh = max(0.0, self.alkalinity_dkh - REST_DKH)
        taken_dkh = above_dkh * -math.expm1(-self.uptake.share_per_ms() * span_ms)
        self.alkalinity_dkh -= taken_dkh
        self.calcium_mg_per_l = max(
            0.0, self.calcium_mg_per_l - taken_dkh * CALCIUM_MG_PER_L_PER_DKH
        )

    def receive(self, volume_ul: float, hose: Hose) -> None:
        """Mix in what one hose brought, or lose what it took.

        Source: mass balance of a well mixed tank.
        """
        litres = volume_ul / _UL_PER_LITRE
        if hose.moves == "drain":
            self.salt *= 1 - litres / (self.litres + self.surplus_l)
            self.surplus_l -= litres
            return
        if hose.moves == "fill":
            self.salt += litres * hose.salinity
            self.surplus_l += litres
            return
        per_litre_ml = volume_ul / 1000 / self.litres
        added_meq_per_l = per_litre_ml * hose.alkalinity_meq_per_ml
        self.alkalinity_dkh += added_meq_per_l * DKH_PER_MEQ_PER_L
        self.calcium_mg_per_l += per_litre_ml * hose.calcium_mg_per_ml

    def push(self, swing: Swing, span_ms: float) -> None:
        """Move the alkalinity as the fault says, and not beyond its end."""
        step_dkh = swing.dkh_per_s * span_ms / 1000
        moved_dkh = self.alkalinity_dkh + step_dkh
        end_dkh = swing.until_dkh
        if swing.dkh_per_s > 0:
            self.alkalinity_dkh = max(self.alkalinity_dkh, min(moved_dkh, end_dkh))
        else:
            self.alkalinity_dkh = min(self.alkalinity_dkh, max(moved_dkh, end_dkh))


@dataclass(slots=True, kw_only=True)
class Water:
    """All tanks and hoses; `delivered_ul` is the true sum of each pump."""

    tanks: Mapping[str, Tank]
    hoses: Mapping[str, Hose]
    delivered_ul: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for pump in self.hoses:
            self.delivered_ul.setdefault(pump, 0.0)

    def live(self, span_ms: float) -> None:
        """Let time pass in every tank."""
        for tank in self.tanks.values():
            tank.live(span_ms)

    def flow(self, pump: str, on_ms: float, factor: float = 1.0) -> float:
        """Bring what one hose delivers while its output is on.

        Given the time on and the fault's factor on the true rate; returns microlitres.
        """
        hose = self.hoses[pump]
        volume_ul = hose.rate_ul_per_s * factor * on_ms / 1000
        self.delivered_ul[pump] += volume_ul
        self.tanks[hose.tank].receive(volume_ul, hose)
        return volume_ul
