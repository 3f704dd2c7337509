"""A release by a person ends the wait of links that are down (H25)."""

from contextlib import closing
from pathlib import Path

import pytest

from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.observe import Observe
from slackwater.outside.clock import SystemClock
from slackwater.service.loop import take_news
from slackwater.service.memory import Memory
from slackwater.service.wiring import Places, build
from tests.cli.stage import stage_of


def test_a_release_lets_both_links_try_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A hold hurries nothing; its release does, and runs no pump by itself."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    hurried: list[object] = []
    sent: list[object] = []

    def hurry(link: object) -> None:
        hurried.append(link)

    for kind in (Observe, Actuate):
        monkeypatch.setattr(kind, "hurry", hurry)
    monkeypatch.setattr(Actuate, "run", lambda _, command: sent.append(command))
    memory = Memory(stage.state, "live")
    memory.open()
    places = Places(config=stage.config, state=stage.state)
    with closing(build(places, SystemClock(), memory, "live")) as rig:
        assert 0 == stage.run("hold", "--by", "keeper").code
        take_news(rig)
        assert [] == hurried
        assert 0 == stage.run("release", "--all", "--by", "keeper").code
        take_news(rig)
        assert [rig.observe, rig.link] == hurried
    assert [] == sent
