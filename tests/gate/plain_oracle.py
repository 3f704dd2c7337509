"""The plain judge: may this line dose now, by the raw inputs alone?

It imports nothing of the daemon. It is told what happened, in the order in which it
happened, and says *blocked* (no dose may begin), *unknown* (no more than a share may
run) or *free*. Its figures are those of the reference chapter on limits: common
practice, no source. Times are seconds, shares parts of one.
"""

from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median

from tests.gate.plain_alkalinity import Alkalinity
from tests.gate.plain_tables import (
    BASE,
    BOTTLE_LOST_UL,
    BOTTLE_LOW_UL,
    CEILING_DKH,
    DAY,
    DAYS_KEPT,
    DOSE_UL,
    HOUR,
    KEPT_S,
    LINES,
    MINUTE,
    PROBES,
    ROUNDING,
    SHORTENS,
    SILENT_S,
    SPREAD,
    SWITCHES,
    TOO_MUCH,
    USUAL_DAYS,
    reached,
)


@dataclass(slots=True)
class Hold:
    """Something that was too much, since when, and whom it stops."""

    scope: str
    since: float


@dataclass(slots=True)
class Plain:
    """What was told so far; `blamed` counts what each interlock stopped or took.

    `midnight` is how long before the beginning the first UTC day began; `usual` and
    `counted` are microlitres of top-off by number of the day, None without a counter.
    """

    probes: frozenset[str]
    switches: frozenset[str]
    group: frozenset[str]
    begun: float = 0.0
    now: float = 0.0
    series: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)
    out: dict[str, float] = field(default_factory=dict)
    states: dict[str, tuple[bool, float, float]] = field(default_factory=dict)
    tests: dict[str, tuple[float, float]] = field(default_factory=dict)
    holds: dict[str, Hold] = field(default_factory=dict)
    bypassed: dict[str, tuple[float, float]] = field(default_factory=dict)
    treated_until: float = -1.0
    away_from: float | None = None
    left_ul: int | None = None
    mixed_at: float = 0.0
    measured_at: dict[str, float] = field(default_factory=dict)
    lost_of_believed: float = 1.0
    astray_ul: list[int] = field(default_factory=list)
    ran: dict[str, float] = field(default_factory=dict)
    midnight: float = 0.0
    usual: dict[int, int] = field(default_factory=dict)
    counted: dict[int, int] | None = None
    blamed: Counter[str] = field(default_factory=Counter)
    alkalinity: Alkalinity = field(init=False)

    def __post_init__(self) -> None:
        """Alkalinity is judged apart; what is refused is refused for both."""
        named = [probe for probe in self.probes if PROBES[probe][0] == "alkalinity"]
        self.alkalinity = Alkalinity(frozenset(named), refused=self.refused)

    @property
    def today(self) -> int:
        """The number of the UTC day."""
        return int((self.now + self.midnight) // DAY)

    def top_off(self, day: int, volume_ul: int) -> None:
        """A whole day's top-off is put on record."""
        self.usual[day] = volume_ul
        kept = sorted(self.usual)[-DAYS_KEPT:]
        self.usual = {day: self.usual[day] for day in kept}

    def read(self, probe: str, value: float) -> None:
        """A probe shows a value."""
        if PROBES[probe][0] == "alkalinity":
            serving = self._serving("alkalinity")
            self.alkalinity.read(probe, value, self.now, serving)
            return
        series = self.series.setdefault(probe, [])
        if series and series[-1][0] >= self.now:
            return
        series.append((self.now, value))
        self.refused.discard(probe)
        while len(series) > 1 and series[0][0] < self.now - KEPT_S:
            del series[0]

    def say(self, switch: str, *, is_on: bool) -> None:
        """A switch says a word."""
        known = self.states.get(switch)
        since = known[1] if known and known[0] == is_on else self.now
        self.states[switch] = (is_on, since, self.now)

    def look(self) -> None:
        """Take note of what is too much, and of what has come back."""
        for name in [name for name, end in self.out.items() if self.now >= end]:
            # What it showed beside a test before that says nothing any more.
            self.alkalinity.compared.pop(name, None)
            del self.out[name]
        for name, scope in self._too_much():
            self.holds.setdefault(name, Hold(scope=scope, since=self.now))
        for name, hold in list(self.holds.items()):
            if self._is_over(name, hold):
                del self.holds[name]

    def says(self, line: str) -> tuple[str, float]:
        """The word for one line, with the most that may run of it."""
        together = self.group if line in self.group else frozenset({line})
        kinds = [LINES[each] for each in together]
        if any(self._blocked(each) for each in together) or self._just_ran(line):
            return "blocked", 0.0
        most = 1.0
        for name, scope in self._unknown():
            if any(reached(each, scope) for each in kinds):
                self.blamed[name] += 1
                base = 0.0 if any("correction" in each for each in kinds) else BASE
                most = min(most, base)
        most = min(most, self._absent(line))
        return ("unknown" if most < 1.0 else "free"), most

    # What is too much.

    def _too_much(self) -> list[tuple[str, str]]:
        found = []
        for value in self._newest("ph"):
            found += [("ph-hydroxide", "hydroxide")] if value > 8.50 else []
            found += [("ph-carbonate", "carbonate")] if value > 8.60 else []
        if any(rise > 0.2 + ROUNDING for rise in self._rises()):
            found.append(("ph-rise", "raising"))
        if any(jump > 0.1 + ROUNDING for jump in self._jumps()):
            found.append(("ph-jump", "raising"))
        for value in self._newest("temperature"):
            found += [] if 18.0 <= value <= 32.0 else [("temperature-far", "all")]
            found += [] if 21.0 <= value <= 29.5 else [("temperature", "extras")]
        for value in self._newest("salinity"):
            off = abs(value - 35.0) - ROUNDING
            found += [("salinity-far", "all")] if off > 3.0 else []
            found += [("salinity", "mineral correction")] if off > 1.0 else []
        for switch in self.switches:
            if self._is_wrong(switch):
                found.append((switch, SWITCHES[switch][2]))
        if self._tops_off_too_much():
            found.append(("top-off", "raising"))
        return found

    def _is_over(self, name: str, hold: Hold) -> bool:
        if name in SWITCHES:
            return self._is_well(name)
        if name == "top-off":
            return self.now - hold.since >= DAY and not self._tops_off_too_much()
        if name == "ph-jump":
            return self.now - hold.since >= HOUR
        if name == "ph-rise":
            lasted = self.now - hold.since >= HOUR
            return lasted and all(r <= 0.15 + ROUNDING for r in self._rises())
        kind, low, high = {
            "ph-hydroxide": ("ph", 0.0, 8.45 + ROUNDING),
            "ph-carbonate": ("ph", 0.0, 8.55 + ROUNDING),
            "temperature": ("temperature", 21.5, 29.0),
            "temperature-far": ("temperature", 18.5, 31.5),
            "salinity": ("salinity", 34.2 - ROUNDING, 35.8 + ROUNDING),
            "salinity-far": ("salinity", 32.2 - ROUNDING, 37.8 + ROUNDING),
        }[name]
        for probe in self._serving(kind):
            series = self.series.get(probe, [])
            if not series or self.now - series[-1][0] > DAY:
                continue
            good = []
            for reading in reversed(series):
                if not low <= reading[1] <= high:
                    break
                good.append(reading)
            if len(good) < 3 or self.now - good[-1][0] < HOUR:
                return False
        return True

    def _blocked(self, line: str) -> bool:
        kinds = LINES[line]
        held = [(name, hold.scope) for name, hold in self.holds.items()]
        held += [(name, "alkaline") for name in sorted(self.alkalinity.holds)]
        blamed = [
            name
            for name, scope in [*held, *self._while_it_lasts(line)]
            if not self._left_aside(name) and reached(kinds, scope)
        ]
        self.blamed.update(blamed)
        return bool(blamed)

    def _while_it_lasts(self, line: str) -> list[tuple[str, str]]:
        found = []
        if self._is_doubted("ph"):
            found.append(("ph-unknown", "hydroxide"))
        if self.now < self.treated_until:
            found.append(("treatment", "treated"))
        salinity = self._test("salinity", 30 * DAY)
        if salinity and not self._serving("salinity"):
            off = abs(salinity[0] - 35.0)
            found += [("salinity-test", "all")] if off > 3.0 else []
            found += [("salinity-test", "mineral correction")] if off > 1.0 else []
        for parameter, least in (("nitrate", 1.0), ("phosphate", 0.02)):
            if parameter in self.tests and self.tests[parameter][0] < least:
                found.append(("nutrients", "carbon"))
        # Nobody said what this tank takes up: a high test counts for a day.
        serving = self._serving("alkalinity")
        for value, at in self.alkalinity.visit():
            if value > CEILING_DKH and 0 <= self.now - at <= DAY:
                told = self.alkalinity.speaks_for_water(self.now, serving, at)
                found += [] if told else [("alkalinity-test", "alkaline")]
        found += self._of_bottle()
        if self.now - self.measured_at.get(line, self.now) >= 180 * DAY:
            found.append(("calibration", "correction"))
        # Nobody knows whether the water moves.
        if "return-pump" in self.switches and self._is_silent("return-pump"):
            found.append(("return-pump-silent", "all"))
        return found

    def _of_bottle(self) -> list[tuple[str, str]]:
        found = []
        if self.left_ul is not None:
            found += [("reservoir-empty", "all")] if self.left_ul < DOSE_UL else []
            low = self.left_ul <= BOTTLE_LOW_UL
            found += [("reservoir-low", "correction")] if low else []
            old = self.now - self.mixed_at >= 90 * DAY
            found += [("reservoir-old", "correction")] if old else []
        if not 0.8 <= self.lost_of_believed <= 1.2:
            found.append(("pump-drift", "all"))
        # No level adds anything here, so all together is the most there is.
        if sum(self.astray_ul) > BOTTLE_LOST_UL:
            found.append(("bottle-lost", "all"))
        return found

    def _just_ran(self, line: str) -> bool:
        return self.now - self.ran.get(line, -DAY) < MINUTE

    # What is not known.

    def _unknown(self) -> list[tuple[str, str]]:
        doubted = {"temperature-unknown": "temperature", "salinity-unknown": "salinity"}
        found = [(n, "all") for n, kind in doubted.items() if self._is_doubted(kind)]
        found += [
            (f"{switch}-silent", SWITCHES[switch][2])
            for switch in sorted(self.switches & SHORTENS)
            if self._is_silent(switch)
        ]
        found = [(name, scope) for name, scope in found if not self._left_aside(name)]
        serving = self._serving("alkalinity")
        doubts = self.alkalinity.doubts(self.now, serving)
        if not self._left_aside("alkalinity-probes"):
            doubts = [name for name in doubts if not self._left_aside(name)]
            found += [(name, "alkaline") for name in doubts]
        return found

    def _absent(self, line: str) -> float:
        if self.away_from is None or self.now < self.away_from:
            return 1.0
        if "correction" in LINES[line]:
            return 0.0
        serving = self._serving("alkalinity")
        # A sound probe of alkalinity tests all the time.
        if self.alkalinity.has_sound(self.now, serving):
            return 1.0
        return 0.9 if self.now - self.away_from > 14 * DAY else 1.0

    def _is_doubted(self, kind: str) -> bool:
        configured = [p for p in self.probes if PROBES[p][0] == kind]
        if not configured:
            return False
        serving = self._serving(kind)
        if not serving:
            return self._test(kind, 48 * HOUR) is None
        sound = [self.series[p][-1][1] for p in serving if self._is_sound(p)]
        if not sound:
            return True
        return max(sound) - min(sound) > SPREAD[kind] + ROUNDING

    def _is_sound(self, probe: str) -> bool:
        series = self.series.get(probe, [])
        _, period, resolution, frozen_after = PROBES[probe]
        if not series or self.now - series[-1][0] > 2 * period:
            return False
        if probe in self.refused:
            return False
        values = [value for _, value in series]
        run = 1
        while run < len(values) and (
            abs(values[-run - 1] - values[-1]) < resolution / 2
        ):
            run += 1
        if run < 2 or series[-1][0] - series[-run][0] < frozen_after:
            return True
        before = values[:-run]
        pairs = list(pairwise(before))
        equal = sum(abs(b - a) < resolution / 2 for a, b in pairs)
        chance = (equal + 5) / (len(pairs) + 10)
        return bool(chance ** (run - 1) >= 0.001)

    # Small looks.

    def _serving(self, kind: str) -> list[str]:
        return [
            probe
            for probe in sorted(self.probes)
            if PROBES[probe][0] == kind and self.out.get(probe, -1.0) <= self.now
        ]

    def _newest(self, kind: str) -> list[float]:
        lasts = [self.series[p][-1] for p in self._serving(kind) if p in self.series]
        return [value for at, value in lasts if self.now - at <= DAY]

    def _rises(self) -> list[float]:
        found = []
        for probe in self._serving("ph"):
            series = self.series.get(probe, [])
            if not series or self.now - series[-1][0] > HOUR:
                continue
            ages = [(series[-1][0] - at, value) for at, value in series]
            late = [value for age, value in ages if age < HOUR / 2]
            early = [value for age, value in ages if HOUR <= age < 1.5 * HOUR]
            if min(len(late), len(early)) >= 2:
                found.append(median(late) - median(early))
        return found

    def _jumps(self) -> list[float]:
        found = []
        for line in ("lye", "soda"):
            ended = self.ran.get(line)
            if ended is None or self.now - ended > 900.0:
                continue
            # Longest run 60 s, and the 8 s within which it must begin.
            begun = ended - 68.0
            for probe in self._serving("ph"):
                series = self.series.get(probe, [])
                before = [r for r in series if r[0] <= begun]
                if not before or series[-1][0] <= begun:
                    continue
                if begun - before[-1][0] <= HOUR / 2:
                    found.append(series[-1][1] - before[-1][1])
        return found

    def _is_wrong(self, switch: str) -> bool:
        if switch not in self.states:
            return False
        is_on, _, heard = self.states[switch]
        if switch == "power" and heard <= self.ran.get("soda", -DAY) + 10.0:
            return False
        return is_on != SWITCHES[switch][0] and self.now - heard <= SILENT_S

    def _tops_off_too_much(self) -> bool:
        usual = [volume for day, volume in self.usual.items() if day < self.today]
        if self.counted is None or len(usual) < USUAL_DAYS:
            return False
        return self.counted.get(self.today, 0) > int(median(usual) * TOO_MUCH)

    def _is_silent(self, switch: str) -> bool:
        heard = self.states[switch][2] if switch in self.states else self.begun
        return self.now - heard > SILENT_S

    def _is_well(self, switch: str) -> bool:
        normal, well_s, _ = SWITCHES[switch]
        if switch not in self.states or well_s is None:
            return False
        is_on, since, heard = self.states[switch]
        fresh = self.now - heard <= SILENT_S
        return fresh and is_on == normal and self.now - since >= well_s

    def _test(self, parameter: str, within: float) -> tuple[float, float] | None:
        test = self.tests.get(parameter)
        return test if test and 0 <= self.now - test[1] <= within else None

    def _left_aside(self, name: str) -> bool:
        begun, ends = self.bypassed.get(name, (0.0, -1.0))
        return begun <= self.now < min(ends, begun + 4 * HOUR)
