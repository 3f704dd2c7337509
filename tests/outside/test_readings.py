"""Readings are converted, dated and doubted."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from slackwater.facts.messages import (
    Reading,
    SpoiledReading,
)
from slackwater.outside.wire import (
    Decoder,
)
from tests.outside.samples import (
    AT,
    DKH_TO_MEQ_PER_L,
    PROBE,
    READING,
    READING_AT,
    ROOT,
    VIEW,
    changed,
    decode,
    heard,
)


def test_reading_of_the_contract_becomes_canonical() -> None:
    """8.12 dKH times 0.35665 is 2.896 meq/L."""
    reading = decode(READING_AT, READING)
    assert isinstance(reading, Reading)
    assert pytest.approx(2.896, abs=0.0005) == reading.value
    assert ("display", "alk-1", "alkalinity", AT) == (
        reading.tank,
        reading.probe,
        reading.parameter,
        reading.at,
    )


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"unit": "ppm"}, "unit changed"),
        ({"unit": "dkh"}, "unit changed"),
        ({"unit": "meq/L", "value": 2.9}, "unit changed"),
        ({"parameter": "calcium"}, "parameter changed"),
        ({"value": 145}, "outside the plausible window"),
        ({"value": 2.9 * DKH_TO_MEQ_PER_L}, "outside the plausible window"),
        ({"value": -8}, "outside the plausible window"),
        ({"value": 1e308}, "outside the plausible window"),
        ({"at": "2026-05-03T14:01:01Z"}, "dated in the future"),
        ({"at": "2026-05-03T14:00:00"}, "form at: value_error"),
        ({"at": "2026-05-03"}, "form at: value_error"),
        ({"at": "2026-02-30T14:00:00Z"}, "form at: value_error"),
        ({"at": "9999-12-31T23:59:59-23:00"}, "form at: value_error"),
        ({"at": 1777816800}, "form at: value_error"),
        ({"value": "8.12"}, "form value: float_type"),
        ({"value": True}, "form value: float_type"),
        ({"value": None}, "form value: float_type"),
        ({"unit": ...}, "form unit: missing"),
    ],
)
def test_wrong_reading_names_its_probe(fields: dict[str, object], why: str) -> None:
    """Unit, window, time and form are checked; the probe counts as faulty (H53)."""
    decoded = decode(READING_AT, changed(READING, **fields))
    assert SpoiledReading(tank="display", probe="alk-1", why=why) == decoded


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        ("2026-05-03T14:01:00Z", datetime(2026, 5, 3, 14, 1, tzinfo=UTC)),
        ("2026-05-03T15:30:00+02:00", datetime(2026, 5, 3, 13, 30, tzinfo=UTC)),
        # RFC 3339, section 5.8, second example.
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
        (
            "1985-04-12T23:20:50.52Z",
            datetime(1985, 4, 12, 23, 20, 50, 520000, tzinfo=UTC),
        ),
    ],
)
def test_times_are_read_as_rfc_3339(at: str, expected: datetime) -> None:
    """Offsets and fractions come out in UTC; one minute ahead is still allowed."""
    reading = decode(READING_AT, changed(READING, at=at))
    assert isinstance(reading, Reading)
    assert expected == reading.at


def series(*values: float, probe_resolution: float = 0.01) -> list[bool]:
    """Whether one decoder accepts each value, dKH, in turn."""
    probe = replace(PROBE, resolution=probe_resolution, low=0.0)
    view = replace(VIEW, probes={probe.id: probe})
    decoder = Decoder(root=ROOT, view=view)
    return [
        isinstance(
            decoder.decode(heard(READING_AT, changed(READING, value=value))), Reading
        )
        for value in values
    ]


@pytest.mark.parametrize(
    ("values", "accepted"),
    [
        ((8.0, 12.0), [True, True]),
        ((8.0, 12.1), [True, False]),
        ((8.0, 5.4), [True, True]),
        ((8.0, 5.3), [True, False]),
        # dKH read as meq/L for ever: a lasting change of scale stays out.
        ((8.0, 2.86, 2.86, 2.86), [True, False, False, False]),
        # One spike that was let in does not lock the true value out.
        ((8.0, 11.9, 7.9, 8.0), [True, True, True, True]),
        ((0.0, 8.0), [True, False]),
    ],
)
def test_leap_by_half_is_refused(
    values: tuple[float, ...], accepted: list[bool]
) -> None:
    """More than 1.5 times the last reading is no water but another scale (H53)."""
    assert accepted == series(*values)


def test_step_of_one_resolution_is_no_leap() -> None:
    """Near zero the smallest step is a large ratio and still a reading."""
    assert [True, True] == series(0.1, 0.2, probe_resolution=0.1)
