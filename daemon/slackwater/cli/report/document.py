"""The whole report as one document.

Floor 8. One subject: the machine form of every figure. Laws here: each figure of text
and page stands in it; volumes are whole microlitres, effects decimal strings, levels
numbers in the unit beside them; `report.schema` says what may be relied on.
"""

from collections.abc import Mapping
from zoneinfo import ZoneInfo

from slackwater import __version__
from slackwater.cli.amounts import effect_decimal
from slackwater.cli.rehearsal_document import rehearsal_document
from slackwater.cli.report.doses import dose_rows
from slackwater.cli.report.made import ClockChange, Report
from slackwater.cli.report.past import Interval
from slackwater.cli.report.summary import summary
from slackwater.cli.report.words import in_unit, unit_of
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.planning.changes import Change
from slackwater.planning.daily import hours_to_ceiling
from slackwater.rehearsal.faults.case import GROUPS, Case, FaultRun, Tried
from slackwater.rehearsal.forecast import FACTORS, Band, Forecast
from slackwater.rehearsal.reserves import Bottle
from slackwater.rehearsal.trace import Traced
from slackwater.rehearsal.worst_case import Worst
from slackwater.service.standing import zone_hashes

LEVEL_DIGITS = 4
TENTHS = 1


def report_document(report: Report) -> dict[str, object]:
    """Everything a report holds."""
    machine = report.machine
    return {
        **rehearsal_document(report.done),
        "plan": report.plan.name,
        "visit": None if report.visit is None else report.visit.isoformat(),
        "visit_is": report.visit_is,
        "summary": [
            {
                "key": item.key,
                "title": item.title,
                "lines": list(item.lines),
                "grave": item.grave,
            }
            for item in summary(report)
        ],
        "doses": dose_rows(report),
        "old_doser": [
            {"line": name, "volume_ul": ul or None}
            for name, ul in report.still_old.items()
        ],
        "changes": [_change(change, machine) for change in report.changes],
        "touched": {pump: list(why) for pump, why in report.touched.items()},
        "tanks": [_tank(report, each) for each in report.forecasts],
        "bottles": [_bottle(one) for one in report.bottles],
        "gaps": [
            {
                "pump": gap.pump,
                "other": gap.other,
                "smallest_s": gap.gap_s,
                "least_s": gap.least_s,
                "dose": gap.dose,
            }
            for gap in report.gaps
        ],
        "runs": [
            {
                "pump": run.pump,
                "run_ms": run.run_ms,
                "cut_ms": run.cut_ms,
                "dose": run.dose,
            }
            for run in report.runs
        ],
        "worst_cases": [_worst(one, machine) for one in report.worst],
        "clock_changes": [_clock_change(one) for one in report.clock_changes],
        "trace": [_traced(one, machine) for one in report.trace],
        "faults": None if report.faults is None else _faults(report.faults),
        "interlocks": None if report.faults is None else _interlocks(report.faults),
        "void_if_changed": _assumptions(report),
    }


def _change(change: Change, machine: Machine) -> dict[str, object]:
    tank = machine.tanks.get(change.tank)
    document: dict[str, object] = {
        "tank": change.tank,
        "pump": change.pump,
        "parameter": change.parameter,
        "ratio": None if change.ratio is None else f"{float(change.ratio):.2f}",
    }
    if change.pump or tank is None:
        return {**document, "before_ul": change.before, "after_ul": change.after}
    return {
        **document,
        "unit": unit_of(change.parameter),
        "before": effect_decimal(change.parameter, change.before, tank),
        "after": effect_decimal(change.parameter, change.after, tank),
    }


def _tank(report: Report, each: Forecast) -> dict[str, object]:
    machine = report.machine
    hours, guard = report.hours[each.tank], machine.guards.get(each.tank)
    salt = next(one for one in report.salts if one.tank == each.tank)
    rises = None
    if any(line.tank == each.tank for line in report.plan.lines):
        rises = hours_to_ceiling(report.plan, machine, each.tank)
    return {
        "tank": each.tank,
        "zone": machine.tanks[each.tank].zone,
        "uptake": {
            name: _interval(name, one)
            for name, one in sorted(report.uptakes[each.tank].items())
        },
        "floor": None if guard is None else _level("alkalinity", guard.floor),
        "ceiling": None if guard is None else _level("alkalinity", guard.ceiling),
        "hours_to_floor": _tenths(hours.steady),
        "hours_to_floor_falling": _tenths(hours.falling),
        "hours_to_ceiling": _tenths(rises),
        "salt_mg_per_l": round(salt.mg_per_l, 1),
        "salinity_rise": round(salt.salinity, 3),
        "salt_known": salt.known,
        "times": [timestamp(utc) for utc in each.times],
        "forecast": [_band(band) for band in each.bands],
        "crossings": [
            {"bound": one.bound, "uptake": one.uptake, "at": timestamp(one.at)}
            for one in each.crossings
        ],
    }


def _interval(parameter: str, uptake: Interval) -> dict[str, object]:
    return {
        "low": _level(parameter, uptake.low),
        "estimate": _level(parameter, uptake.estimate),
        "high": None if uptake.high is None else _level(parameter, uptake.high),
        "unit": unit_of(parameter),
        "source": uptake.source,
    }


def _band(band: Band) -> dict[str, object]:
    levels = {
        name: [_level(band.parameter, level) for level in getattr(band, name)]
        for name in FACTORS
    }
    return {"parameter": band.parameter, "unit": unit_of(band.parameter), **levels}


def _level(parameter: str, level: float) -> float:
    return round(in_unit(parameter, level), LEVEL_DIGITS)


def _tenths(number: float | None) -> float | None:
    return None if number is None else round(number, TENTHS)


def _bottle(bottle: Bottle) -> dict[str, object]:
    empty = bottle.empty_on
    return {
        "reservoir": bottle.id,
        "content_ul": bottle.content_ul,
        "per_day_ul": bottle.per_day_ul,
        "lasts_days": bottle.lasts_days,
        "lasts_days_low": _tenths(bottle.low_days),
        "lasts_days_high": _tenths(bottle.high_days),
        "empty_on": None if empty is None else empty.isoformat(),
        "within": bottle.within,
        "short_ul": bottle.short_ul,
    }


def _worst(worst: Worst, machine: Machine) -> dict[str, object]:
    tank = machine.tanks[worst.tank]
    return {
        "pump": worst.pump,
        "tank": worst.tank,
        "layer": worst.layer,
        "volume_ul": worst.volume_ul,
        "adds": [
            {
                "parameter": name,
                "added": effect_decimal(name, amount, tank),
                "unit": unit_of(name),
            }
            for name, amount in worst.effects.items()
        ],
        "alkalinity": None
        if worst.level is None
        else _level("alkalinity", worst.level),
        "tolerable": worst.tolerable,
    }


def _clock_change(change: ClockChange) -> dict[str, object]:
    doses = change.record.doses
    on_day = [each for each in doses if each.dose.local_day == change.day]
    return {
        "zone": change.zone,
        "way": change.way,
        "date": change.day.isoformat(),
        "doses": len(on_day),
        "missed": sum(each.verdict == "missed" for each in on_day),
        "volume_ul": sum(each.volume_ul for each in on_day),
        "left_out": list(change.record.left_out),
    }


def _traced(traced: Traced, machine: Machine) -> dict[str, object]:
    zone = ZoneInfo(machine.tanks[machine.pumps[traced.pump].tank].zone)
    return {
        "at": timestamp(traced.at),
        "local": f"{traced.at.astimezone(zone):%Y-%m-%d %H:%M}",
        "dose": traced.dose,
        "pump": traced.pump,
        "volume_ul": traced.volume_ul,
        "charged_24_h_ul": traced.charged_24_h_ul,
        "charged_day_ul": traced.charged_day_ul,
        "cap_day_ul": traced.cap_day_ul,
        "beat_age_s": traced.beat_age_s,
        "budget_ul": traced.budget_ul,
        "reading_age_s": traced.reading_age_s,
        "reasons": [str(code) for code in traced.reasons],
    }


def _faults(run: FaultRun) -> list[dict[str, object]]:
    tried = {one.case: one for one in run.tried}
    why = {one.case: one.why for one in run.not_tried}
    return [
        _fault(case, tried.get(case.id), why.get(case.id, "")) for case in run.cases
    ]


def _fault(case: Case, tried: Tried | None, why: str) -> dict[str, object]:
    document: dict[str, object] = {
        "case": case.id,
        "group": GROUPS[case.group],
        "hazards": list(case.hazards),
        "title": case.title,
        "not_tried": why,
    }
    if tried is None:
        return document
    return {
        **document,
        "given": tried.given,
        "shortened": tried.shortened,
        "missed": tried.missed,
        "held": tried.held,
        "undecided": tried.undecided,
        "highest_pump": tried.highest.pump,
        "highest_24_h_ul": tried.highest.charged_ul,
        "flowed_24_h_ul": tried.highest.flowed_ul,
        "cap_24_h_ul": tried.highest.cap_ul,
        "safe_after_s": tried.safe_after_s,
        "reasons": [str(code) for code in tried.reasons],
        "nothing_was_carried_over": not tried.carried,
        "carried": list(tried.carried),
        "over_caps": list(tried.over_caps),
        "sound": tried.is_sound,
    }


def _interlocks(run: FaultRun) -> list[dict[str, object]]:
    """What each pump would do for each input and state that a fault forced."""
    tried = {one.case: one for one in run.tried}
    why = {one.case: one.why for one in run.not_tried}
    return [
        {
            "input": case.about[0],
            "state": case.about[1],
            "case": case.id,
            "answers": dict(tried[case.id].answers) if case.id in tried else {},
            "forced": "in this rehearsal" if case.id in tried else "",
            "not_tried": why.get(case.id, ""),
        }
        for case in run.cases
        if case.about[0]
    ]


def _assumptions(report: Report) -> list[dict[str, str]]:
    """What this report stands on: a change of any of it makes it void."""
    past, machine = report.past, report.machine
    before = past.before
    return [
        {
            "part": "plan, machine, caps, pumps and dose table (the digest)",
            "is": report.done.digest or "none, because lines are at fault",
        },
        *(
            {"part": f"zone data of {zone}", "is": sha256}
            for zone, sha256 in zone_hashes(machine).items()
        ),
        {
            "part": "calibrations",
            "is": _calibrations(past.calibrated) or "the rates of the file",
        },
        {"part": "ledger", "is": past.ledger_id or "none was read"},
        {
            "part": "plan compared with",
            "is": f"approval {before.approval.serial}" if before else "none",
        },
        {"part": "software", "is": f"slackwater {__version__}"},
    ]


def _calibrations(calibrated: Mapping[str, object]) -> str:
    return ", ".join(f"{pump} {at:%Y-%m-%d}" for pump, at in calibrated.items())
