"""What can happen in a story, each under the words that story files use."""

from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial

import pytest

from slackwater.errors import SlackwaterError
from slackwater.facts.events import AnyEvent, HoldReleased
from slackwater.facts.messages import Request, SwitchSeen
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp
from tests.stories.stage import MINUTE_MS, Stage
from tests.stories.story import Table, span_of

Happening = Callable[[Stage, Table], None]


def lay_ahead(stage: Stage) -> None:
    """Put everything that will happen into the world's diary."""
    for told in stage.story.happens:
        rest = dict(told)
        at: datetime = rest.pop("at")
        happening = HAPPENINGS[rest.pop("what")]
        stage.after(stage.moment_ms(at), partial(_happen, stage, happening, rest))


def _happen(stage: Stage, happening: Happening, told: Table) -> None:
    happening(stage, told)
    if told:
        message = f"{stage.story.name}: nobody reads {', '.join(told)}"
        raise ValueError(message)


def _span_ms(told: Table) -> int:
    return round(span_of(told.pop("for")).total_seconds() * 1000)


def the_daemon_ends(stage: Stage, told: Table) -> None:
    """The process is gone at once, for some time."""
    stage.kill(_span_ms(told))


def the_probe_is_silent(stage: Stage, told: Table) -> None:
    """No reading any more, for some time."""
    stage.swim.silent = True
    stage.after(_span_ms(told), partial(_let_speak, stage))


def _let_speak(stage: Stage) -> None:
    stage.swim.silent = False


def the_probe_shows(stage: Stage, told: Table) -> None:
    """Readings of something else than the water, for some time, one at once."""
    stage.shown_dkh = told.pop("dkh")
    stage.reading_at_ms = stage.times.t_ms
    stage.after(_span_ms(told), partial(setattr, stage, "shown_dkh", None))


def somebody_pours(stage: Stage, told: Table) -> None:
    """Alkalinity out of a bottle, by hand, that nobody wrote down."""
    stage.water["reef"].alkalinity_dkh += told.pop("dkh")


def the_hose_gives(stage: Stage, told: Table) -> None:
    """A hose gives more or less than it should, from now on."""
    pump = stage.home.machine.pumps[told.pop("pump")]
    stage.posts[pump.node].factors[pump.channel] = told.pop("percent") / 100


def a_switch_says(stage: Stage, told: Table) -> None:
    """A switch that watches the tank says on or off."""
    seen = SwitchSeen(
        tank="reef",
        switch=told.pop("switch"),
        is_on=told.pop("state") == "on",
        heard_boot_s=stage.times.now().boot_s,
    )
    stage.bus.to_daemon(seen, stage.times.t_ms)


def somebody_asks(stage: Stage, told: Table) -> None:
    """A request from afar, as it comes over the wire."""
    request = Request(
        tank="reef",
        id=f"request-{stage.times.t_ms // MINUTE_MS}",
        act=told.pop("act"),
        minutes=told.pop("minutes", 0),
        dose=told.pop("dose", ""),
    )
    stage.bus.to_daemon(request, stage.times.t_ms)


def the_keeper_releases(stage: Stage, _told: Table) -> None:
    """A person on the machine looks at every hold and ends it."""
    for hold_id in stage.book.folded().holds:
        stage.book.sign(partial(_released, hold_id))


def _released(hold_id: str, _state: State, stamp: Stamp) -> AnyEvent:
    return HoldReleased(**stamp, hold_id=hold_id, by="keeper", why="looked at it")


def the_keeper_approves(stage: Stage, told: Table) -> None:
    """Changed files are checked and approved; they take over as the person wishes.

    Where the story says that they are refused, nothing else may come of it.
    """
    wish, refused = str(told.pop("takes_over")), told.pop("refused", [])
    changes = told.pop("machine", {}), told.pop("plan", {})
    if refused:
        refuse(refused, lambda: stage.files_of(*changes))
    else:
        stage.approve(stage.files_of(*changes), "" if wish == "midnight" else wish)


def refuse(expected: list[str], attempt: Callable[[], object]) -> None:
    """Try something that must be refused with words in which all of these stand."""
    with pytest.raises(SlackwaterError) as caught:
        attempt()
    words = str(caught.value)
    assert [] == [word for word in expected if word not in words], words


HAPPENINGS: Mapping[str, Happening] = {
    "the daemon ends": the_daemon_ends,
    "the probe is silent": the_probe_is_silent,
    "the probe shows": the_probe_shows,
    "somebody pours": somebody_pours,
    "the hose gives": the_hose_gives,
    "a switch says": a_switch_says,
    "somebody asks from afar": somebody_asks,
    "the keeper releases every hold": the_keeper_releases,
    "the keeper approves": the_keeper_approves,
}
