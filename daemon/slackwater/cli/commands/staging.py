"""`enable`, `disable`, `withdraw`: which stage the machine is in.

Floor 8. One subject: letting pumps run, and taking that back. Laws here: every missing
condition is named at once; going back needs no condition; a withdrawn serial stays
dead.
"""

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import click

from slackwater.cli.described import planned_by_files
from slackwater.cli.document import Answer
from slackwater.cli.drop_in import (
    NAME,
    RELOAD,
    drop_in_text,
    remove_drop_in,
    wanted_folder,
    write_drop_in,
)
from slackwater.cli.old_doser import given_by_nobody, old_names
from slackwater.cli.opening import (
    Approved,
    approval_at,
    local_user,
    newest_approval,
    opened,
    write,
)
from slackwater.cli.readiness import missing, new_tubes
from slackwater.cli.render import span
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, kept_text, typed_text
from slackwater.errors import Finding, RefusedError
from slackwater.facts.events import (
    AnyEvent,
    PlanWithdrawn,
    PumpsDisabled,
    PumpsEnabled,
)
from slackwater.facts.plan import Plan
from slackwater.facts.stages import HalfBegan
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.pump.outcome import Stamp

_BY = click.option(
    "--by", metavar="NAME", help="Who says so.  [default: the local user]"
)
_WHY = click.option(
    "--why", default="", metavar="TEXT", help="A reason for the record."
)

_DROP_IN = click.option(
    "--drop-in",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder of the unit's drop-ins.  [default: that of the unit, where the usual "
    "configuration directory is used]",
)


@verb(
    "enable",
    epilog="From here on liquid moves. Outlets above the water line, eye protection at "
    "hand, children away. `slackwater hold` stops everything at once.",
)
@click.option(
    "--old-is-off",
    is_flag=True,
    help="What an old doser gave once is still switched off.",
)
@_BY
@_DROP_IN
def enable(
    shell: Shell, *, old_is_off: bool, by: str | None, drop_in: Path | None
) -> Answer:
    """Let the daemon command pumps.

    Refused with everything that is missing: an approval in force, proven time in
    shadow, quiet hours, and a calibration with its proofs for each pump. Where the
    broker asks commands for a password it also writes the drop-in of the unit that
    hands it to the service: that needs root.
    """
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)
    folder = wanted_folder(shell, drop_in)
    planned = planned_by_files(shell)
    if not old_is_off:
        _ask_old(shell, planned)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        is_live = state.stage == "live"
        found = [] if is_live else missing(state, stamp, shell.state, planned)
        if found:
            raise RefusedError(found)
        # Before the entry: a daemon that is to command finds the word for it.
        text = None if folder is None else drop_in_text(shell.config)
        if folder is not None and text is not None:
            handed.append(write_drop_in(folder, text))
        running = approval_at(state, stamp["at"])
        return () if is_live else enabling_entries(running, who, stamp)

    handed: list[Path] = []
    state, events = write(shell.state, decide)
    return _enabled(state, events, handed)


def _ask_old(shell: Shell, planned: tuple[Plan, Machine] | None) -> None:
    """Ask for the lines that nobody gives: who needed them may have gone back.

    Where enabling is refused anyhow nothing is asked.
    Raises: RefusedError where the old doser gives them again.
    """
    with opened(shell.state) as found:
        state, stamp = found.state, found.stamp
        nobody = given_by_nobody(state, approval_at(state, stamp["at"]))
        if not nobody or missing(state, stamp, shell.state, planned):
            return
    names = ", ".join(nobody)
    question = f"Since pumps were disabled: is the old doser's {names} still off?"
    if click.confirm(question, err=True):
        return
    raise RefusedError(
        Finding(
            what=f"the old doser gives {names} again",
            where="enable",
            expected="each line given by one of the two, or it comes twice",
            do=f"Run `slackwater take-over {nobody[0]} --back` for each that it gives, "
            "then enable.",
        )
    )


def _enabled(state: State, events: Sequence[AnyEvent], handed: list[Path]) -> Answer:
    text = "Pumps are enabled." if events else "Pumps were enabled already."
    half_s = sum(one.lasts_s for one in events if isinstance(one, HalfBegan))
    if half_s:
        text += f" Doses are halved for {span(timedelta(seconds=half_s))}."
    if state.left_to_old:
        left = ", ".join(state.left_to_old)
        text += f" The old doser still gives {left}: `slackwater take-over`."
    fields = {
        "stage": "live",
        "changed": bool(events),
        "half_s": half_s,
        "left_to_old": state.left_to_old,
        "drop_in": str(handed[-1]) if handed else None,
    }
    newest = newest_approval(state)
    warnings = [] if newest is None else new_tubes(state, newest.plan)
    fields["warnings"] = warnings
    text += "".join(f"\nWarning: {one}" for one in warnings)
    if handed:
        text += f"\nWrote {handed[-1]}; it counts after `{RELOAD}`."
    return Answer(fields=fields, text=text)


def enabling_entries(
    running: Approved | None, who: str, stamp: Stamp
) -> list[AnyEvent]:
    """Pumps may run from here on, at first with half doses where that was asked for."""
    serial = running.approval.serial if running else 0
    left = tuple(old_names(running)) if running else ()
    enabled: list[AnyEvent] = [
        PumpsEnabled(**stamp, by=who, serial=serial, left_to_old=left)
    ]
    half_s = running.machine.timing.half_stage_s if running else 0.0
    if half_s > 0:
        begun = HalfBegan(
            **stamp,
            scope="all",
            from_at=stamp["at"],
            lasts_s=half_s,
            why="pumps were just enabled",
            by=who,
        )
        enabled.append(begun)
    return enabled


@verb("disable")
@_BY
@_WHY
@_DROP_IN
def disable(shell: Shell, by: str | None, why: str, drop_in: Path | None) -> Answer:
    """Go back to shadow: command no pump.

    A running dose is stopped. Shadow time counts anew before pumps can be enabled. Then
    doses come back slowly, as after any gap, where the whole plan would lift alkalinity
    by more than nine tenths of net_rise in a day, for a tank that got nothing takes up
    less; a plan that gives little comes back whole. Tell what is given by hand
    meanwhile with `slackwater added`. The drop-in that `slackwater enable` wrote is
    taken away.
    """
    who, why = kept_text(by or local_user(), WORD_AT_MOST), kept_text(why)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        if state.stage == "shadow":
            return ()
        return (PumpsDisabled(**stamp, by=who, why=why),)

    state, events = write(shell.state, decide, makes_safer=True)
    text = "Back in shadow." if events else "It was in shadow already."
    nobody = sorted(state.taken_over)
    if nobody:
        text += (
            f" Nobody gives {', '.join(nobody)} now, which an old doser gave once. "
            f"If you switch it on again: `slackwater take-over {nobody[0]} --back`."
        )
    folder = wanted_folder(shell, drop_in)
    removed = False if folder is None else remove_drop_in(folder)
    if removed:
        text += f"\nTook {folder}/{NAME} away; it is gone after `{RELOAD}`."
    elif removed is None:
        text += f"\nRemove {folder}/{NAME} as root, then `{RELOAD}`."
    fields = {
        "stage": "shadow",
        "changed": bool(events),
        "given_by_nobody": nobody,
        "drop_in_removed": removed,
    }
    return Answer(fields=fields, text=text)


@verb("withdraw", epilog="Example: slackwater withdraw 3 --why 'wrong bottle'")
@click.argument("serial", type=click.IntRange(min=1))
@_BY
@_WHY
def withdraw(shell: Shell, serial: int, by: str | None, why: str) -> Answer:
    """End an approval for good.

    It counts at once: a running dose of it is stopped. No plan that it replaced comes
    back; one that was approved after it still takes over when it was to. From afar the
    same is asked for with a request over MQTT.
    """
    who, why = kept_text(by or local_user(), WORD_AT_MOST), kept_text(why)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        standing = [known.approval.serial for known in state.approvals]
        if serial not in standing:
            raise RefusedError(_not_standing(serial, standing))
        return (PlanWithdrawn(**stamp, serial=serial, by=who, why=why),)

    state, _events = write(shell.state, decide, makes_safer=True)
    left = [known.approval.serial for known in state.approvals]
    rest = f"Still standing: {', '.join(map(str, left))}." if left else "None stands."
    return Answer(
        fields={"serial": serial, "standing": left},
        text=f"Approval {serial} is withdrawn. {rest}",
    )


def _not_standing(serial: int, standing: list[int]) -> Finding:
    return Finding(
        what=f"approval {serial} does not stand",
        where="withdraw",
        expected=f"one of {', '.join(map(str, standing))}"
        if standing
        else "an approval that stands; there is none",
        do="Nothing was changed. See `slackwater status`.",
    )
