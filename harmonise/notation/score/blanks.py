"""Copies of a score on which something is left to write.

What a pupil has to write stays in the MusicXML, but is not printed: so sheet and answer
key have the same bars, lines and spacing. Boxes to write in are words in a frame.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement, fromstring, tostring

from harmonise.notation.musicxml.written_xml import add, clean
from harmonise.theory.tune import Bar

_BLANK = "\N{NO-BREAK SPACE}"
_BLANK_WIDTH = 0.5
"""What the engraver makes of a blank, as a multiple of the size of the letters; fonts
have half as much, so that blanks in front alone put a word in the middle."""
_HIDE = {"print-object": "no"}


class ScoreBox(NamedTuple):
    """A box in the music.

    Attributes:
        onset: Crotchets from the start.
        text: What stands in it; "" for an empty one.
        room: Width of its inside, as a multiple of the size of the letters.
        above: Whether it stands over the treble staff and not under the bass staff.
        ruled: Whether it has a frame; else only its text is printed.
    """

    onset: Fraction
    text: str
    room: float
    above: bool
    ruled: bool = True


class ScoreCopy(NamedTuple):
    """What a copy shows of a score.

    Attributes:
        hidden: Numbers of the notes that are not printed.
        frames: Boxes; those at one place from the top down.
        ties: Pairs of numbers of notes that a line joins.
        symbols: Whether chord symbols are printed.
        tune_only: Whether only the treble staff is printed.
        lines: Numbers, from 0, of the bars that begin a line besides the score's own.
    """

    hidden: frozenset[int] = frozenset()
    frames: tuple[ScoreBox, ...] = ()
    ties: tuple[tuple[int, int], ...] = ()
    symbols: bool = True
    tune_only: bool = False
    lines: frozenset[int] = frozenset()


def copy_score(musicxml: bytes, bars: Sequence[Bar], copy: ScoreCopy) -> bytes:
    """Return a score as a copy shows it.

    Args:
        musicxml: What `format_musicxml` makes of an arrangement.
        bars: The bars of its tune.
        copy: What is shown and what is left to write.
    """
    root = fromstring(musicxml)  # noqa: S314 (our own text)
    measures = list(root.iter("measure"))
    divisions = int(root.findtext(".//divisions") or 1)
    for number, (measure, bar) in enumerate(zip(measures, bars, strict=True)):
        if number in copy.lines and measure.find("print") is None:
            measure.insert(0, Element("print", {"new-system": "yes"}))
        if not copy.symbols:
            for symbol in measure.findall("harmony"):
                measure.remove(symbol)
        _add_frames(measure, bar, copy.frames, divisions)
        _hide(measure, copy.hidden, rests="1" if copy.tune_only else "2")
        if copy.tune_only:
            _drop_bass(measure)
    _tie(root, copy.ties)
    made: bytes = tostring(root, encoding="utf-8", xml_declaration=True)
    return made


def _number(note: Element) -> int:
    """Return the number of a printed note, whichever tied part it is; -1 for rests."""
    name = note.get("id", "").partition("-")[0].partition("g")[0]
    return int(name[1:]) if name[:1] == "n" else -1


def _hide(measure: Element, hidden: frozenset[int], rests: str) -> None:
    """Take notes off the page: singly, or out of a chord of which the rest stays.

    Rests on the staff that the pupil writes are not given either, unless nothing else
    in their bar is to be written there.
    """
    for chord in _chords(measure):
        own = [note for note in chord if _number(note) in hidden]
        if own and len(own) < len(chord):
            _thin(measure, chord, own)
        else:
            for note in own:
                _make_invisible(note)
    notes = [
        note for note in measure.findall("note") if note.findtext("staff") == rests
    ]
    if any(note.get("print-object") == "no" for note in notes):
        for note in notes:
            if note.find("rest") is not None:
                _make_invisible(note)


def _chords(measure: Element) -> list[list[Element]]:
    """Return the notes of a measure, those of one stem together."""
    found: list[list[Element]] = []
    for note in measure.findall("note"):
        if note.find("chord") is not None and found:
            found[-1].append(note)
        else:
            found.append([note])
    return found


def _make_invisible(note: Element) -> None:
    note.attrib.update(_HIDE)
    for name in ("tie", "beam", "notations", "accidental"):
        for part in note.findall(name):
            note.remove(part)


def _thin(measure: Element, chord: list[Element], gone: list[Element]) -> None:
    """Take some notes out of a chord; what hung on its first note moves to the next."""
    kept = [note for note in chord if note not in gone]
    first = chord[0]
    if first in gone:
        mark = kept[0].find("chord")
        if mark is not None:
            kept[0].remove(mark)
        at = [part.tag for part in kept[0]].index("staff") + 1
        for offset, beam in enumerate(first.findall("beam")):
            kept[0].insert(at + offset, beam)
        kept[0].extend(first.findall("lyric"))
    for note in kept:
        stem = note.find("stem")
        if stem is not None:
            note.remove(stem)
    for note in gone:
        measure.remove(note)


def _add_frames(
    measure: Element, bar: Bar, frames: Sequence[ScoreBox], divisions: int
) -> None:
    """Put boxes before the notes of the first voice that sound at their places."""
    for frame in frames:
        if not bar.start <= frame.onset < bar.end:
            continue
        tick = int((frame.onset - bar.start) * divisions)
        at, offset = _before(measure, tick)
        measure.insert(at, _direction(frame, offset))


def _before(measure: Element, tick: int) -> tuple[int, int]:
    """Return where to put what stands at a tick, and how far on from there it is."""
    now, best = 0, (0, tick)
    for at, part in enumerate(measure):
        if part.tag == "backup":
            break
        if part.tag not in ("note", "forward") or part.find("chord") is not None:
            continue
        if now <= tick:
            best = at, tick - now
        now += int(part.findtext("duration") or 0)
    return best


def _direction(frame: ScoreBox, offset: int) -> Element:
    place = "above" if frame.above else "below"
    direction = Element("direction", {"placement": place})
    free = max(0, round((frame.room - text_width(frame.text)) / _BLANK_WIDTH))
    text = _BLANK * free + frame.text if frame.ruled else frame.text
    words = add(add(direction, "direction-type"), "words", clean(text))
    words.set("font-style", "normal")
    if frame.ruled:
        words.set("enclosure", "rectangle")
    if offset:
        add(direction, "offset", str(offset))
    add(direction, "staff", "1" if frame.above else "2")
    return direction


def text_width(text: str) -> float:
    """Return about how wide a text is, as a multiple of the size of its letters.

    >>> text_width("Gm") > text_width("IV") > text_width("i")
    True
    """
    return sum(map(_letter_width, text))


def _letter_width(letter: str) -> float:
    if letter in "Iijltfr/°♭":
        return 0.33
    if letter in "mM":
        return 0.8
    return 0.68 if letter.isupper() else 0.48


def _drop_bass(measure: Element) -> None:
    """Leave the treble staff alone."""
    for part in list(measure):
        bass = part.findtext("staff") == "2"
        if part.tag == "backup" or (bass and part.tag != "attributes"):
            measure.remove(part)
    for attributes in measure.findall("attributes"):
        for name in ("staves", "clef[@number='2']"):
            gone = attributes.find(name)
            if gone is not None:
                attributes.remove(gone)


def _tie(root: Element, pairs: Sequence[tuple[int, int]]) -> None:
    """Join pairs of notes by a line: the last part of one to the first of the other."""
    parts: dict[int, list[Element]] = {}
    for note in root.iter("note"):
        parts.setdefault(_number(note), []).append(note)
    for first, second in pairs:
        if first in parts and second in parts:
            _add_tie(parts[first][-1], "start")
            _add_tie(parts[second][0], "stop")


def _add_tie(note: Element, kind: str) -> None:
    if note.get("print-object") == "no":
        return
    notations = note.find("notations")
    if notations is None:
        notations = Element("notations")
        lyric = note.find("lyric")
        at = len(note) if lyric is None else list(note).index(lyric)
        note.insert(at, notations)
    SubElement(notations, "tied", {"type": kind})
    after = [part.tag for part in note].index("duration") + 1
    note.insert(after, Element("tie", {"type": kind}))
