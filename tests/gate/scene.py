"""An invented tank with two pumps on one node, everything proven, ready to dose."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from slackwater.facts.messages import Beat, Channel, Reading
from slackwater.facts.now import Mark, Now
from slackwater.facts.plan import Approval, DueDose, Group, Plan, PlanLine, Window
from slackwater.facts.sight import NodeSight, Sight
from slackwater.facts.state import State
from slackwater.facts.tank import (
    AlkalinityGuard,
    EffectCap,
    Machine,
    Node,
    Probe,
    Pump,
    Reservoir,
    Solution,
    Tank,
    Uptake,
)
from slackwater.gate.moment import Ask, Moment, rules_for

NOW = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
TODAY = date(2026, 5, 3)
PROVEN_MS = 10 * 86_400_000
NET_UL = 200_000_000
# 100 g/L Na2CO3: 1.88701 meq/mL (2 x 100 / 105.988, IUPAC weights).
CARBONATE_PEQ_PER_UL = 1_887_010
CALCIUM_PG_PER_UL = 136_310_000
PER_LITRE_DKH_PEQ = 356_652_460


def dkh(value: float) -> float:
    """A value in dKH as meq/L (1 dKH = 0.35665246 meq/L, 10 mg/L CaO)."""
    return value * 0.35665246


def dkh_peq(value: float) -> int:
    """A change in dKH as pico-equivalents for the whole tank."""
    return int(value * PER_LITRE_DKH_PEQ) * (NET_UL // 1_000_000)


def machine() -> Machine:
    """200 L, a carbonate and a calcium pump, one probe."""
    tank = Tank(
        id="reef",
        name="invented reef",
        net_ul=NET_UL,
        zone="Europe/Berlin",
        caps={
            "alkalinity": EffectCap(gross=dkh_peq(2.0), net_rise=dkh_peq(0.5)),
            "calcium": EffectCap(gross=40_000_000_000 * 200),
        },
        uptake={"alkalinity": Uptake(estimate=dkh_peq(1.4), low=dkh_peq(1.2))},
    )
    return Machine(
        site="home",
        tanks={"reef": tank},
        solutions={
            "carbonate": Solution(
                id="carbonate",
                name="carbonate",
                effects={"alkalinity": CARBONATE_PEQ_PER_UL},
            ),
            "calcium": Solution(
                id="calcium", name="calcium", effects={"calcium": CALCIUM_PG_PER_UL}
            ),
        },
        reservoirs={"one": Reservoir(id="one", content_ul=5_000_000)},
        nodes={"shelf": Node(id="shelf", day_limit_ul=250_000, cut_limit_ms=60_000)},
        pumps={name: _pump(name, chan) for name, chan in PUMPS},
        guards={"reef": GUARD},
        apart={"carbonate": ("calcium",), "calcium": ("carbonate",)},
    )


PUMPS = (("carbonate", "a"), ("calcium", "b"))
GUARD = AlkalinityGuard(
    ceiling=dkh(9.7),
    floor=dkh(6.5),
    rise=dkh(0.8),
    fall=dkh(0.8),
    spread=dkh(0.5),
    hysteresis=dkh(0.2),
    good_readings=3,
    hold_at_least_s=3600.0,
)
PROBE = Probe(
    id="kh",
    tank="reef",
    parameter="alkalinity",
    unit="dKH",
    scale=0.35665246,
    offset=0.0,
    period_s=900.0,
    resolution=dkh(0.01),
    low=1.0,
    high=8.0,
)


def _pump(name: str, channel: str) -> Pump:
    return Pump(
        id=name,
        tank="reef",
        node="shelf",
        channel=channel,
        solution=name,
        reservoir="one",
        rate_nl_per_s=1_333_000,
        smallest_dose_ul=300,
        per_dose_ul=3000,
        per_day_ul=60_000,
        per_calibration_ul=30_000,
    )


def plan() -> Plan:
    """Two grouped lines, 48 mL a day in 24 doses each."""
    lines = tuple(
        PlanLine(
            id=name,
            tank="reef",
            solution=name,
            pump=name,
            per_day_ul=48_000,
            count=24,
            windows=(Window(start_minute=0, end_minute=1440),),
            group="balanced",
        )
        for name, _ in PUMPS
    )
    group = Group(id="balanced", ratio={"carbonate": 1, "calcium": 1})
    return Plan(name="test", starts=TODAY, lines=lines, groups={"balanced": group})


APPROVAL = Approval(
    serial=1,
    digest="d" * 64,
    takes_over_at=NOW - timedelta(days=2),
    expires_at=NOW + timedelta(days=180),
    by="keeper",
    highest_daily_ul=96_000,
)


def beat(budget_ul: int = 250_000) -> Beat:
    """A healthy node, heard just now."""
    channels = {
        chan: Channel(n=4, state="idle", odo_ul=0, odo_ms=0, budget_ul=budget_ul)
        for _, chan in PUMPS
    }
    return Beat(
        node="shelf",
        boot="9e1b" * 4,
        up=3_600_000,
        seq=9,
        hold=False,
        fence=1,
        hw="virtual-1",
        cfg="0badcafe",
        channels=channels,
        heard_boot_s=9999.0,
    )


def moment(the_machine: Machine | None = None) -> Moment:
    """Everything proven; change what a test is about with `dataclasses.replace`."""
    used = the_machine or machine()
    sight = Sight(started_boot_s=5000.0, observe_up=True, actuate_up=True)
    sight.nodes["shelf"] = NodeSight(beat=beat(), first_heard_boot_s=5000.0, beats=99)
    state = State(fence=1)
    state.mark = Mark(utc=NOW, boot_s=10_000.0, boot_id="boot", proven_ms=PROVEN_MS)
    return Moment(
        now=Now(utc=NOW, boot_s=10_000.0, boot_id="boot", synchronised=True),
        proven_ms=PROVEN_MS,
        state=state,
        sight=sight,
        machine=used,
        rules=rules_for(used, plan()),
        approval=APPROVAL,
    )


def ask(the_moment: Moment, pump: str = "carbonate", volume_ul: int = 2000) -> Ask:
    """The first dose of the day of one pump."""
    dose = DueDose(
        id=f"reef/{pump}@2026-05-03#01",
        line=pump,
        tank="reef",
        pump=pump,
        local_day=TODAY,
        ordinal=1,
        due_at=NOW,
        latest_at=NOW + timedelta(minutes=15),
        volume_ul=volume_ul,
    )
    return Ask(
        dose=dose,
        kind="plan",
        pump=the_moment.rules.pumps[pump],
        line=the_moment.rules.lines[f"reef/{pump}"],
    )


def with_probe(the_moment: Moment, values: list[float], every_s: float = 900.0) -> None:
    """Give the sight a series of dKH values, the newest now."""
    count = len(values)
    the_moment.sight.readings["kh"] = [
        Reading(
            tank="reef",
            probe="kh",
            parameter="alkalinity",
            value=dkh(value),
            at=NOW - timedelta(seconds=every_s * (count - 1 - index)),
        )
        for index, value in enumerate(values)
    ]


def probed() -> Machine:
    """The machine with its alkalinity probe."""
    return replace(machine(), probes={"kh": PROBE})
