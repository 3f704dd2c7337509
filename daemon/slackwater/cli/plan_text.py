"""A plan as the text of plan.toml.

Floor 8. One subject: plan → text. Laws here: what is read from the text is the plan to
the letter; the grounds of a line stand above it as comments, for the person who will
change it.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from textwrap import wrap

from slackwater.facts.plan import Group, Plan, PlanLine, Window

MINUTES_A_DAY = 1440
UL_A_ML = 1000
_WIDTH = 86
_HEAD = """\
# The plan: what is dosed, how much a day, and when. Times are those of the tank's zone.
# Nothing of it runs before `slackwater approve`; read it, and change what you like."""


def plan_text(plan: Plan, comments: Mapping[str, Sequence[str]]) -> str:
    """The text of a plan file; `comments` are sentences by line id."""
    lines = [_HEAD, "", f"name = {_quoted(plan.name)}", f"starts = {plan.starts}"]
    for line in plan.lines:
        lines.append("")
        for sentence in comments.get(line.id, ()):
            lines += wrap(
                sentence, _WIDTH, initial_indent="# ", subsequent_indent="#   "
            )
        lines += _line(line)
    for group in plan.groups.values():
        lines += ["", *_group(group)]
    return "\n".join(lines) + "\n"


def _line(line: PlanLine) -> Iterator[str]:
    yield "[[line]]"
    for key, text in (
        ("id", line.id),
        ("tank", line.tank),
        ("solution", line.solution),
        ("pump", line.pump),
        ("per_day", _volume(line.per_day_ul)),
    ):
        yield f"{key} = {_quoted(text)}"
    if line.times_minute:
        yield f"times = {_list(map(_clock, line.times_minute))}"
    else:
        yield f"doses = {line.count}"
        yield f"windows = {_list(_windows(line.windows))}"
    if line.weekdays:
        yield f"weekdays = {_list(line.weekdays)}"
    elif line.every_days > 1:
        yield f"every_days = {line.every_days}"
    if line.first_day:
        yield f"first = {line.first_day}"
    if line.last_day:
        yield f"last = {line.last_day}"
    for key, text in (("group", line.group), ("note", line.note)):
        if text:
            yield f"{key} = {_quoted(text)}"
    if line.purpose != "maintenance":
        yield f"purpose = {_quoted(line.purpose)}"


def _group(group: Group) -> Iterator[str]:
    shares = ", ".join(f'{key} = "{share}"' for key, share in group.ratio.items())
    yield f"[group.{group.id}]"
    yield f"ratio = {{ {shares} }}"


def _windows(windows: Sequence[Window]) -> Iterator[str]:
    """Windows as people write them: one over midnight is one."""
    first, last = windows[0], windows[-1]
    round_midnight = (
        len(windows) > 1
        and first.start_minute == 0
        and last.end_minute == MINUTES_A_DAY
        and first.end_minute < last.start_minute
    )
    if round_midnight:
        yield f"{_clock(last.start_minute)}-{_clock(first.end_minute)}"
        windows = windows[1:-1]
    for one in windows:
        yield f"{_clock(one.start_minute)}-{_clock(one.end_minute)}"


def _volume(volume_ul: int) -> str:
    """A volume that reads back exactly, in millilitres where it is one or more."""
    if volume_ul < UL_A_ML:
        return f"{volume_ul} uL"
    whole, rest = divmod(volume_ul, UL_A_ML)
    return f"{whole}.{rest:03d}".rstrip("0").rstrip(".") + " mL"


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _list(texts: Iterable[str]) -> str:
    return f"[{', '.join(_quoted(text) for text in texts)}]"


def _quoted(text: str) -> str:
    # A JSON string is a TOML string: the same marks are escaped in the same way.
    return json.dumps(text, ensure_ascii=False)
