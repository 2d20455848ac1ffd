"""What becomes of any input at any door: a page that keeps its promise, or a sentence.

Nothing else is allowed, and nobody waits for ever. The page is judged by
`oracles.promises`, which has nothing of the engine; the sentence by what a user needs
of it.
"""

import asyncio
import json
import re
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, partial
from types import FrameType
from typing import Any
from zlib import crc32

from makers.inputs import Input
from makers.outside_works import PAGES
from makers.visitor import DOOR, Visitor

from harmonise.arranging.job import arrange
from harmonise.errors import BrokenPromiseError, HarmoniseError
from harmonise.marking.mark import mark
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import Task, parse_points
from harmonise.marking.tasks import task_of_tune
from harmonise.notation.abc.abc_writer import format_abc
from harmonise.notation.formats import parse_tunes
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.spoken.spoken_score import format_spoken
from harmonise.notation.tune_text.tune_text import format_tune_text, parse_tune_text
from harmonise.page.site import Limits
from harmonise.theory.arrangement import (
    Arrangement,
    HarmonicRhythm,
    LeftHand,
    Style,
    Texture,
)
from harmonise.theory.singing import parse_voices
from harmonise.theory.tune import Tune
from oracles.promises import broken_promises
from oracles.tune_shape import assert_whole

ARRANGED, AGAIN, SENTENCE = "arranged", "arranged before", "sentence"
"""A page (a table, marks, an answer); one of the very notes of an earlier input; or a
sentence that says why there is none."""

LONGEST = 20
"""Seconds of the processor after which an input is a finding; a usual one takes less
than a hundredth of one."""

_MOST_LETTERS = 1500
_RAW = re.compile(
    r"Traceback|Error\b|<class|object at 0x|Fraction\(|\bNone\b|\\x[0-9a-f]{2}"
)
"""What a program says to its makers, not to a musician."""
_STYLES = (
    Style(1),
    Style(2),
    Style(3),
    Style(4),
    Style(1, texture=Texture.HELD),
    Style(2, left_hand=LeftHand.AUTO, harmonic_rhythm=HarmonicRhythm.BEAT),
    Style(3, texture=Texture.BLOCK, left_hand=LeftHand.DRONE),
    Style(1, left_hand=LeftHand.OCTAVE),
)
_WRITERS: tuple[Callable[[Arrangement], object], ...] = (
    format_musicxml,
    format_midi,
    format_spoken,
    lambda done: format_abc(done.tune),
    lambda done: format_tune_text(done.tune),
)
_EVERY = 16
"""Of so many arrangements one is written as well."""


class EndlessError(BaseException):
    """An input took longer than anybody waits; no `except Exception` hides it."""


@contextmanager
def bounded(seconds: float = LONGEST) -> Iterator[None]:
    """Stop what uses more of the processor than it should."""

    def stop(_: int, __: FrameType | None) -> None:
        raise EndlessError

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def outcome(door: str, given: Input) -> tuple[str, str]:
    """Return what became of an input, and the sentence if there is one.

    Raises:
        AssertionError: If it is neither a page that keeps its promise nor a sentence.
    """
    fault: HarmoniseError | None = None
    told = ""
    with bounded():
        try:
            told = _WAYS.get(door, _into_tunes)(given)
        except HarmoniseError as error:
            told, fault = str(error), error
    assert not isinstance(fault, BrokenPromiseError), told
    assert not (fault and given.tune), f"refused although whole: {told}"
    if told in ("", AGAIN):
        return told or ARRANGED, ""
    assert_sentence(told)
    return SENTENCE, told


def assert_sentence(told: str) -> None:
    """Do nothing if a user can read what is told, and act on it."""
    assert told == told.strip()
    assert ". " in told or told.endswith((".", "?")), told
    assert not told[0].islower(), told
    assert not _RAW.search(re.sub(r'"[^"]*"', "", told)), told
    assert len(told) < _MOST_LETTERS, f"{len(told)} letters: {told[:200]}"


def _into_tunes(given: Input) -> str:
    """Read tunes, arrange each, and check every page."""
    tunes = parse_tunes(given.data)
    for tune in tunes:
        assert_whole(tune)
    if given.tune:
        assert [own[:3] for own in tunes[0].notes] == [
            own[:3] for own in given.tune.notes
        ]
    style = _STYLES[crc32(given.data) % len(_STYLES)]
    news = [tune for tune in tunes if _is_new(tune)]
    for tune in news:
        assert_arranged(tune, style, written=not len(_KNOWN) % _EVERY)
    return "" if news else AGAIN


_KNOWN: set[int] = set()


def _is_new(tune: Tune) -> bool:
    """Return whether the hands would play something that was not tried yet."""
    notes = [own[:3] for own in tune.notes]
    bars = [own._replace(section="") for own in tune.bars]
    name = hash(str((notes, bars, tune.keys, tune.phrases, tune.locks, tune.tempos)))
    before = len(_KNOWN)
    _KNOWN.add(name)
    return len(_KNOWN) > before


def assert_arranged(tune: Tune, style: Style, *, written: bool) -> None:
    """Do nothing if a tune becomes a page that keeps its promise.

    Args:
        tune: The tune.
        style: How it is arranged.
        written: Whether the page is written in every format, too.
    """
    done = arrange(tune, style, explained=written)
    inversions = style.level == 4 or bool(tune.locks)
    wrong = broken_promises(done, inversions=inversions)
    assert not wrong, wrong[:3]
    for remark in done.remarks:
        assert_sentence(str(remark))
    for write in _WRITERS if written else ():
        try:
            write(done)
        except HarmoniseError as error:
            assert_sentence(str(error))


@cache
def _task() -> Task:
    (page, *_) = PAGES.values()
    return task_of_tune(parse_tune_text(page.tune)[0], Style(1))


def _into_marks(given: Input) -> str:
    done = mark(parse_script(given.data, _task().model.tune), _task())
    assert 0 <= done.got <= done.worth
    return ""


def _into_table(parse: Callable[[str], object], given: Input) -> str:
    parse(given.data.decode("utf-8", "replace"))
    return ""


class _Asker:
    """Asks the page in this process, in one loop for all questions."""

    def __init__(self) -> None:
        self._app = Visitor(limits=Limits(seconds=60)).app
        self._loop = asyncio.new_event_loop()

    def ask(self, path: str, body: bytes) -> tuple[int, bytes]:
        """Return status and body of the answer to a question."""
        headers = {"host": f"127.0.0.1:{DOOR.port}", "x-token": DOOR.token}
        scope = {
            "type": "http",
            "http_version": "1.1",
            "method": "POST",
            "path": path,
            "query_string": b"",
            "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
        }
        sent: list[Any] = []

        async def receive() -> object:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: object) -> None:
            sent.append(message)

        self._loop.run_until_complete(self._app(scope, receive, send))  # type: ignore[arg-type]
        return sent[0]["status"], b"".join(own.get("body", b"") for own in sent)


_asker = cache(_Asker)


def _into_answer(given: Input) -> str:
    path, _, body = given.data.partition(b"\n")
    status, told = _asker().ask(path.decode("utf-8", "replace"), body)
    assert status in (200, 400, 404, 405, 413, 422), (status, told[:300])
    if status == 200:
        json.loads(told)
        return ""
    if status in (404, 405):
        return told.decode() if told[:1] != b"{" else _fault(told)
    return _fault(told)


def _fault(told: bytes) -> str:
    sentence: str = json.loads(told)["error"]["sentence"]
    return sentence


_WAYS: dict[str, Callable[[Input], str]] = {
    "page": _into_answer,
    "work": _into_marks,
    "voices": partial(_into_table, parse_voices),
    "points": partial(_into_table, parse_points),
}
