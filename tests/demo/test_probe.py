"""The invented probe: noise, freezing and the form of its readings."""

from datetime import UTC, datetime, timedelta, timezone

from demo.reef.probe import Probe, rfc3339

AT = datetime(2026, 5, 3, 14, 0, tzinfo=UTC)


def test_without_noise_it_shows_the_truth_in_hundredths() -> None:
    """The contract's example, field by field."""
    assert Probe(0.0, "1").read(8.1234, AT, frozen=False) == {
        "parameter": "alkalinity",
        "value": 8.12,
        "unit": "dKH",
        "at": "2026-05-03T14:00:00.000Z",
    }


def test_the_seed_decides_the_noise() -> None:
    """Equal seeds agree, other seeds do not."""

    def values(seed: str) -> list[object]:
        probe = Probe(0.1, seed)
        return [probe.read(8.0, AT, frozen=False)["value"] for _ in range(20)]

    assert values("1 alk") == values("1 alk")
    assert values("1 alk") != values("2 alk")


def test_a_probe_frozen_from_the_start_has_a_value() -> None:
    """Its first reading is what it repeats, whatever the water does."""
    probe = Probe(0.1, "1")
    first = probe.read(8.0, AT, frozen=True)["value"]
    assert probe.read(12.0, AT, frozen=True)["value"] == first


def test_a_reading_is_never_negative() -> None:
    """Noise around nothing is cut off at nothing."""
    probe = Probe(1.0, "1")
    values = [probe.read(0.0, AT, frozen=False)["value"] for _ in range(50)]
    assert min(float(str(value)) for value in values) == 0.0


def test_times_travel_in_utc() -> None:
    """RFC 3339, section 5.8, first example: 23:20:50.52Z (from memory)."""
    elsewhere = datetime(1985, 4, 13, 1, 20, 50, 520_000, timezone(timedelta(hours=2)))
    assert rfc3339(elsewhere) == "1985-04-12T23:20:50.520Z"
