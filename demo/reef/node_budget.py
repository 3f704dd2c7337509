"""What a pump head may still deliver today, in the node's own uptime.

Outside every floor; never imports Slackwater. One subject: 25 slots of one hour, the
running one and the 24 before it. Laws here: room is the day limit less their sum; at
power-up the past counts as used, so a reboot can only lose room; nothing is ever given
back.
"""

HOUR_MS = 3_600_000
PAST_HOURS = 24


class Budget:
    """The room of one pump head; whole microlitres."""

    def __init__(self, day_limit_ul: int) -> None:
        self.day_limit_ul = day_limit_ul
        # Rounded up, so that 24 of them never leave a drop of room at power-up.
        share_ul = -(-day_limit_ul // PAST_HOURS)
        self._slots_ul = [share_ul] * PAST_HOURS + [0]
        self._hour = 0

    def room_ul(self, up_ms: int) -> int:
        """Gives what may still be delivered at this uptime, never below zero."""
        self._move_to(up_ms)
        return max(0, self.day_limit_ul - sum(self._slots_ul))

    def take(self, volume_ul: int, up_ms: int) -> None:
        """Counts a volume in the running hour."""
        self._move_to(up_ms)
        self._slots_ul[-1] += volume_ul

    def _move_to(self, up_ms: int) -> None:
        hour = up_ms // HOUR_MS
        for _ in range(min(hour - self._hour, PAST_HOURS + 1)):
            self._slots_ul.pop(0)
            self._slots_ul.append(0)
        self._hour = max(self._hour, hour)
