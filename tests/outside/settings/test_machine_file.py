"""What a machine file as a whole must be (hazards H44, H45)."""

import re
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.settings import read_machine
from tests.outside.settings.texts import MACHINE


def findings_of(directory: Path, text: str) -> list[str]:
    """Everything that is wrong with a machine file, one text each."""
    (directory / "slackwater.toml").write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        read_machine(directory)
    return [str(finding) for finding in caught.value.findings]


OPTIONAL = {
    "site",
    "name",
    "targets",
    "return_flow",
    "cautions",
    "fully_declared",
    "keep_apart_from",
    "hardware_id",
    "config_id",
    "most_per_dose",
    "most_per_day",
    "most_per_hour",
    "most_per_calibration",
    "most_by_hand",
    "most_per_priming",
    "alkalinity_ceiling",
    "alkalinity",
    "calcium",
    "copper",
    "host",
    "apart_gap",
}
KEY_LINES = [
    number
    for number, line in enumerate(MACHINE.splitlines())
    if re.match(r"[a-z_]+ = ", line)
]


@pytest.mark.parametrize("number", KEY_LINES)
def test_misses_every_key_that_has_no_safe_default(tmp_path: Path, number: int) -> None:
    """Each key taken out alone is missed, or is one whose absence is safe (H45)."""
    lines = MACHINE.splitlines()
    key = lines.pop(number).split(" = ")[0]
    (tmp_path / "slackwater.toml").write_text("\n".join(lines), "utf-8")
    try:
        read_machine(tmp_path)
        missed = False
    except InputError:
        missed = True
    assert missed == (key not in OPTIONAL)


@pytest.mark.parametrize("number", KEY_LINES)
def test_refuses_every_key_written_twice(tmp_path: Path, number: int) -> None:
    """Each line of the file doubled is refused (H44)."""
    lines = MACHINE.splitlines()
    lines.insert(number, lines[number])
    findings = findings_of(tmp_path, "\n".join(lines))
    assert "stands there twice" in findings[0]


def test_tells_everything_at_once(tmp_path: Path) -> None:
    """Slips in five tables are all told by one attempt."""
    text = (
        MACHINE.replace('"300 L"', '"300"')
        .replace('content = "5 L"', "content = 5", 1)
        .replace('channel = "b"', 'channel = "b"\ncanal = "b"')
        .replace('"0.01 dKH"', '"0.01"')
        .replace('"15 min"\n', '"15 ml"\n')
    )
    places = {finding.split(":")[0] for finding in findings_of(tmp_path, text)}
    expected = {
        "slackwater.toml [tank.reef] net_volume",
        "slackwater.toml [reservoir.carbonate] content",
        "slackwater.toml [pump.calcium] canal",
        "slackwater.toml [probe.kh] period",
        "slackwater.toml [timing] apart_gap",
    }
    assert expected <= places


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b'\xef\xbb\xbfsite = "home"\n', "begins with a byte order mark"),
        ('site = "home"\n'.encode("utf-16"), "begins with a byte order mark"),
        (b'a = 1\nname = "Fr\xfchling"\n', "byte 0xfc in line 2 is not UTF-8"),
        (b"\x00", "the text is not TOML"),
        (b"# " + b"a" * 300_000, "the file is larger than 256 KiB"),
        (b"", "there is no tank"),
    ],
)
def test_refuses_bytes_that_are_no_configuration(
    tmp_path: Path, content: bytes, expected: str
) -> None:
    """Encoding, size and emptiness are told in words, never by a traceback."""
    (tmp_path / "slackwater.toml").write_bytes(content)
    with pytest.raises(InputError, match=expected):
        read_machine(tmp_path)


def test_tells_that_the_directory_is_missing(tmp_path: Path) -> None:
    """A wrong --config is told as such."""
    with pytest.raises(InputError, match="there is no directory"):
        read_machine(tmp_path / "nowhere")


def test_tells_that_the_file_is_missing(tmp_path: Path) -> None:
    """An empty directory is not an empty configuration."""
    with pytest.raises(InputError, match="cannot be read"):
        read_machine(tmp_path)


def test_tells_that_the_file_cannot_be_read(tmp_path: Path) -> None:
    """Something else in the file's place is told with the system's own words."""
    (tmp_path / "slackwater.toml").mkdir()
    with pytest.raises(InputError, match="Is a directory"):
        read_machine(tmp_path)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("tank = 5", "[tank]: found 5; expected tables named [tank.some-id]"),
        ("[tank]\nreef = 5", "[tank.reef]: found 5; expected a table of keys"),
        ("[[tank]]\nreef = 5", "[tank]: found a list"),
        ("tank = {}", "[tank]: there is no tank"),
        ("timing = 5", "[timing]: found 5; expected a table of keys"),
        ("broker = []", "[broker]: found an empty list; expected a table of keys"),
    ],
)
def test_refuses_what_should_be_a_table(
    tmp_path: Path, text: str, expected: str
) -> None:
    """A value where a table belongs is told as such."""
    findings = findings_of(tmp_path, text)
    assert [finding for finding in findings if expected in finding]


def test_wants_a_ceiling_where_nothing_is_aimed_at(tmp_path: Path) -> None:
    """A measured tank without a target needs its ceiling written down."""
    text = MACHINE.replace('alkalinity = "8.2 dKH", ', "").replace(
        'alkalinity_ceiling = "9.7 dKH"', ""
    )
    expected = "neither a ceiling nor a target for alkalinity is given"
    assert expected in findings_of(tmp_path, text)[0]


def test_tells_a_bad_estimate_once(tmp_path: Path) -> None:
    """A figure that was refused makes no other figure look wrong."""
    text = MACHINE.replace('estimate = "1.4 dKH/day"', 'estimate = "1.4 dKH"')
    (finding,) = findings_of(tmp_path, text)
    assert "uptake] alkalinity.estimate" in finding
