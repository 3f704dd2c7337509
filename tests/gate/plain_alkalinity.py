"""The plain judge of alkalinity: what readings, tests and verdicts let a line do.

It imports nothing of the daemon, and is told what happened in the order in which it
happened. Levels are dKH, times seconds. Its figures are those of the reference chapter
on limits: common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median

DAY, HOUR, MINUTE = 86_400.0, 3_600.0, 60.0
CEILING, FLOOR, GOOD_AT = 9.7, 6.5, 9.5
RISE, FALL, SPREAD, AGAINST_TEST = 0.8, 0.8, 0.5, 0.7
PERIOD_S, RESOLUTION = 300.0, 0.01
GOOD_READINGS, HELD_S = 3, HOUR
# A verdict of a fall lasts so long, by what said it.
LASTS_S = {"probe": 26 * HOUR, "hand": 50 * HOUR}
BESIDE_S, KEPT_EVERY_S, STANDS_IN_S = 45 * MINUTE, 30 * MINUTE, 48 * HOUR
ROUNDING = 1e-6
Series = Sequence[tuple[float, float]]


@dataclass(slots=True)
class Alkalinity:
    """What was said of alkalinity so far.

    `holds` are names of what stands and stops; `verdicts` is what was last said of each
    series that is no excess, with the time it speaks of.
    """

    probes: frozenset[str]
    series: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    kept: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    compared: dict[str, tuple[float, float]] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)
    verdicts: dict[str, tuple[str, float]] = field(default_factory=dict)
    holds: set[str] = field(default_factory=set)
    test: tuple[float, float] | None = None
    tests: list[tuple[float, float]] = field(default_factory=list)

    def read(
        self, probe: str, value: float, now: float, serving: Sequence[str]
    ) -> None:
        """A probe shows a value."""
        series = self.series.setdefault(probe, [])
        if series and series[-1][0] >= now:
            return
        series.append((now, value))
        self.refused.discard(probe)
        while len(series) > 1 and series[0][0] < now - 26 * HOUR:
            del series[0]
        before = set(self.holds)
        if probe in serving:
            self.holds |= {"alkalinity-ceiling"} if value > CEILING else set()
            hours = medians(series)
            if len(hours) > 1 and hours[0] - min(hours[1:]) > RISE + ROUNDING:
                self.holds.add("alkalinity-climb")
        raised = self.holds != before
        kept = self.kept.setdefault(probe, [])
        is_back = bool(kept) and kept[-1][1] > CEILING >= value
        if raised or not kept or is_back or now - kept[-1][0] >= KEPT_EVERY_S:
            kept.append((now, value))
        if not raised and serving and all(self._calm(p, now) for p in serving):
            self.holds.discard("alkalinity-ceiling")

    def tested(self, value: float, at: float) -> None:
        """Somebody tests by hand, and looks what each probe shows beside it."""
        self.tests.append((value, at))
        self.test = (
            (value, at) if self.test is None or at >= self.test[1] else self.test
        )
        for probe, kept in self.kept.items():
            near = [(abs(t - at), v) for t, v in kept if abs(t - at) <= BESIDE_S]
            known = self.compared.get(probe)
            if near and (known is None or known[1] <= at):
                shown = min(near, key=lambda one: one[0])[1]
                self.compared[probe] = (abs(shown - value), at)

    def told(self, source: str, verdict: str, now: float, *, excess: bool) -> None:
        """A verdict on a series is put on record."""
        self.verdicts.pop(source, None)
        if excess:
            up = verdict == "swing-up"
            self.holds.add("alkalinity-swing-up" if up else "alkalinity-dose-fault")
        elif verdict != "steady":
            self.verdicts[source] = (verdict, now)

    def doubts(self, now: float, serving: Sequence[str]) -> list[str]:
        """The names of everything that shortens now."""
        found = self._of_probes(now, serving)
        if self.probes and not serving:
            word = "stood-in" if self.has_test(now) else "out"
            found.append(f"alkalinity-{word}")
        for source, (verdict, at) in self.verdicts.items():
            if verdict == "probe-fault":
                if not any(self._is_trusted(p, now) for p in serving):
                    found.append("alkalinity-probe-fault")
            elif now - at <= LASTS_S[source.split("/")[0]]:
                lost = verdict == "dose-fault"
                found.append(f"alkalinity-{'dose-lost' if lost else verdict}")
        return found

    def has_test(self, now: float) -> bool:
        """Whether a test stands in for probes out of service."""
        return self.test is not None and 0 <= now - self.test[1] <= STANDS_IN_S

    def visit(self) -> list[tuple[float, float]]:
        """The newest test and all of the half hour before it."""
        newest = max((at for _, at in self.tests), default=0.0)
        return [test for test in self.tests if newest - test[1] <= 30 * MINUTE]

    def speaks_for_water(
        self, now: float, serving: Sequence[str], tested: float
    ) -> bool:
        """Whether a sound probe agreed with a test as late, or was read since."""
        return any(
            self.compared.get(probe, (0.0, -DAY * 30))[1] >= tested
            or self.series[probe][-1][0] > tested
            for probe in serving
            if self._is_sound(probe, now) and not self._is_contradicted(probe)
        )

    def has_sound(self, now: float, serving: Sequence[str]) -> bool:
        """Whether any probe can be believed."""
        return any(self._is_sound(probe, now) for probe in serving)

    def _of_probes(self, now: float, serving: Sequence[str]) -> list[str]:
        sound = [probe for probe in serving if self._is_sound(probe, now)]
        shown = [self.series[probe][-1][1] for probe in sound]
        found = [] if sound or not serving else ["alkalinity-unknown"]
        if shown and min(shown) < FLOOR - ROUNDING:
            found.append("alkalinity-floor")
        if shown and max(shown) - min(shown) > SPREAD + ROUNDING:
            found.append("alkalinity-spread")
        for probe in serving:
            series = self.series.get(probe, [])
            hours = medians(series) if series and now - series[-1][0] <= DAY else []
            if len(hours) > 1 and max(hours[1:]) - hours[0] > FALL + ROUNDING:
                found.append("alkalinity-fall")
        if any(self._is_contradicted(probe) for probe in sound):
            found.append("alkalinity-against-test")
        return found

    def _is_contradicted(self, probe: str) -> bool:
        return self.compared.get(probe, (0.0, 0.0))[0] > AGAINST_TEST + ROUNDING

    def _is_trusted(self, probe: str, now: float) -> bool:
        verdict, _ = self.verdicts.get(f"probe/{probe}", ("", 0.0))
        return verdict != "probe-fault" and self._is_fresh(probe, now)

    def _is_fresh(self, probe: str, now: float) -> bool:
        series = self.series.get(probe, [])
        return bool(series) and now - series[-1][0] <= 2 * PERIOD_S

    def _is_sound(self, probe: str, now: float) -> bool:
        if not self._is_fresh(probe, now) or probe in self.refused:
            return False
        values = [value for _, value in self.series[probe]]
        same = [abs(value - values[-1]) < RESOLUTION / 2 for value in reversed(values)]
        run = same.index(False) if False in same else len(same)
        pairs = list(pairwise(values[: len(values) - run]))
        equal = sum(abs(b - a) < RESOLUTION / 2 for a, b in pairs)
        chance = (equal + 5) / (len(pairs) + 10)
        return run == 1 or bool(chance ** (run - 1) >= 0.001)

    def _calm(self, probe: str, now: float) -> bool:
        good = []
        for at, value in reversed(self.series.get(probe, [])):
            if value > GOOD_AT:
                break
            good.append(at)
        return len(good) >= GOOD_READINGS and now - good[-1] >= HELD_S


def medians(series: Series) -> list[float]:
    """Of the hours before the newest reading, the newest first; empty ones left out.

    An hour with one reading or two is judged with its neighbours in the series.
    """
    newest = series[-1][0]
    found = []
    for hour in range(25):
        places = [
            place
            for place, (at, _) in enumerate(series)
            if hour * HOUR <= newest - at < (hour + 1) * HOUR and newest - at <= DAY
        ]
        if not places:
            continue
        first, last = places[0], places[-1]
        while last - first < 2:
            if first > 0 and (last - first == 0 or first == places[0]):
                first -= 1
            elif last + 1 < len(series):
                last += 1
            elif first > 0:
                first -= 1
            else:
                break
        found.append(median(value for _, value in series[first : last + 1]))
    return found
