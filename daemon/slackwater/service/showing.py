"""The retained state documents: what anybody may look at.

Floor 7. One subject: one document per tank and one for the daemon. Laws here: for
display only, never a permission; figures come from the state the gate reads.
"""

from slackwater import __version__
from slackwater.alarms.words import document
from slackwater.facts.inventory import left_ul
from slackwater.facts.now import proven_ms
from slackwater.facts.reasons import Reason
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.tank import Pump, Tank
from slackwater.service.wiring import Rig

# What stands on the wire of an alarm that is over.
GONE: tuple[object, ...] = ()


def show_all(rig: Rig) -> None:
    """Publish every document anew; a link that is down loses them."""
    at = rig.clock.now().utc.isoformat()
    held = bool(rig.memory.state.holds)
    rig.observe.show(
        "daemon/state",
        {
            "v": 1,
            "state": "here",
            "version": __version__,
            "mode": rig.mode,
            "health": "held" if held else "fine",
            "at": at,
        },
    )
    for tank in rig.setup.machine.tanks.values():
        rig.observe.show(f"tank/{tank.id}/state", _tank(rig, tank, at))


def show_alarms(rig: Rig) -> None:
    """Publish what changed of each alarm, and take away what is over and was seen."""
    at = rig.clock.now().utc.isoformat()
    shown, alarms = rig.lookout.shown, rig.memory.state.alarms
    wanted = {
        name: known
        for name, known in alarms.items()
        if known.is_standing or known.wants_eyes
    }
    # What the daemon before this one left there is taken away as well.
    for name in sorted({*shown, *alarms} - wanted.keys()):
        if shown.get(name) != GONE:
            rig.observe.clear(_alarm_topic(name))
        shown[name] = GONE
    for name, known in wanted.items():
        size = rig.lookout.watch.sizes.get(name)
        told = document(known, size)
        # An hour less is news; a minute less is not.
        left = told["hours_left"]
        now = (
            known.word,
            known.is_seen,
            known.raised.proven_ms,
            known.until,
            int(left) if isinstance(left, float) else None,
        )
        if shown.get(name) != now:
            shown[name] = now
            rig.observe.show(_alarm_topic(name), {"v": 1, "at": at, **told})


def _alarm_topic(name: str) -> str:
    cause, _, about = name.partition(".")
    return f"daemon/alarm/{cause}/{about}"


def _tank(rig: Rig, tank: Tank, at: str) -> dict[str, object]:
    state, machine = rig.memory.state, rig.setup.machine
    pumps = [pump for pump in machine.pumps.values() if pump.tank == tank.id]
    document: dict[str, object] = {
        "v": 1,
        "at": at,
        "stage": state.stage,
        "plan_digest": state.approvals[-1].approval.digest if state.approvals else "",
        "holds": _holds(rig, tank, pumps),
        "totals": {pump.id: _totals(rig, pump) for pump in pumps},
        "levels_ul": _levels(rig, pumps),
    }
    following = _next_dose(rig, tank)
    if following is not None:
        document["next_dose"] = following
    return document


def _holds(rig: Rig, tank: Tank, pumps: list[Pump]) -> list[dict[str, object]]:
    scopes = {"all", f"tank/{tank.id}", f"alkalinity/{tank.id}"}
    scopes |= {f"pump/{pump.id}" for pump in pumps}
    scopes |= {f"node/{pump.node}" for pump in pumps}
    return [
        {
            "id": hold_id,
            "pump": hold.scope.removeprefix("pump/")
            if hold.scope.startswith("pump/")
            else "",
            "latched": hold.latched,
            "reasons": [reason_document(hold.reason)],
        }
        for hold_id, hold in sorted(rig.memory.state.holds.items())
        if hold.scope in scopes
    ]


def reason_document(reason: Reason) -> dict[str, object]:
    """One reason as every face shows it."""
    return {
        "code": str(reason.code),
        "text": reason.text,
        "figures": dict(reason.figures),
    }


def _totals(rig: Rig, pump: Pump) -> dict[str, object]:
    state, now = rig.memory.state, rig.clock.now()
    key = f"pump/{pump.id}"
    given = state.charges.get(key)
    since = (0 if state.mark is None else proven_ms(state.mark, now)) - DAY_MS
    days = state.days.get(key, {})
    return {
        "day_ul": days[max(days)] if days else 0,
        "last_24_h_ul": 0 if given is None else given.since(since),
        "per_day_ul": pump.per_day_ul,
    }


def _levels(rig: Rig, pumps: list[Pump]) -> dict[str, object]:
    names = sorted({pump.reservoir for pump in pumps})
    return {name: left_ul(rig.setup.machine, rig.memory.state, name) for name in names}


def _next_dose(rig: Rig, tank: Tank) -> dict[str, object] | None:
    utc = rig.clock.now().utc
    for force in reversed(rig.setup.forces):
        if force.approval.takes_over_at > utc:
            continue
        due_at = force.timetable.next_after(utc)
        if due_at is None:
            return None
        for dose in force.timetable.between(utc, due_at):
            if dose.tank == tank.id:
                return {
                    "dose": dose.id,
                    "pump": dose.pump,
                    "due_at": dose.due_at.isoformat(),
                    "ul": dose.volume_ul,
                }
    return None
