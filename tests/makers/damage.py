"""What hands, wires and other programs do to a file: edits of texts, scores and bytes.

An edit is a few small numbers off a dice, so that a search, which loads the dice,
shortens what it found. Each is aimed at the format: a damaged zip never gets beyond the
zip, so most edits keep what encloses them whole (lengths of MIDI tracks, the archive).
"""

import io
import re
import struct
import zipfile
from collections.abc import Callable, Sequence
from random import Random
from typing import NamedTuple

_FARTHEST, _WIDEST = 4000, 24
_TAGS = re.compile(r"<[^>]*>|[^<]+")
_LONG = 60
"""So often a sign is repeated by one edit."""
_NUMBERS = ("0", "1", "-1", "2", "3", "7", "12", "128", "1/0", "0.5", "1e9", "9" * 30)
_STRANGE = (
    "",
    " ",
    "\0",
    "\ufeff",
    "é",
    "♯",
    "𝄞",
    "\u202e",
    "x",
    "\t",
    "９",
    "C#",
    "\x1f",
    "\x85",
    "\u2028",
    "²",
    "٣",
)
_EVENTS = (
    *(b"\x00\x90\x3c\x40", b"\x60\x80\x3c\x00", b"\x00\x90\x7f\x40", b"\x00\xc0\x05"),
    *(
        b"\x83\x60\x90\x3c\x00",
        b"\x00\xff\x58\x04\x03\x02\x18\x08",
        b"\x00\xb0\x40\x7f",
    ),
    *(
        b"\x00\xff\x59\x02\xfd\x01",
        b"\x00\xff\x51\x03\x07\xa1\x20",
        b"\x00\xff\x2f\x00",
    ),
    *(b"\x00\xff\x05\x03la-", b"\x00\xff\x03\x04Tune", b"\x00\xf0\x03\x7e\x09\xf7"),
    *(
        b"\xff\xff\xff\x7f\x90\x40\x40",
        b"\x00\xe0\x00\x40",
        b"\x00\xff\x58\x04\x00\x00",
    ),
)
"""Events of a MIDI track: usual ones, rare ones, and some that are wrong."""


class Edit(NamedTuple):
    """One change of a file.

    Attributes:
        how: Number of the change; whoever applies it takes it modulo what there is.
        at: Where, modulo the length of the file.
        size: How much.
        what: Number of what is put there.
    """

    how: int
    at: int
    size: int
    what: int


def draw_edits(dice: Random) -> list[Edit]:
    """Return one to three changes, mostly one."""
    return [
        Edit(
            dice.randint(0, 255),
            dice.randint(0, _FARTHEST),
            dice.randint(0, _WIDEST),
            dice.randint(0, 255),
        )
        for _ in range(dice.choice((1, 1, 1, 2, 3)))
    ]


Damage = Callable[[bytes, Sequence[Edit]], bytes]
"""Returns a file with its changes."""


def damaged_text(tokens: Sequence[str]) -> Damage:
    """Return what damages texts: as a slip of the pen does, and as a bad copy.

    Args:
        tokens: Words and signs that are put in.
    """
    words = (*tokens, *_STRANGE, *_NUMBERS)

    def damage(data: bytes, edits: Sequence[Edit]) -> bytes:
        text = data.decode("utf-8", "surrogateescape")
        for edit in edits:
            text = _slip(text, edit, words)
        return text.encode("utf-8", "surrogatepass")

    return damage


def _slip(text: str, edit: Edit, words: Sequence[str]) -> str:
    at = edit.at % (len(text) + 1)
    end = min(at + 1 + edit.size, len(text))
    word, piece = words[edit.what % len(words)], text[at:end]
    ways = (
        lambda: text[:at] + text[at + 1 :],
        lambda: text[:at] + word + text[at:],
        lambda: text[:at] + word + text[at + 1 :],
        lambda: f"{text[:at]} {word} {text[at:]}",
        lambda: text[:at] + text[end:],
        lambda: text[:at] + piece + text[at:],
        lambda: text[:at] + piece[::-1] + text[end:],
        lambda: text[:at] + piece.swapcase() + text[end:],
        lambda: _lines_moved(text, edit),
        lambda: text[:at] if edit.size < 6 else text[:at] + word * _LONG + text[at:],
    )
    return ways[edit.how % len(ways)]()


def _lines_moved(text: str, edit: Edit) -> str:
    """Return a text in which a line stands somewhere else, or twice, or is cut."""
    lines = text.splitlines(keepends=True)
    if not lines:
        return text
    line = lines[edit.at % len(lines)]
    if edit.size % 3:
        lines.remove(line)
    if edit.size % 3 < 2:
        lines.insert(edit.what % (len(lines) + 1), line)
    return "".join(lines)


def damaged_score(values: Sequence[str]) -> Damage:
    """Return what damages MusicXML: tags and what is between them.

    Args:
        values: Tags and texts that are put in.
    """
    words = (*values, *_NUMBERS)

    def damage(data: bytes, edits: Sequence[Edit]) -> bytes:
        parts = _TAGS.findall(data.decode("utf-8", "replace"))
        for edit in edits:
            # Of a score that was broken off at its start nothing is left to change.
            parts = _other_tags(parts, edit, words) if parts else parts
        return "".join(parts).encode("utf-8", "surrogatepass")

    return damage


def _other_tags(parts: list[str], edit: Edit, words: Sequence[str]) -> list[str]:
    at, word = edit.at % (len(parts) + 1), words[edit.what % len(words)]
    return [
        part
        for part in _TAG_WAYS[edit.how % len(_TAG_WAYS)](parts, at, edit, word)
        if part
    ]


def _text_replaced(parts: list[str], at: int, _: Edit, word: str) -> list[str]:
    """Return a score with another text in the first element with one from here."""
    found = (
        n for n in range(at, len(parts)) if parts[n][0] != "<" and parts[n].strip()
    )
    here = next(found, at)
    return [*parts[:here], word, *parts[here + 1 :]]


def _element_left_out(parts: list[str], at: int, _: Edit, __: str) -> list[str]:
    at = _opened(parts, at)
    return [*parts[:at], *parts[_end_of(parts, at) :]]


def _element_doubled(parts: list[str], at: int, _: Edit, __: str) -> list[str]:
    at = _opened(parts, at)
    end = _end_of(parts, at)
    return [*parts[:end], *parts[at:end], *parts[end:]]


def _element_moved(parts: list[str], at: int, edit: Edit, _: str) -> list[str]:
    at = _opened(parts, at)
    end = _end_of(parts, at)
    rest, to = [*parts[:at], *parts[end:]], _opened(parts, edit.what * 8)
    return [*rest[:to], *parts[at:end], *rest[to:]]


def _put_in(parts: list[str], at: int, _: Edit, word: str) -> list[str]:
    at = _opened(parts, at)
    return [*parts[:at], word, *parts[at:]]


def _attribute_changed(parts: list[str], at: int, _: Edit, word: str) -> list[str]:
    found = (n for n in range(at, len(parts)) if '"' in parts[n])
    here = next(found, 0)
    changed = re.sub(r'"[^"]*"', lambda _: f'"{word}"', parts[here], count=1)
    return [*parts[:here], changed, *parts[here + 1 :]]


def _torn_out(parts: list[str], at: int, edit: Edit, _: str) -> list[str]:
    return [*parts[:at], *parts[at + 1 + edit.size :]]


def _broken_off(parts: list[str], at: int, _: Edit, __: str) -> list[str]:
    return parts[:at]


_TAG_WAYS = (
    *(_text_replaced, _text_replaced, _text_replaced, _element_left_out),
    *(_element_doubled, _element_moved, _put_in, _attribute_changed, _torn_out),
    _broken_off,
)


def _opened(parts: Sequence[str], at: int) -> int:
    """Return where the first element from here on opens; 0 for none."""
    found = (
        n
        for n in range(at, len(parts))
        if parts[n][0] == "<" and parts[n][1:2] not in ("/", "?", "!")
    )
    return next(found, 0)


def _end_of(parts: Sequence[str], at: int) -> int:
    """Return where the element that opens here is over."""
    if not parts[at:] or parts[at].endswith("/>"):
        return at + 1
    name = re.split(r"[\s/>]", parts[at][1:], maxsplit=1)[0]
    found = (n for n in range(at, len(parts)) if parts[n] == f"</{name}>")
    return next(found, at) + 1


def damaged_midi(data: bytes, edits: Sequence[Edit]) -> bytes:
    """Return a MIDI file whose events are changed; mostly its lengths are mended."""
    head, *tracks = data.split(b"MTrk")
    bodies = [track[4:] for track in tracks]
    for edit in edits:
        number = edit.what % (len(bodies) + 1)
        if number == len(bodies) or edit.how % 16 == 0:
            head = head[:8] + _other_bytes(head[8:], edit)
        else:
            bodies[number] = _other_bytes(bodies[number], edit)
    mended = edits[0].size % 6 > 0
    lengths = (len(body) if mended else edits[0].at for body in bodies)
    return head + b"".join(
        b"MTrk" + struct.pack(">I", length) + body
        for length, body in zip(lengths, bodies, strict=True)
    )


def _other_bytes(data: bytes, edit: Edit) -> bytes:
    at = edit.at % (len(data) + 1)
    end = at + 1 + edit.size
    event = _EVENTS[edit.what % len(_EVENTS)]
    ways = (
        data[:at] + bytes([edit.what]) + data[at + 1 :],
        data[:at] + bytes([edit.what % 128]) + data[at + 1 :],
        data[:at] + event + data[at:],
        data[:at] + event + data[at:],
        data[:at] + data[end:],
        data[:at] + data[at:end] + data[at:],
        data[:at],
    )
    return ways[edit.how % len(ways)]


def damaged_bytes(data: bytes, edits: Sequence[Edit]) -> bytes:
    """Return a file of which bytes are changed, whatever they are."""
    for edit in edits:
        data = _other_bytes(data, edit)
    return data


def damaged_archive(values: Sequence[str]) -> Damage:
    """Return what damages MXL: mostly the score inside, else the archive itself.

    Args:
        values: Tags and texts that are put into the score.
    """
    inner = damaged_score(values)

    def damage(data: bytes, edits: Sequence[Edit]) -> bytes:
        first, *rest = edits
        if first.how % 4 == 0:
            return damaged_bytes(data, edits)
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [
                (info.filename, archive.read(info)) for info in archive.infolist()
            ]
        if first.how % 4 == 1:
            return _other_members(members, first)
        at = 1 if first.how % 8 == 2 else 2
        members[at] = members[at][0], inner(members[at][1], rest or edits)
        return packed(members)

    return damage


def _other_members(members: list[tuple[str, bytes]], edit: Edit) -> bytes:
    at = edit.what % len(members)
    name, content = members[at]
    ways = (
        members[:at] + members[at + 1 :],
        [*members, (f"{name}x", b"")],
        [*members[:at], (f"../{name}", content), *members[at + 1 :]],
        [*members[:at], (name, content[: edit.at]), *members[at + 1 :]],
        [*members[:at], (name, b"\0" * 200_000), *members[at + 1 :]],
        members[::-1],
    )
    return packed(ways[edit.at % len(ways)], method=_METHODS[edit.size % len(_METHODS)])


_METHODS = (
    zipfile.ZIP_STORED,
    zipfile.ZIP_DEFLATED,
    zipfile.ZIP_BZIP2,
    zipfile.ZIP_LZMA,
)


def packed(
    members: Sequence[tuple[str, bytes]], method: int = zipfile.ZIP_DEFLATED
) -> bytes:
    """Return an archive of some members."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", method) as archive:
        # Names once each: zipfile warns of a second, and a warning is a failure here.
        for name, content in dict(members).items():
            archive.writestr(zipfile.ZipInfo(name), content, method)
    return made.getvalue()
