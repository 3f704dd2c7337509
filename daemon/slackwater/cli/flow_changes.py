"""How far calibrations moved the flow of pumps since a plan was approved.

Floor 8. One subject: flow then and now. Laws here: what was approved is found by the
calibration's own id; a rate nobody recorded is the nominal one of that time.
"""

from fractions import Fraction

from slackwater.cli.opening import Approved, Opened
from slackwater.cli.reading import Files
from slackwater.facts.events import Calibrated
from slackwater.ledger.views import Wanted, entries
from slackwater.pump.command import rate_in_force

# A calibration that moves the flow by more than this begins with half doses.
MOVED = Fraction(11, 10)


def moved_flows(found: Opened, before: Approved, files: Files) -> dict[str, Fraction]:
    """Pumps whose flow moved by more than a tenth, with new over old, by name."""
    known = _measured(found)
    moved = {}
    for name, pump in sorted(files.machine.pumps.items()):
        old = before.machine.pumps.get(name)
        then = before.approval.calibrations.get(name)
        now_nl, now_id = rate_in_force(found.state, pump)
        if old is None or then is None or then == now_id:
            continue
        ratio = Fraction(now_nl, known.get(then, old.rate_nl_per_s))
        if not 1 / MOVED <= ratio <= MOVED:
            moved[name] = ratio
    return moved


def _measured(found: Opened) -> dict[str, int]:
    """Every rate that was ever measured, nanolitres per second, by its id."""
    wanted = Wanted(kinds=("calibrated",))
    return {
        entry.event.cal: entry.event.rate_nl_per_s
        for entry in entries(found.ledger, wanted)
        if isinstance(entry.event, Calibrated)
    }
