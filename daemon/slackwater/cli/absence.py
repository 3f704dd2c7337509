"""May a person leave? Each condition with its figures.

Floor 8. One subject: the list before an absence. Laws here: every condition is looked
at, and each that is not met says what to do; nothing is bent to make one pass.
Source: margins are common practice, no source.
"""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from slackwater.cli.opening import Approved, approval_at
from slackwater.cli.render import hours, span
from slackwater.cli.standing import Standing
from slackwater.errors import InputError
from slackwater.facts.inventory import left_ul
from slackwater.facts.plan import INSTANT
from slackwater.facts.relays import check_of
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.wear import is_unmeasured
from slackwater.outside.glimpse import FRESH
from slackwater.outside.settings import read_notify
from slackwater.planning.daily import ALKALINITY
from slackwater.planning.draws import drawn_ul
from slackwater.planning.wall import zone_named
from slackwater.water.show import show_count, show_volume

# What must be left over when somebody comes back.
SPARE = timedelta(days=7)
# Nobody fills a bottle finer; what it needs is rounded up to it.
_READ_TO_UL = 1_000
# A calibration that grows older than this while nobody is there.
CALIBRATED_WITHIN = timedelta(days=90)
# A test older than this is no picture of the water.
TESTED_WITHIN = timedelta(days=3)
# A plan that is younger has shown nothing yet.
PLAN_SINCE = timedelta(days=7)
CONTACTS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """An absence that is thought of, and what is known when it is.

    `stood` is what a status says at that moment.
    """

    state: State
    stood: Standing
    now: datetime
    begins: datetime
    ends: datetime
    config: Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One condition: what was found, and what to do where it is not met."""

    name: str
    is_met: bool
    found: str
    advice: str = ""


def checks(trip: Trip) -> list[Check]:
    """Every condition for a trip, in the order in which a person can mend them."""
    approved = approval_at(trip.state, trip.now)
    if approved is None:
        none = Check(
            name="plan",
            is_met=False,
            found="no approved plan is in force",
            advice="Approve a plan first; without one nothing is dosed.",
        )
        return [none]
    found: list[Check] = []
    for look in _LOOKS:
        found += look(trip, approved)
    return found


def _running(trip: Trip, _approved: Approved) -> Iterator[Check]:
    """Whether anything doses at all; what a hold stops is told by its own check."""
    word, why = trip.stood.word
    if word == "HELD" and trip.state.holds:
        return
    seen, is_met, found = trip.stood.glimpse, word == "LIVE", f"{word}: {why}"
    advice = "Find out why and mend it: `slackwater status`, `slackwater why`."
    if is_met and (seen is None or trip.now - seen.at > FRESH):
        old = "" if seen is None else f" for {span(trip.now - seen.at)}"
        is_met, found = False, f"the daemon wrote down nothing of what it sees{old}"
        advice = "It does so each minute: ask again, then look at its log."
    yield Check(
        name="running", is_met=is_met, found=found.removesuffix("."), advice=advice
    )


def _missed(trip: Trip, _approved: Approved) -> Iterator[Check]:
    for tank in trip.stood.outlooks:
        missed = trip.stood.missed.get(tank, ())
        newest = " ".join(reason.text for one in missed[:1] for reason in one.reasons)
        count = show_count(len(missed), "dose")
        yield Check(
            name="missed",
            is_met=not missed,
            found=f"{tank} missed {count} in 24 h, the newest: "
            f"{newest.removesuffix('.')}"
            if missed
            else f"{tank} missed no dose in 24 h",
            advice="Find the cause first: `slackwater status`, `slackwater why`.",
        )


def _floor(trip: Trip, _approved: Approved) -> Iterator[Check]:
    """How long a tank has when dosing stops: whoever is called must come within it."""
    for tank, outlook in trip.stood.outlooks.items():
        left = outlook.hours_to_floor
        if left is not None:
            yield Check(
                name="floor",
                is_met=left > 0,
                found=f"{tank} is at its floor {hours(left)} after dosing stops"
                if left > 0
                else f"{tank} is below its floor",
                advice="Bring alkalinity back slowly before you leave.",
            )


def _approval(trip: Trip, approved: Approved) -> Iterator[Check]:
    expires = approved.approval.expires_at
    yield Check(
        name="approval",
        is_met=expires >= trip.ends + SPARE,
        found=f"the approval ends on {expires:%Y-%m-%d %H:%M} UTC",
        advice="Approve the plan again, so that it lasts a week beyond the return.",
    )


def _plan(trip: Trip, approved: Approved) -> Iterator[Check]:
    since = trip.now - approved.approval.takes_over_at
    newer = [
        event
        for event in trip.state.approvals
        if event.approval.takes_over_at > trip.now
    ]
    yield Check(
        name="plan",
        is_met=since >= PLAN_SINCE and not newer,
        found="another plan is about to take over"
        if newer
        else f"the plan has run for {since.days} days",
        advice="Let a new plan run for a week before you leave.",
    )


def _reservoirs(trip: Trip, approved: Approved) -> Iterator[Check]:
    machine, plan = approved.machine, approved.plan
    for name in sorted({machine.pumps[line.pump].reservoir for line in plan.lines}):
        pumps = {pump.id for pump in machine.pumps.values() if pump.reservoir == name}
        needed_ul = drawn_ul(plan, pumps, _days(trip, machine, pumps))
        rest_ul = left_ul(machine, trip.state, name)
        needs = show_volume(-(-needed_ul // _READ_TO_UL) * _READ_TO_UL)
        yield Check(
            name="reservoir",
            is_met=rest_ul >= needed_ul,
            found=f"{name} holds {show_volume(rest_ul)} and needs {needs}, to "
            f"{SPARE.days} days after the end",
            advice="Fill it with the same solution and tell `slackwater refill`.",
        )


def _days(trip: Trip, machine: Machine, pumps: Collection[str]) -> tuple[date, date]:
    """From today to the last day that must be given, as the pumps' tank counts."""
    zone = zone_named(machine.tanks[machine.pumps[min(pumps)].tank].zone)
    # An end at midnight is that of the day before.
    last = trip.ends + SPARE - INSTANT
    return trip.now.astimezone(zone).date(), last.astimezone(zone).date()


def _calibrations(trip: Trip, approved: Approved) -> Iterator[Check]:
    for pump in sorted({line.pump for line in approved.plan.lines}):
        known = trip.state.calibrations.get(pump)
        if known is None:
            yield Check(
                name="calibration",
                is_met=False,
                found=f"{pump} was never measured",
                advice=f"Run `slackwater calibrate {pump}`.",
            )
            continue
        if is_unmeasured(trip.state, pump):
            yield Check(
                name="calibration",
                is_met=False,
                found=f"{pump}: its tube was swapped after it was measured",
                advice=f"Run `slackwater calibrate {pump}`.",
            )
            continue
        age = trip.ends - known.at
        yield Check(
            name="calibration",
            is_met=age <= CALIBRATED_WITHIN,
            found=f"{pump} will have been measured {age.days} days before the return",
            advice=f"Run `slackwater calibrate {pump}`.",
        )


def _relays(trip: Trip, approved: Approved) -> Iterator[Check]:
    machine = approved.machine
    nodes = {machine.pumps[line.pump].node for line in approved.plan.lines}
    for name in sorted(nodes):
        relay = machine.nodes[name].relay
        if relay is None:
            continue
        known = check_of(trip.state.relay_checks, name, relay)
        yield Check(
            name="relay",
            is_met=known is not None and known.until >= trip.ends + SPARE,
            found=f"{name} was not tried out as it is"
            if known is None
            else f"{name} counts as tried out until {known.until:%Y-%m-%d}",
            advice=f"Run `slackwater check-relay {name}`, so that it counts until a "
            "week after the return.",
        )


def _tests(trip: Trip, approved: Approved) -> Iterator[Check]:
    for tank in sorted(_alkaline_tanks(approved)):
        test = trip.state.levels.get(f"{tank}/{ALKALINITY}")
        age = None if test is None else trip.now - test.taken_at
        yield Check(
            name="test",
            is_met=age is not None and age <= TESTED_WITHIN,
            found=f"alkalinity of {tank} was never tested"
            if age is None
            else f"alkalinity of {tank} was tested {age.days} days ago",
            advice="Test it and run `slackwater record 'alkalinity=…'`.",
        )


def _holds(trip: Trip, _approved: Approved) -> Iterator[Check]:
    names = ", ".join(sorted(trip.state.holds))
    yield Check(
        name="holds",
        is_met=not names,
        found=f"held: {names}" if names else "nothing is held",
        advice="Find the cause of each and release it.",
    )


def _aside(trip: Trip, _approved: Approved) -> Iterator[Check]:
    names = sorted({*trip.state.bypasses, *trip.state.out_of_service})
    yield Check(
        name="guards",
        is_met=not names,
        found=f"left aside: {', '.join(names)}" if names else "no guard is left aside",
        advice="Mend the probe, or let it count again.",
    )


def _contacts(trip: Trip, _approved: Approved) -> Iterator[Check]:
    try:
        settings = read_notify(trip.config)
        if settings is None:
            yield Check(
                name="alarms",
                is_met=False,
                found="alarms are sent to nobody",
                advice="Set up [notify] with an address of yours and one of somebody "
                "who can look after the tank.",
            )
            return
        text = settings.urls.read_text("utf-8")
    except (InputError, OSError, UnicodeDecodeError):
        yield Check(
            name="alarms",
            is_met=False,
            found="the addresses for alarms cannot be read",
            advice="Mend [notify] in the machine file.",
        )
        return
    lines = [line.strip() for line in text.splitlines()]
    count = len([line for line in lines if line and not line.startswith("#")])
    yield Check(
        name="alarms",
        is_met=count >= CONTACTS,
        found=f"alarms are sent to {count} address{'es' if count != 1 else ''}",
        advice="Add the address of somebody who can look after the tank.",
    )


Look = Callable[[Trip, Approved], Iterator[Check]]

_LOOKS: tuple[Look, ...] = (
    _running,
    _missed,
    _floor,
    _approval,
    _plan,
    _reservoirs,
    _calibrations,
    _relays,
    _tests,
    _holds,
    _aside,
    _contacts,
)


def _alkaline_tanks(approved: Approved) -> set[str]:
    machine: Machine = approved.machine
    return {
        line.tank
        for line in approved.plan.lines
        if ALKALINITY in machine.solutions[line.solution].effects
    }
