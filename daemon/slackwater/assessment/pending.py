"""What the corrections that run now will still bring.

Floor 3. One subject: the rest of a ramp. Laws here: only what is above or below the
lasting amount counts; a line without an end is no correction.
Units: canonical; volumes microlitres.
"""

from datetime import date, timedelta

from slackwater.assessment.knobs import Knob, Knobs, lasting_ul, per_day_ul
from slackwater.facts.plan import PlanLine

# A maintenance line that is held back for some days carries this at its end.
HELD_BACK = "-low"
ONE_DAY = timedelta(days=1)


def pending(knobs: Knobs, parameter: str, today: date) -> float:
    """How far the level of a parameter still moves by corrections, canonical."""
    return sum(
        _rest(knob, line, today) * knob.per_ul[parameter]
        for knob in knobs.of(parameter)
        for line in knob.lines
    )


def is_correcting(line: PlanLine) -> bool:
    """Whether a line is a ramp: it has an end and leads somewhere else."""
    if line.last_day is None:
        return False
    return line.purpose == "correction" or line.id.endswith(HELD_BACK)


def _rest(knob: Knob, line: PlanLine, today: date) -> float:
    if not is_correcting(line) or line.last_day is None:
        return 0.0
    first = max(today, line.first_day or today)
    days = (line.last_day - first) // ONE_DAY + 1
    usual = 0.0 if line.purpose == "correction" else lasting_ul(knob, today)
    return (per_day_ul(line) - usual) * max(days, 0)
