"""Generated plans, and the real loop living through them under virtual time.

The loop, demo nodes and wire are those of the stories; plans, zones and days are by
chance, among them days on which clocks change. All figures are invented.
"""

from datetime import UTC, date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from slackwater.audit.audit import Audit, Books, audit
from slackwater.facts.events import AnyEvent, LedgerMade, PumpsEnabled
from slackwater.facts.plan import Approval, Plan, PlanLine, Window
from slackwater.facts.tank import Machine
from slackwater.planning.ceilings import check
from slackwater.pump.outcome import Stamp
from slackwater.service.promising import promised
from tests.planning import plans
from tests.properties.bus import Bus
from tests.properties.households import Home
from tests.properties.outpost import HOUR_MS
from tests.properties.shell import Book, Times, trap
from tests.properties.world import World, approved
from tests.stories.stage import LEAD, Stage, _posts

# Zones and days with clock changes among them: IANA time zone database.
DAYS = (
    ("Europe/Berlin", date(2026, 5, 3)),
    ("Europe/Berlin", date(2026, 3, 28)),
    ("Europe/Berlin", date(2026, 10, 24)),
    ("Australia/Lord_Howe", date(2026, 4, 4)),
    ("America/St_Johns", date(2026, 10, 31)),
    ("Asia/Kathmandu", date(2026, 12, 30)),
)
LASTS = timedelta(days=2)
# What is first due in the last minute may be moved, and begin late.
LATER = timedelta(hours=6)
COUNTS = (1, 2, 3, 5, 8, 12, 24)
DOSE_UL = (300, 1_001, 2_500, 7_999)
QUARTER = 15
SOLUTIONS = ("carbonate", "calcium", "magnesium", "lye", "trace")


def draw(seed: int) -> tuple[Machine, Plan, date]:
    """A machine, a plan that passes its check, and the first of two days."""
    chance = Random(seed)  # noqa: S311 -- to be repeated, not to be secret
    while True:
        zone, first = chance.choice(DAYS)
        machine = _machine(zone, chance)
        plan = _plan(chance, first)
        if not check(plan, machine):
            return machine, plan, first


def _machine(zone: str, chance: Random) -> Machine:
    made = plans.machine(zone, other_zone=chance.choice(DAYS)[0])
    for name in made.nodes:
        made = plans.with_node(made, name, day_limit_ul=2_000_000, cut_limit_ms=20_000)
    return plans.timed(
        made,
        start_hold_off_s=chance.choice((1.0, 60.0)),
        apart_gap_s=chance.choice((60.0, 900.0)),
    )


def _plan(chance: Random, first: date) -> Plan:
    names = chance.sample(SOLUTIONS, chance.randint(1, 4))
    lines = [_line(chance, name, "reef") for name in names]
    if chance.random() < 0.3:
        lines.append(_line(chance, chance.choice(SOLUTIONS), "lagoon"))
    starts = first - timedelta(days=chance.randrange(4))
    return plans.plan(*lines, starts=starts)


def _line(chance: Random, name: str, tank: str) -> PlanLine:
    count, dose_ul = chance.choice(COUNTS), chance.choice(DOSE_UL)
    more: dict[str, object] = {"tank": tank, "every_days": chance.choice((1, 1, 1, 2))}
    if chance.random() < 0.2:
        count = min(count, 5)
        minutes = chance.sample(range(0, 24 * 60, QUARTER), count)
        more["times_minute"] = tuple(sorted(minutes))
    elif chance.random() < 0.5:
        start = chance.randrange(0, 12 * 60, QUARTER)
        end = chance.randrange(start + 6 * 60, 24 * 60 + 1, QUARTER)
        more["windows"] = (Window(start_minute=start, end_minute=end),)
    # Not a multiple of the count: the rest is spread by whole microlitres.
    per_day_ul = dose_ul * count + chance.randrange(count)
    return plans.line(name, per_day_ul, count, **more)


class Simulated(Stage):
    """A machine and a plan under way, with nodes that answer and a wire that holds."""

    def __init__(self, machine: Machine, plan: Plan, first: date) -> None:
        """Approve, enable, and make ready; nothing runs yet."""
        zones = [ZoneInfo(tank.zone) for tank in machine.tanks.values()]
        self.begins = min(
            datetime.combine(first, time(), zone).astimezone(UTC) for zone in zones
        )
        times = Times(begin=self.begins - LEAD)
        self.hosed = _posts(machine)
        World.__init__(
            self,
            home=Home(
                begin=self.begins,
                machine=machine,
                other_machine=machine,
                plan=plan,
                other_plan=plan,
                dose_ul=0,
                narrow="",
            ),
            chance=Random(0),  # noqa: S311 -- chance lies in the plan alone
            times=times,
            book=Book(times=times),
            bus=Bus(chance=Random(0)),  # noqa: S311 -- only milliseconds
            posts={post.name: post for post in self.hosed},
        )
        trap().wish = None
        self.chatty_until_ms = self.number = 0
        self.book.append(list(self._past(machine, plan)))

    def live_through(self) -> None:
        """Let two days pass, and what may still begin of them."""
        self.run((LEAD + LASTS + LATER) // timedelta(milliseconds=1) - 1)

    def audited(self) -> Audit:
        """What the audit finds in the ledger of these days."""
        numbered = list(enumerate(self.book.events(), start=1))
        now = self.times.now().utc
        books = Books(
            rules=numbered,
            live=numbered,
            decided_at=now,
            now=now,
            promised=self.promised(),
        )
        return audit(books, self.begins, self.begins + LASTS)

    def promised(self) -> dict[str, int]:
        """What the rehearsal gives of each dose of these days, and some around them."""
        rules = list(enumerate(self.book.events()[:3], start=1))
        return promised(rules, (self.begins, self.begins + LASTS))

    def _mix(self, now_ms: int) -> None:
        """Nobody looks at the water."""

    def _past(self, machine: Machine, plan: Plan) -> list[AnyEvent]:
        now = self.times.now()
        stamp: Stamp = {"at": now.utc, "boot_s": now.boot_s, "proven_ms": 24 * HOUR_MS}
        approval = Approval(
            serial=1,
            digest="1" * 64,
            takes_over_at=self.begins,
            expires_at=self.begins + timedelta(days=30),
            by="keeper",
            highest_daily_ul=0,
        )
        return [
            LedgerMade(
                **stamp,
                ledger_id="generated",
                boot_id=now.boot_id,
                answered=True,
                by="keeper",
            ),
            approved(approval, (machine, plan), stamp),
            PumpsEnabled(**stamp, by="keeper", serial=1),
        ]
