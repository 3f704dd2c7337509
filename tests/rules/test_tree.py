"""The whole tree keeps the house rules, and each rule sees its breach."""

from pathlib import PurePosixPath

import pytest

from tests.rules import laws, tree

CARD = frozenset(
    {
        "DEVELOPERS.md",
        "LICENSE",
        "README.md",
        "config",
        "daemon",
        "demo",
        "pyproject.toml",
        "systemd",
        "tests",
    }
)
GATE = "daemon/slackwater/gate/caps.py"
RUN = "daemon/slackwater/service/run.py"
WORK = "/" + "work" + "/main"
OPT = "/" + "opt"
HOME = "/" + "home/keeper"
SHARED = "shared" + "/design.md"
LATER = "# TO" + "DO"


@pytest.mark.parametrize("law", laws.LAWS, ids=lambda law: law.__name__)
def test_the_whole_tree_keeps_the_law(law: laws.Law) -> None:
    """Every file that could be committed, whoever wrote it."""
    found = [
        f"{path}:{breach}"
        for path, text in tree.texts().items()
        for breach in law(path, text)
    ]
    assert [] == found


@pytest.mark.parametrize(
    ("law", "path", "text", "breach"),
    [
        (laws.short_file, GATE, "\n" * 401, "401: lines, at most 400"),
        (laws.telling_name, "demo/reef/pump_data.py", "", "1: module named pump_data"),
        (laws.telling_name, GATE, "class PumpManager: ...", "1: PumpManager"),
        (laws.telling_name, GATE, "class Info: ...", "1: Info"),
        (laws.telling_name, GATE, "\ndef _process(): ...", "2: _process"),
        (laws.telling_name, GATE, "async def do(): ...", "1: do"),
        (laws.docstring, GATE, "", "1: module without a docstring"),
        (laws.docstring, GATE, '"""A."""\ndef a(): ...', "2: a without a docstring"),
        (
            laws.docstring,
            GATE,
            '"""A."""\nclass B:\n  """B."""\n  def c(self): ...',
            "4: c without a docstring",
        ),
        (laws.named_floor, GATE, '"""Floor 2. x"""', "1: docstring without 'Floor 3.'"),
        (laws.own_paths, "README.md", f"see {WORK}", f"1: see {WORK}"),
        (laws.own_paths, ".ci/run", f"\n{OPT}/dev/bin", f"2: {OPT}/dev/bin"),
        (laws.own_paths, ".ci/run", f"{HOME}/reef", f"1: {HOME}/reef"),
        (laws.own_paths, GATE, f"# {SHARED}", f"1: # {SHARED}"),
        (laws.numbered_promise, GATE, f"{LATER} later", f"1: {LATER} later"),
        (
            laws.narrow_except,
            GATE,
            "try: ...\nexcept Exception: raise",
            "2: catches everything",
        ),
        (
            laws.narrow_except,
            "demo/reef/link.py",
            "try: ...\nexcept (OSError, Exception): ...",
            "2: catches everything",
        ),
        (laws.narrow_except, GATE, "try: ...\nexcept: ...", "2: catches everything"),
        (
            laws.narrow_except,
            GATE,
            "with contextlib.suppress(Exception): ...",
            "1: suppresses everything",
        ),
        (
            laws.running_test,
            "tests/test_a.py",
            "@pytest.mark.skip\ndef test_a(): ...",
            "1: skip",
        ),
        (laws.run_bit, "README.md", "#!/bin/sh", "1: not executable"),
    ],
)
def test_a_breach_is_seen_where_it_stands(
    law: laws.Law, path: str, text: str, breach: str
) -> None:
    """A planted breach of each law is reported, once, with its line."""
    assert [breach] == list(law(PurePosixPath(path), text))


@pytest.mark.parametrize(
    ("law", "path", "text"),
    [
        (laws.short_file, GATE, "\n" * 400),
        (laws.short_file, ".ci/constraints.txt", "\n" * 5000),
        (laws.telling_name, "demo/reef/pump_database.py", "class Domain: ..."),
        (laws.telling_name, GATE, "def do_handshake(): ..."),
        (laws.docstring, GATE, '"""A."""\ndef _a():\n  def b(): ...'),
        (laws.named_floor, GATE, '"""Floor 3. x"""'),
        (laws.named_floor, "demo/reef/link.py", '"""No floors here."""'),
        (laws.own_paths, "README.md", "/var/lib/slackwater and /usr/sbin/mosquitto"),
        (laws.own_paths, "README.md", "slackwater/1/home/node and /home/x"),
        (laws.own_paths, "README.md", f"{OPT}/slackwater/bin/slackwater"),
        (laws.numbered_promise, GATE, f"{LATER}(#12): later"),
        (laws.numbered_promise, GATE, f'text = "{LATER}"'),
        (laws.narrow_except, GATE, "try: ...\nexcept BaseException:\n  x()\n  raise"),
        (laws.narrow_except, RUN, "try: ...\nexcept Exception: ..."),
        (laws.narrow_except, GATE, "with contextlib.suppress(OSError): ..."),
        (laws.running_test, GATE, "pytest.skip('')"),
        (laws.run_bit, "tests/run", "#!/bin/sh"),
    ],
)
def test_what_only_looks_like_a_breach_passes(
    law: laws.Law, path: str, text: str
) -> None:
    """The laws are about what they say, not about what is spelled like it."""
    assert [] == list(law(PurePosixPath(path), text))


def test_the_visible_top_level_is_the_card() -> None:
    """Nine names and no tenth; dot files stand beside it."""
    visible = {path.parts[0] for path in tree.files()}
    visible = {name for name in visible if not name.startswith(".")}
    assert visible == CARD


def test_every_pure_room_is_named_in_the_pure_contract() -> None:
    """Floors 0 to 5 and the rehearsal; a new room on them must be named too."""
    contracts = tree.settings()["tool"]["importlinter"]["contracts"]
    pure = next(c["source_modules"] for c in contracts if c["id"] == "pure")
    named = {module.split(".")[1] for module in pure}
    floors = tree.floors()
    expected = {room for room, floor in floors.items() if floor <= floors["ports"]}
    assert expected | {"rehearsal"} == named
