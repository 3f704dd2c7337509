"""What was asked from afar, remembered until no copy of it can still be under way.

Floor 2. One subject: requests that were heard. Law here: the same request counts once,
and one tank's request is not another's, whatever their sender calls them.
"""

from datetime import timedelta

from slackwater.facts.events import RequestHeard
from slackwater.facts.messages import Request
from slackwater.facts.state import State

REQUESTS_KEPT = timedelta(days=2)


def fold_request_heard(state: State, event: RequestHeard) -> None:
    """Remember it for `REQUESTS_KEPT`; a granted `skip` names its dose."""
    oldest = event.at - REQUESTS_KEPT
    kept = {key: at for key, at in state.heard_requests.items() if at >= oldest}
    kept[_key(event.tank, event.request)] = event.at
    state.heard_requests = kept
    if event.granted and event.act == "skip":
        state.skipped[event.dose] = event.request


def was_heard(state: State, request: Request) -> bool:
    """Whether this tank was asked under this name before; never without a name."""
    if not request.id:
        return False
    return _key(request.tank, request.id) in state.heard_requests


def _key(tank: str, request: str) -> str:
    # Neither has a stroke in it.
    return f"{tank}/{request}"
