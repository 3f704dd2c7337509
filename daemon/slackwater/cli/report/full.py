"""The tables of a report that a rehearsal without faults and past does not have.

Floor 8. One subject: the second half of the long text. Laws here: tables never cut a
figure off; what was not tried says why.
"""

from collections.abc import Iterator, Mapping

from slackwater.cli.render import section, table
from slackwater.cli.report.made import Report
from slackwater.cli.report.summary import NOTHING
from slackwater.cli.report.words import number, seconds_words
from slackwater.facts.reasons import SENTENCES, Code
from slackwater.rehearsal.faults.case import Case, FaultRun, Tried
from slackwater.water.show import show_volume


def full_text(report: Report, document: Mapping[str, object]) -> str:
    """All sections."""
    return "\n".join(_sections(report, document))


def _sections(report: Report, document: Mapping[str, object]) -> Iterator[str]:
    if report.gaps:
        yield section("Smallest pause between solutions kept apart", _gaps(report))
    yield section("Longest runs", _runs(report))
    yield section("If a layer failed", _worst(document))
    if report.clock_changes:
        yield section("Next clock changes", _clock_changes(report))
    if report.faults is not None:
        yield section("Faults", _faults(report.faults))
        yield section("Not tried", _not_tried(report.faults))
    yield section("This report is void when any of these changes", _void(document))


def _gaps(report: Report) -> str:
    rows = [
        (
            gap.pump,
            gap.other,
            seconds_words(gap.gap_s),
            seconds_words(gap.least_s),
            gap.dose,
        )
        for gap in report.gaps
    ]
    return table(("pump", "after", ">smallest", ">at least", "|by"), rows)


def _runs(report: Report) -> str:
    rows = [
        (run.pump, f"{run.run_ms / 1000:.1f} s", f"{run.cut_ms / 1000:.1f} s", run.dose)
        for run in report.runs
    ]
    return table(("pump", ">longest run", ">node cuts at", "|by"), rows)


LAYER_WORDS = {
    "cap": "every unknown dose was given; the daily cap holds",
    "run": "the output stays on until the node cuts the run",
    "node": "stuck pump; the node's own limit of 24 h holds",
    "bottle": "output welded; the bottle empties",
}


def _worst(document: Mapping[str, object]) -> str:
    cases = document["worst_cases"]
    rows = []
    for case in cases if isinstance(cases, list) else ():
        level = case["alkalinity"]
        verdict = {True: "below the ceiling", False: "ABOVE THE CEILING", None: ""}
        rows.append(
            (
                case["pump"],
                LAYER_WORDS[case["layer"]],
                show_volume(case["volume_ul"]),
                "" if level is None else f"{number(level)} dKH",
                verdict[case["tolerable"]],
            )
        )
    return table(("pump", "if", ">gives", ">alkalinity", "that is"), rows)


def _clock_changes(report: Report) -> str:
    rows = [
        (
            change.zone,
            str(change.day),
            change.way,
            sum(each.dose.local_day == change.day for each in change.record.doses),
            "; ".join(change.record.left_out) or "nothing left out",
        )
        for change in report.clock_changes
    ]
    return table(("zone", "|day", "clocks go", ">doses", "left out"), rows)


def _faults(run: FaultRun) -> str:
    cases = {case.id: case for case in run.cases}
    rows = [_fault(cases[one.case], one) for one in run.tried]
    heads = (
        "fault",
        ">given",
        ">missed",
        ">held",
        ">most in 24 h",
        ">safe after",
        "reason",
        "and",
    )
    return table(heads, rows)


def _fault(case: Case, tried: Tried) -> tuple[str, ...]:
    highest = tried.highest
    safe = tried.safe_after_s
    return (
        case.title,
        str(tried.given),
        str(tried.missed + tried.undecided),
        str(tried.held),
        f"{show_volume(highest.charged_ul)} of {show_volume(highest.cap_ul)}",
        "not in 26 h" if safe is None else seconds_words(safe),
        reason_words(tried.reasons),
        "; ".join((*tried.carried, *tried.over_caps)) or NOTHING,
    )


def reason_words(reasons: tuple[Code, ...]) -> str:
    """The first reason in its own sentence, or that none was needed."""
    return SENTENCES[reasons[0]] if reasons else "No reason was needed."


def _not_tried(run: FaultRun) -> str:
    titles = {case.id: case.title for case in run.cases}
    told = [f"{titles[one.case]}: {one.why}" for one in run.not_tried]
    return "\n".join(told) or "Everything was tried."


def _void(document: Mapping[str, object]) -> str:
    parts = document["void_if_changed"]
    rows = (
        [(one["part"], one["is"]) for one in parts] if isinstance(parts, list) else []
    )
    return table(("part", "is"), rows)
