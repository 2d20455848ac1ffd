"""Work that is kept: locks carried to a changed tune, and a piece of work as a file.

The file is our own text: the tune as its user typed it below a few remarks, which hold
the settings and the locks, so that it comes back whole. Readers of tunes skip remarks
(%), so it can be arranged as it is, too. A tune from a file that nobody typed goes
along as that file, in base64 (RFC 4648); below stands the tune as it would be typed.
"""

import base64
import re
from collections.abc import Iterator
from textwrap import wrap

import msgspec

from harmonise.errors import HarmoniseError, NotationError, OutputError
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.page.answers import CarriedChords, OpenedWork, WrittenLock, written_locks
from harmonise.page.making import locked_chord, tune_at
from harmonise.page.requests import (
    ArrangeRequest,
    CarryRequest,
    MalformedError,
    Settings,
    Source,
    parse_request,
)
from harmonise.theory.carrying import carried

_VERSION = 1
_FIRST = "% A piece of work of harmonise, version {}. Open it on the page to go on."
_HEAD = re.compile(re.escape(_FIRST).replace(r"\{\}", r"(\d{1,6})"))
_LINE = re.compile(r"% (settings|locks|tune|name|content): (.*)")
_LAST = "% The tune:"
_WIDTH = 72
_DAMAGED = "This piece of work is damaged: {}"
_ANOTHER = "Open another copy of it, or what stands below the remarks (%) as a tune."


def carry(asked: CarryRequest) -> CarriedChords:
    """Return locked chords where they belong after a change of their tune.

    Raises:
        HarmoniseError: If the tune cannot be read, as it was or as it is.
    """
    try:
        before = tune_at(asked.before, asked.tune)
    except NotationError:
        # A text that was being tapped ends in a bar that is not full.
        tapped = msgspec.structs.replace(asked.before, tapped=True)
        before = tune_at(tapped, asked.tune)
    after = tune_at(asked.source, asked.tune)
    locks = sorted(locked_chord(lock, before) for lock in asked.locks)
    found = carried(before, after, locks)
    places = [(str(before.place(lock.onset)), lock.chord) for lock in found.lost]
    lost = (f"{where[0].upper()}{where[1:]}: {chord.symbol}" for where, chord in places)
    return CarriedChords(written_locks(found.locks), tuple(lost))


def format_work(asked: ArrangeRequest) -> str:
    """Return a piece of work as a file holds it."""
    rows = {
        "tune": msgspec.json.encode(asked.tune),
        "settings": msgspec.json.encode(_chosen(asked.settings), enc_hook=str),
        "locks": msgspec.json.encode(asked.locks, enc_hook=str),
    }
    lines = [_FIRST.format(_VERSION)]
    lines += [f"% {name}: {row.decode()}" for name, row in rows.items()]
    return "\n".join([*lines, *_content(asked.source), _LAST, _typed(asked)])


def title_of_work(text: str) -> str:
    """Return the title of the tune in a piece of work; "" if it has none."""
    title = re.search(r"(?im)^[^\S\n]*title[^\S\n]*:(.*)$|^T:(.*)$", text)
    return (title[1] or title[2] or "") if title else ""


def _chosen(settings: Settings) -> dict[str, object]:
    """Return the settings that are not as usual."""
    usual, chosen = (
        msgspec.to_builtins(some, enc_hook=str) for some in (Settings(), settings)
    )
    return {name: value for name, value in chosen.items() if value != usual[name]}


def _content(source: Source) -> Iterator[str]:
    if isinstance(source.base64, bytes):
        yield f"% name: {msgspec.json.encode(source.name).decode()}"
        coded = base64.b64encode(source.base64).decode()
        yield from (f"% content: {line}" for line in wrap(coded, _WIDTH))


def _typed(asked: ArrangeRequest) -> str:
    """Return the tune as it was typed, or would be; "" if it cannot be."""
    if isinstance(asked.source.text, str):
        return asked.source.text
    try:
        return format_tune_text(tune_at(asked.source, asked.tune))
    except (HarmoniseError, OutputError):
        return ""


def parse_work(text: str) -> OpenedWork:
    """Return a piece of work from what its file holds.

    Raises:
        NotationError: If it is none, is damaged, or is of a later version.
    """
    head, _, typed = text.replace("\r\n", "\n").partition(f"\n{_LAST}\n")
    first, *lines = head.split("\n")
    version = _HEAD.fullmatch(first.lstrip("\ufeff"))
    if not version:
        raise NotationError("This is no piece of work.", None, "Open it as a tune.")
    if int(version[1]) > _VERSION:
        raise NotationError(
            "A newer harmonise wrote this piece of work.", None, "Open it with that."
        )
    fields: dict[str, str] = {}
    for line in lines:
        row = _LINE.fullmatch(line)
        if not row:
            raise NotationError(_DAMAGED.format(f'"{line[:40]}".'), None, _ANOTHER)
        fields[row[1]] = fields.get(row[1], "") + row[2]
    try:
        asked = parse_request(_request(fields, typed), ArrangeRequest)
    except msgspec.DecodeError:
        raise NotationError(_DAMAGED.format("it breaks off."), None, _ANOTHER) from None
    except MalformedError as error:
        raise NotationError(_DAMAGED.format(error), None, _ANOTHER) from None
    return OpenedWork(
        text="" if "content" in fields else typed,
        name=asked.source.name,
        base64=fields.get("content", ""),
        tune=asked.tune,
        settings=asked.settings,
        locks=tuple(
            WrittenLock(one.onset, one.end, one.chord, one.moved) for one in asked.locks
        ),
    )


def _request(fields: dict[str, str], typed: str) -> bytes:
    """Return the request that a piece of work stands for, to be checked as one."""
    rows = {name: row for name, row in fields.items() if name != "content"}
    asked = {name: msgspec.json.decode(row) for name, row in rows.items()}
    source = {"text": typed}
    if "content" in fields:
        source = {"name": asked.pop("name", ""), "base64": fields["content"]}
    return msgspec.json.encode({**asked, "source": source})
