"""An alkalinity probe in the invented water.

Outside every floor; never imports Slackwater. One subject: true value to reading. Laws
here: pure but for its own seeded chance; a frozen probe repeats its last value with a
fresh time, which is how such a probe fails.
"""

from datetime import UTC, datetime
from random import Random

# What the display of such a probe resolves (invented).
_DECIMALS = 2


class Probe:
    """One probe; equal seeds give equal noise."""

    def __init__(self, noise_dkh: float, seed: str) -> None:
        self._noise_dkh = noise_dkh
        self._chance = Random(seed)  # noqa: S311  # noise, not a secret
        self._last_dkh: float | None = None

    def read(
        self, true_dkh: float, utc: datetime, *, frozen: bool
    ) -> dict[str, object]:
        """One reading as it travels."""
        if not frozen or self._last_dkh is None:
            noisy_dkh = true_dkh + self._chance.gauss(0.0, self._noise_dkh)
            self._last_dkh = round(max(0.0, noisy_dkh), _DECIMALS)
        return {
            "parameter": "alkalinity",
            "value": self._last_dkh,
            "unit": "dKH",
            "at": rfc3339(utc),
        }


def rfc3339(utc: datetime) -> str:
    """A time in UTC to the millisecond.

    Source: RFC 3339, section 5.6.
    """
    return utc.astimezone(UTC).isoformat(timespec="milliseconds")[:-6] + "Z"
