"""An assessment, as a proposal reads it.

Floor 3. One subject: what of an assessment counts as evidence for a dose. Laws here:
what the assessment blocks stays blocked; an alarm stops corrections of the whole tank
and every rise of a dose; a value past its shelf life corrects nothing; a level that
keeps its proportion to the salt is judged at a salinity of 35.
"""

from collections.abc import Iterator, Mapping

from slackwater.assessment.records import Assessment, Standing, UptakeFound
from slackwater.facts.proposal import Evidence, Ground
from slackwater.facts.tank import Tank


def evidence_of(assessment: Assessment, tank: Tank) -> Mapping[str, Evidence]:
    """Evidence for every parameter that has a target, a standing or an uptake."""
    names = {*tank.targets, *assessment.standings, *assessment.uptakes}
    return {name: _evidence(name, assessment, tank) for name in sorted(names)}


def _evidence(name: str, assessment: Assessment, tank: Tank) -> Evidence:
    standing = assessment.standings.get(name, _unknown(name))
    uptake = assessment.uptakes.get(name)
    level = standing.level if standing.level_35 is None else standing.level_35
    stopped = assessment.is_blocked(name, "dose")
    return Evidence(
        parameter=name,
        target=tank.targets.get(name),
        level=None if standing.censored else level,
        level_sd=standing.level_sd or 0.0,
        at_35=standing.level_35 is not None,
        uncredited=standing.uncredited,
        fresh=_fresh(standing),
        uptake=None if uptake is None else uptake.per_day,
        uptake_sd=0.0 if uptake is None else uptake.sd_per_day,
        uptake_low=0.0 if uptake is None else uptake.low_per_day,
        enough=_enough(name, assessment, uptake),
        wide=_wide(name, assessment, uptake),
        falls=uptake is not None and uptake.falls,
        net_balance=uptake is not None and uptake.is_net_balance,
        blocked=tuple(dict.fromkeys(_blocked(name, assessment))),
        no_dose=(Ground.BLOCKED,) if stopped else (),
        why=tuple(dict.fromkeys(_why(name, assessment))),
        no_rise=tuple(_no_rise(name, assessment)),
        room=_room(name, assessment),
        at_target=None if uptake is None else uptake.at_target_per_day,
        at_target_sd=0.0 if uptake is None else uptake.at_target_sd,
        return_days=None if uptake is None else uptake.return_days,
        too_high=_too_high(standing, uptake),
    )


def _fresh(standing: Standing) -> bool:
    age, shelf = standing.age_days, standing.shelf_days
    return age is not None and (shelf is None or age <= shelf)


def _too_high(standing: Standing, uptake: UptakeFound | None) -> bool:
    """Whether it is above the level at which dosing ends, and falls by itself.

    Where other tests say less, a test holds doses until the next one, and takes no days
    out of a plan.
    """
    if uptake is None or uptake.return_days is None or not _fresh(standing):
        return False
    if standing.gainsaid_by is not None:
        return False
    level, stop = standing.level, standing.stop_above
    return level is not None and stop is not None and level > stop


def _enough(name: str, assessment: Assessment, uptake: UptakeFound | None) -> bool:
    """Whether an uptake may change a dose."""
    if uptake is None or assessment.is_blocked(name, "change"):
        return False
    return uptake.enough and not uptake.frozen


def _wide(name: str, assessment: Assessment, uptake: UptakeFound | None) -> bool:
    """Whether nothing is missing but a narrow interval."""
    if uptake is None or assessment.is_blocked(name, "change"):
        return False
    return uptake.wide


def _blocked(name: str, assessment: Assessment) -> Iterator[Ground]:
    if assessment.is_blocked(name, "correction", "change") or assessment.stopping:
        yield Ground.BLOCKED


def _no_rise(name: str, assessment: Assessment) -> Iterator[Ground]:
    """What keeps the last dose where it is: a test too high or in doubt, an alarm."""
    for block in assessment.blocks:
        if (block.parameter, block.stops) == (name, "rise"):
            yield block.ground
    if assessment.stopping:
        yield Ground.BLOCKED


def _why(name: str, assessment: Assessment) -> Iterator[str]:
    """What is behind a block, and every alarm that stops corrections of the tank."""
    for block in assessment.blocks:
        if block.parameter == name and block.stops != "rise":
            yield block.text
    for notice in assessment.stopping:
        yield f"{notice.text[:1].upper()}{notice.text[1:].removesuffix('.')}."


def _room(name: str, assessment: Assessment) -> float | None:
    trace = assessment.traces.get(name)
    return None if trace is None else max(trace.act - trace.at_most, 0.0)


def _unknown(name: str) -> Standing:
    return Standing(parameter=name, word="unknown", confidence="none")
