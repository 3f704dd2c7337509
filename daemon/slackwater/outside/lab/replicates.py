"""Several results of one element become one value, or are refused as duplicates.

Floor 6. One subject: replicates. Laws here: rows of one element are replicates when
labels tell them apart, or when every element stands there equally often under one name;
anything else is a duplicate and refused. The mean is kept with its spread, and a large
one is said.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from slackwater.outside.lab.cells import Faults
from slackwater.outside.lab.columns import Role
from slackwater.outside.lab.names import plain
from slackwater.outside.lab.sheet import Reading
from slackwater.outside.lab.values import Result
from slackwater.water.parameters import PARAMETERS
from slackwater.water.texts import shown

# Replicates further apart than this part of their mean are pointed out.
# Common practice, no source.
APART = Fraction(1, 10)
_TYPED_AT_MOST = 200

Key = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class LabValue:
    """One value of a report as it is kept.

    `level`, `sd` and `spread` canonical, `level` exact; `name` and `typed` as the
    report writes them; `limit` the quantification limit where it is stated;
    `kept_apart` says why it is another quantity than its parameter's own, else empty.
    `notes` are remarks for people.
    """

    name: str
    parameter: str
    level: Fraction
    typed: str
    censored: bool
    kept_apart: str
    method: str
    notes: tuple[str, ...]
    replicates: int
    spread: Fraction | None
    sd: Fraction | None
    limit: Fraction | None
    confirmed: bool
    by_mass: bool


def refuse_duplicates(readings: Sequence[Reading], faults: Faults) -> None:
    """Note every element that stands there more often than its replicates explain."""
    groups = grouped(readings)
    counts = {len(group) for group in groups.values()}
    for group in groups.values():
        if len(group) == 1:
            continue
        labels = [(one.said(Role.SAMPLE), one.said(Role.REPLICATE)) for one in group]
        are_labelled = len(set(labels)) == len(labels)
        one_name = len({plain(one.name.text) for one in group}) == 1
        no_labels = not any(replicate for _, replicate in labels)
        are_sets = len(counts) == 1 and len(set(labels)) == 1 and one_name
        if not (are_labelled or (are_sets and no_labels)):
            _note_duplicate(group, faults)


def grouped(readings: Sequence[Reading]) -> Mapping[Key, list[Reading]]:
    """The readings of each element, in the order of the file."""
    groups: dict[Key, list[Reading]] = {}
    for one in readings:
        groups.setdefault(one.analyte.key, []).append(one)
    return groups


def combined(results: Sequence[Result]) -> LabValue:
    """One value from the results of one element; at least one."""
    first = results[0]
    levels = [one.level for one in results]
    censored = all(one.below for one in results)
    level = max(levels) if censored else sum(levels, Fraction()) / len(levels)
    sds = [one.sd for one in results if one.sd is not None]
    limits = [one.limit for one in results if one.limit is not None]
    limit = max(limits, default=None)
    return LabValue(
        name=first.reading.name.text,
        parameter=first.analyte.parameter,
        level=level,
        typed=" | ".join(one.typed for one in results)[:_TYPED_AT_MOST],
        censored=censored,
        kept_apart=first.analyte.method,
        method=_method(results),
        notes=tuple(_notes(results, level, limit, censored=censored)),
        replicates=len(results),
        spread=max(levels) - min(levels) if len(levels) > 1 else None,
        sd=max(sds, default=None),
        limit=limit,
        confirmed=any(one.confirmed for one in results),
        by_mass=any(one.by_mass for one in results),
    )


def _method(results: Sequence[Result]) -> str:
    own = results[0].analyte.method
    stated = sorted({one.reading.said(Role.METHOD) for one in results} - {""})
    return "; ".join(filter(None, (own, *stated)))


def _notes(
    results: Sequence[Result],
    level: Fraction,
    limit: Fraction | None,
    *,
    censored: bool,
) -> list[str]:
    notes = sorted({one.reading.said(Role.NOTE) for one in results} - {""})
    form = results[0].analyte.form
    if form:
        notes.append(f"given as {form}")
    if results[0].analyte.method:
        notes.append(results[0].analyte.method)
    if any(one.by_mass for one in results):
        notes.append("given by mass")
    if any(one.confirmed for one in results):
        notes.append("outside its window, confirmed")
    if limit is not None and not censored and level < limit:
        notes.append("below the quantification limit")
    return [*notes, *_replicate_notes(results, level)]


def _replicate_notes(results: Sequence[Result], level: Fraction) -> list[str]:
    if len(results) == 1:
        return []
    below = sum(one.below for one in results)
    levels = [one.level for one in results]
    spread = max(levels) - min(levels)
    notes = [f"mean of {len(results)}"]
    if 0 < below < len(results):
        notes.append(f"{below} of them below a limit, counted as the limit")
    if spread > APART * level:
        share = f"{float(100 * spread / level):.0f} %" if level else "a lot"
        notes.append(f"replicates differ by {share}")
    return notes


def _note_duplicate(group: Sequence[Reading], faults: Faults) -> None:
    first, other = group[0], group[1]
    item = PARAMETERS[first.analyte.parameter]
    advice = "Remove one row, or tell replicates apart in a column Replicate."
    if first.name.text != other.name.text:
        advice = f"Leave one out with  --skip {shown(other.name.text)}"
    faults.add(
        other.name,
        f"{item.name} is there twice: as {shown(first.name.text)} in line "
        f"{first.name.line} and as {shown(other.name.text)} here",
        "each element once, or every element equally often",
        advice,
    )
