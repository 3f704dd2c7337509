"""One pump head of a node: number, budget, odometer and the run under way.

Outside every floor; never imports Slackwater. One subject: what a head remembers in
memory. Laws here: number and budget move before the output does; the output drops by
itself at the cut of the run, whether anybody looks or not; an ended run is never
resumed; amounts are rounded up.
"""

from demo.reef.node_budget import Budget
from demo.reef.node_form import Command

# Implied rate of a command against the nominal one: at least half, at most double.
_RATE_SHARE = 2
_MS_PER_MINUTE = 60_000


class Run:
    """A run from its acceptance on; times in the node's uptime."""

    def __init__(self, command: Command, started_ms: int) -> None:
        self.id = command.id
        self.n = command.n
        self.ul = command.ul
        self.ms = command.ms
        self.cut_ms = command.cut_ms
        self.cal = command.cal
        self.started_ms = started_ms
        self.metered_ul = 0.0
        self.reason = ""
        self.ended_ms = 0

    def ran_ms(self, up_ms: int) -> int:
        """Gives how long the output was on until now, never beyond the cut."""
        until_ms = self.ended_ms if self.reason else up_ms
        return min(until_ms - self.started_ms, self.cut_ms)


class Head:
    """The memory of one pump head.

    `limits` holds `nominal_ul_per_min`, `max_ul`, `max_ms`, `max_cut_ms`, `day_ul`, and
    `metered` (1 when a flow meter measures what left the hose, else 0).
    """

    def __init__(self, limits: dict[str, int]) -> None:
        self.limits = limits
        self.budget = Budget(limits["day_ul"])
        self.n = 0
        self.odo_ul = 0
        self.odo_ms = 0
        self.broken = False
        self.run: Run | None = None
        self.last: Run | None = None

    def accepted(self) -> Run | None:
        """Gives the last accepted run, running or ended."""
        return self.run or self.last

    def start(self, command: Command, up_ms: int) -> Run:
        """Takes a run: number, then budget, then the output."""
        self.n += 1
        self.budget.take(command.ul, up_ms)
        self.run = Run(command, up_ms)
        return self.run

    def end(self, reason: str, up_ms: int) -> Run | None:
        """Drops the output and books what flowed; None when nothing ran."""
        run = self.run
        if run is None:
            return None
        run.reason = reason
        run.ended_ms = up_ms
        moved_ul = self.moved_ul(run, up_ms)
        self.odo_ul += moved_ul
        self.odo_ms += run.ran_ms(up_ms)
        self.budget.take(max(0, moved_ul - run.ul), up_ms)
        self.run, self.last = None, run
        return run

    def moved_ul(self, run: Run, up_ms: int) -> int:
        """Gives what a run moved so far, by meter or by time, rounded up."""
        if self.limits.get("metered"):
            return int(-(-run.metered_ul // 1))
        return -(-run.ul * run.ran_ms(up_ms) // run.ms)

    def ending(self, up_ms: int) -> str:
        """Gives the reason why the run is over by now, empty while it is not."""
        run = self.run
        if run is None or up_ms - run.started_ms < run.ms:
            return ""
        cut = up_ms - run.started_ms >= run.cut_ms and run.cut_ms > run.ms
        return "cut" if cut else "complete"

    def is_beyond_limits(self, command: Command) -> bool:
        """Whether amount, times or implied rate are not for this head."""
        limits = self.limits
        asked = command.ul * _MS_PER_MINUTE
        nominal = limits["nominal_ul_per_min"] * command.ms
        return (
            command.ul > limits["max_ul"]
            or command.ms > limits["max_ms"]
            or command.cut_ms > limits["max_cut_ms"]
            or asked * _RATE_SHARE < nominal
            or asked > nominal * _RATE_SHARE
        )

    def shown(self, state: str, up_ms: int) -> dict[str, object]:
        """Gives the head as a beat shows it; a run under way counts in the odometer."""
        moved_ul = moved_ms = 0
        if self.run is not None:
            moved_ul = self.moved_ul(self.run, up_ms)
            moved_ms = self.run.ran_ms(up_ms)
        shown: dict[str, object] = {
            "n": self.n,
            "state": state,
            "odo_ul": self.odo_ul + moved_ul,
            "odo_ms": self.odo_ms + moved_ms,
            "budget_ul": self.budget.room_ul(up_ms),
        }
        if self.last is not None:
            shown["last"] = {
                "id": self.last.id,
                "ul": self.moved_ul(self.last, up_ms),
                "ran_ms": self.last.ran_ms(up_ms),
                "reason": self.last.reason,
                "cal": self.last.cal,
            }
        return shown
