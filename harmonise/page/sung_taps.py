"""The words of a typed tune, kept on their notes when a note is put in or taken out.

A note that is put in has the syllable before it held over it (common practice: a
melisma); one that is taken out leaves its syllable to the note beside it.
"""

import re
from itertools import accumulate, pairwise

from harmonise.notation.tune_text.typed_lines import is_tune_line
from harmonise.page.caret import typed_notes, units

_WORDS = re.compile(r"(\s*words\s*:[^\S\n]*)(.*)", re.IGNORECASE)
_PIECE = re.compile(r"(?:\\.|[^-_*|\s\\])+-?|[-_*]")
_BLANK, _HELD = "*", "_"


def words_kept(before: str, after: str, number: int) -> str:
    r"""Return a changed text whose words stand on the notes that they stood on.

    Lines of words with bar lines, or under several lines at once, stay as they are.

    Args:
        before: The text as it was.
        after: The text with one note more or less.
        number: Which note is more or less, from 0.

    >>> words_kept("C D\nWords: up we", "C G D\nWords: up we", 1)
    'C G D\nWords: up _ we'
    """
    old, new = _counts(before), _counts(after)
    more = sum(new) - sum(old)
    lines = after.splitlines()
    if abs(more) != 1 or len(old) != len(new) or not _is_plain(before, old):
        return after
    verses = _verses(before, old)
    if not any(verses):
        return after
    sung = [_with_note(verse, number, more) for verse in verses]
    made = list[str]()
    ends = [0, *accumulate(new)]
    spans = iter(pairwise(ends))
    waiting = list[list[str]]()
    for line in lines:
        found = _WORDS.fullmatch(line)
        if found and waiting:
            made.append(_written(found, waiting.pop(0)))
            continue
        made += _unwritten(waiting)
        made.append(line)
        waiting = []
        if is_tune_line(line):
            start, end = next(spans)
            waiting = [verse[start:end] for verse in sung]
    made += _unwritten(waiting)
    return "\n".join(made) + "\n" * after.endswith("\n")


def _counts(text: str) -> list[int]:
    """Return how many notes each line of the tune has."""
    starts = [start for start, _ in typed_notes(text)]
    counts, at = list[int](), 0
    for line in text.splitlines(keepends=True):
        size = units(line)
        if is_tune_line(line):
            counts.append(sum(at <= start < at + size for start in starts))
        at += size
    return counts


def _under(text: str) -> list[list[str]]:
    """Return the lines of words under each line of the tune."""
    under = list[list[str]]()
    for line in text.splitlines():
        found = _WORDS.fullmatch(line)
        if found and under:
            under[-1].append(found[2])
        elif is_tune_line(line):
            under.append([])
    return under


def _is_plain(text: str, counts: list[int]) -> bool:
    """Whether each line of words has notes enough in the line above it."""
    titles = re.findall(r"(?im)^\s*title\s*:", text)
    under = _under(text)
    return len(titles) < 2 and all(
        "|" not in words and "%" not in words and len(_PIECE.findall(words)) <= count
        for some, count in zip(under, counts, strict=True)
        for words in some
    )


def _verses(text: str, counts: list[int]) -> list[list[str]]:
    """Return what stands under each note in each verse."""
    under = _under(text)
    verses = list[list[str]]()
    for verse in range(max(map(len, under), default=0)):
        pieces = list[str]()
        for some, count in zip(under, counts, strict=True):
            there = _PIECE.findall(some[verse]) if verse < len(some) else []
            pieces += [*there, *[_BLANK] * (count - len(there))]
        verses.append(pieces)
    return verses


def _with_note(verse: list[str], number: int, more: int) -> list[str]:
    """Return a verse with a note more, or with one less and no syllable lost."""
    if more > 0:
        is_sung = number > 0 and verse[number - 1] != _BLANK
        is_last = all(piece == _BLANK for piece in verse[number:])
        put = _HELD if is_sung and not is_last else _BLANK
        return [*verse[:number], put, *verse[number:]]
    return _without_note(verse, number)


def _without_note(verse: list[str], number: int) -> list[str]:
    """Return a verse with a note less; its syllable goes to the note beside it."""
    gone, head, tail = verse[number], verse[:number], verse[number + 1 :]
    if gone in (_BLANK, _HELD, "-"):
        return [*head, *tail]
    if tail and tail[0] in (_HELD, "-"):
        return [*head, gone, *tail[1:]]
    if head and head[-1] in (_HELD, "-"):
        return [*head[:-1], gone, *tail]
    if head and head[-1] != _BLANK:
        return [*head[:-1], _joined(head[-1], gone), *tail]
    is_sung = tail and tail[0] != _BLANK
    return [*head, _joined(gone, tail[0]) if is_sung else gone, *tail[1:]][
        : len(verse) - 1
    ]


def _joined(first: str, second: str) -> str:
    """Return two syllables on one note; of two words with a blank inside."""
    return f"{first[:-1]}{second}" if first.endswith("-") else f"{first}~{second}"


def _written(found: re.Match[str], pieces: list[str]) -> str:
    """Return a line of words with other pieces; as typed if they are the same."""
    was = _PIECE.findall(found[2])
    is_same = _sung(was) == _sung(pieces)
    return found[0] if is_same else f"{found[1]}{_line(pieces)}"


def _unwritten(waiting: list[list[str]]) -> list[str]:
    """Return lines of words for syllables that came to a line that had none."""
    while waiting and not _sung(waiting[-1]):
        waiting = waiting[:-1]
    return [f"Words: {_line(pieces)}".rstrip() for pieces in waiting]


def _line(pieces: list[str]) -> str:
    return re.sub(r"- (?=\S)", "-", " ".join(_sung(pieces)))


def _sung(pieces: list[str]) -> list[str]:
    """Return what stands under notes as far as something is sung."""
    while pieces and pieces[-1] == _BLANK:
        pieces = pieces[:-1]
    return pieces
