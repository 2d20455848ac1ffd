"""What the page is told when something goes wrong."""

import sys

from starlette.requests import ClientDisconnect
from starlette.responses import Response

from harmonise.errors import BrokenPromiseError, HarmoniseError
from harmonise.page.answers import failure
from harmonise.page.fields import MalformedError
from harmonise.page.guard import TooLargeError
from harmonise.page.replies import refused, told
from harmonise.page.workshop import BusyError

_REFUSALS: dict[type[Exception], tuple[int, str]] = {
    ClientDisconnect: (400, "The request broke off."),
    TooLargeError: (413, "This is too large. Take one tune out of it."),
    TimeoutError: (504, "This took too long. Try a shorter tune."),
}
_OURS = "Something went wrong here, and the fault is ours. Try a smaller change."


def refusal_of(error: Exception) -> Response:
    """Return the answer to a request that failed."""
    if isinstance(error, HarmoniseError):
        status = 500 if isinstance(error, BrokenPromiseError) else 422
        return told(failure(str(error), error), status)
    if isinstance(error, MalformedError):
        return refused(400, str(error))
    if isinstance(error, BusyError):
        sentence = f"Busy just now. Ask again in {error.seconds} seconds."
        return refused(429, sentence, error.seconds)
    for kind, (status, sentence) in _REFUSALS.items():
        if isinstance(error, kind):
            return refused(status, sentence)
    sys.stderr.write(f"harmonise page: {error!r}\n")
    return refused(500, _OURS)
