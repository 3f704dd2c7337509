"""Topic names refuse to exist when malformed."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import InputError
from slackwater.outside.wire import Kind, Root, Topic, parse_topic, topic_filter
from tests.outside.samples import ROOT

# Written out by hand from the contract's table of topics.
SPELLED = {
    "slackwater/1/reef/node/left/command": (Kind.COMMAND, "left", ""),
    "slackwater/1/reef/node/left/beat": (Kind.BEAT, "left", ""),
    "slackwater/1/reef/node/left/result": (Kind.RESULT, "left", ""),
    "slackwater/1/reef/node/left/hold": (Kind.HOLD, "left", ""),
    "slackwater/1/reef/tank/display/reading/alk-1": (
        Kind.READING,
        "display",
        "alk-1",
    ),
    "slackwater/1/reef/tank/display/input/leak": (Kind.INPUT, "display", "leak"),
    "slackwater/1/reef/tank/display/request": (Kind.REQUEST, "display", ""),
    "slackwater/1/reef/tank/display/state": (Kind.TANK_STATE, "display", ""),
    "slackwater/1/reef/tank/display/event": (Kind.EVENT, "display", ""),
    "slackwater/1/reef/daemon/state": (Kind.DAEMON_STATE, "", ""),
    "slackwater/1/reef/daemon/alarm/node-absent/left": (
        Kind.ALARM,
        "node-absent",
        "left",
    ),
    "slackwater/1/reef/daemon/echo": (Kind.ECHO, "", ""),
}

HOSTILE = [
    "",
    "+",
    "#",
    "$SYS",
    "a/b",
    "a\x00",
    "a\n",
    "A",
    "ä",
    "٣",
    "a b",
    "a_b",
    "x" * 33,
]


@pytest.mark.parametrize(("text", "parts"), SPELLED.items())
def test_topics_are_spelled_as_the_contract_says(
    text: str, parts: tuple[Kind, str, str]
) -> None:
    """Each kind has one spelling, and reading it gives the same topic back."""
    kind, owner, item = parts
    topic = Topic(root=ROOT, kind=kind, owner=owner, item=item)
    assert (text, topic) == (str(topic), parse_topic(text, ROOT))


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("place", ["site", "owner", "item"])
def test_hostile_names_make_no_topic(name: str, place: str) -> None:
    """Wildcards, `$`, separators and control characters are refused (H61)."""
    parts = {"site": "reef", "owner": "display", "item": "alk-1", place: name}
    with pytest.raises(InputError) as caught:
        Topic(
            root=Root(site=parts["site"]),
            kind=Kind.READING,
            owner=parts["owner"],
            item=parts["item"],
        )
    assert "1 to 32 characters of a-z, 0-9 and -" == caught.value.findings[0].expected


@pytest.mark.parametrize(
    "prefix",
    ["", "/a", "a/", "a//b", "+/1", "#", "$share/a", "a\n", "A/1", "a/b/c/d/e"],
)
def test_hostile_prefixes_make_no_root(prefix: str) -> None:
    """A prefix is one to four plain words."""
    with pytest.raises(InputError):
        Root(site="reef", prefix=prefix)


def test_part_without_a_place_is_refused() -> None:
    """A beat belongs to no probe."""
    with pytest.raises(InputError):
        Topic(root=ROOT, kind=Kind.BEAT, owner="left", item="alk-1")


@given(st.text(max_size=40))
def test_any_text_is_a_name_or_refused(name: str) -> None:
    """A topic exists exactly for the names the contract allows."""
    allowed = re.fullmatch("[abcdefghijklmnopqrstuvwxyz0123456789-]{1,32}", name)
    try:
        made = str(Topic(root=ROOT, kind=Kind.BEAT, owner=name))
    except InputError:
        made = ""
    assert (f"slackwater/1/reef/node/{name}/beat" if allowed else "") == made


@given(st.text(max_size=60))
def test_foreign_topics_are_none(tail: str) -> None:
    """Whatever is read as a topic is spelled exactly like what was read."""
    text = f"slackwater/1/reef/{tail}"
    topic = parse_topic(text, ROOT)
    assert topic is None or text == str(topic)


@pytest.mark.parametrize(
    "text",
    [
        "slackwater/1/other/node/left/beat",
        "slackwater/1/reefs/node/left/beat",
        "slackwater/1/reef/node/left/beat/",
        "slackwater/1/reef/node//beat",
        "slackwater/1/reef/node/left/state",
        "slackwater/1/reef/node/+/beat",
        "",
    ],
)
def test_other_peoples_topics_are_none(text: str) -> None:
    """Another site, a longer path or an unknown word is not ours."""
    assert parse_topic(text, ROOT) is None


def test_filter_catches_all_owners_of_a_kind() -> None:
    """A subscription names the kind and leaves the owner open."""
    assert "slackwater/1/reef/tank/+/reading/+" == topic_filter(ROOT, Kind.READING)
