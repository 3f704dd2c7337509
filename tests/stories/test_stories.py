"""Stories that a reef keeper can read, played through the real loop and judged.

Each is a TOML file beside this one; what breaks a law of the project is found by the
judge of `tests.properties`, whatever the story expects. Hazards: see each file.
"""

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest
import structlog

from tests.stories.happenings import lay_ahead, refuse
from tests.stories.judge import wrong
from tests.stories.stage import Stage
from tests.stories.story import Story, all_stories


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """No word of the daemon's log: the ledger tells the story."""
    before = structlog.get_config()
    silent = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=silent)
    yield
    structlog.configure(**before)


@pytest.mark.parametrize("story", all_stories(), ids=lambda story: str(story.name))
def test_a_story_ends_as_told(story: Story, tmp_path: Path) -> None:
    """What came of it is what the file expects, and no law was broken."""
    if "refused" in story.expect:
        refuse(story.expect["refused"], lambda: Stage(story, tmp_path))
        return
    stage = Stage(story, tmp_path)
    lay_ahead(stage)
    stage.play()
    assert [] == wrong(stage)
    assert story.expect
