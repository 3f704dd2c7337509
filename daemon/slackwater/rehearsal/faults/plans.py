"""What happens to the plan of a house: its approval ends, or another takes over.

Floor 6. One subject: approvals in a house. Laws here: a plan that takes over at once
leaves out the doses near the swap, as an approval with `--now` does.
"""

from dataclasses import replace
from datetime import timedelta

from slackwater.rehearsal.faults.house import House
from slackwater.turn.setup import make_setup

ONE_DAY = timedelta(days=1)


def end_approval(house: House) -> None:
    """Let the approval in force expire now."""
    force = house.setup.forces[-1]
    ended = replace(force.approval, expires_at=house.times.now().utc)
    house.setup = make_setup(house.machine, {ended.serial: (ended, force.plan)})


def take_over(house: House) -> None:
    """Approve the same plan anew; it takes over at once."""
    force, utc = house.setup.forces[-1], house.times.now().utc
    timing = house.machine.timing
    around = force.timetable.between(utc - ONE_DAY, utc + ONE_DAY)
    late = max((dose.latest_at - dose.due_at for dose in around), default=timedelta())
    gap = timedelta(
        seconds=max(timing.same_pump_gap_s, timing.apart_gap_s, timing.hydroxide_gap_s)
    )
    swapped = replace(
        force.approval,
        serial=force.approval.serial + 1,
        takes_over_at=utc,
        left_out_until=utc + late + gap,
    )
    house.setup = make_setup(
        house.machine,
        {
            force.approval.serial: (force.approval, force.plan),
            swapped.serial: (swapped, force.plan),
        },
    )
