"""A work in fourteen layouts, as notation programs write them; standard library alone.

Each layout is a function from a work to the bytes of a file. What a layout cannot show
is said beside it: MIDI has no spelling, one staff has no crossed hands.
"""

import struct
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

from makers.outside_works import Bar, Note, Work, height

DIVISIONS = 24
VALUES = {
    Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter",
    Fraction(1, 2): "eighth", Fraction(1, 4): "16th",
}  # fmt: skip
G, F = "<sign>G</sign><line>2</line>", "<sign>F</sign><line>4</line>"


class Line(NamedTuple):
    """One voice on one staff of a part; hidden rests fill a moved voice."""

    notes: tuple[Note, ...]
    staff: int = 1
    voice: int = 1
    hidden: bool = False


class Part(NamedTuple):
    """A part: its name, the clefs of its staves, its voices in file order."""

    name: str
    clefs: tuple[str, ...]
    lines: tuple[Line, ...]


def units(length: Fraction) -> int:
    return int(length * DIVISIONS)


def pitch(name: str) -> str:
    signs = name.count("#") - name[1:].count("b")
    alter = f"<alter>{signs}</alter>" if signs else ""
    return f"<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"


def element(note: Note, bar: Bar, line: Line, *, chord: bool) -> str:
    """Return the part of a note that lies in a bar, tied over the bar lines."""
    stop = bar.at + bar.length
    start, end = max(note.at, bar.at), min(note.end, stop)
    ties = (["stop"] if note.at < bar.at else []) + (
        ["start"] if note.end > stop else []
    )
    signs = "".join(f'<tie type="{tie}"/>' for tie in ties)
    tied = "".join(f'<tied type="{tie}"/>' for tie in ties)
    drawn = f"<notations>{tied}</notations>" if ties else ""
    return (
        f"<note>{'<chord/>' if chord else ''}{pitch(note.name)}"
        f"<duration>{units(end - start)}</duration>{signs}<voice>{line.voice}</voice>"
        f"{value(end - start)}<staff>{line.staff}</staff>{drawn}</note>"
    )


def value(length: Fraction) -> str:
    """Return the printed value of a length; nothing for one that needs a tie."""
    for dots, part in ((0, Fraction(1)), (1, Fraction(3, 2))):
        name = VALUES.get(length / part)
        if name:
            return f"<type>{name}</type>{'<dot/>' * dots}"
    return ""


def rest(length: Fraction, line: Line) -> str:
    if not line.hidden and line.voice not in (1, 5):
        return f"<forward><duration>{units(length)}</duration></forward>"
    hidden = ' print-object="no"' if line.hidden else ""
    return (
        f"<note{hidden}><rest/><duration>{units(length)}</duration>"
        f"<voice>{line.voice}</voice>{value(length)}<staff>{line.staff}</staff></note>"
    )


def voice(line: Line, bar: Bar) -> str:
    """Return what a voice has in a bar; notes that begin together are a chord."""
    stop, now, out = bar.at + bar.length, bar.at, []
    starts: dict[Fraction, list[Note]] = defaultdict(list)
    for note in sorted(line.notes, key=lambda own: (own.at, height(own.name))):
        if note.at < stop and note.end > bar.at:
            starts[max(note.at, bar.at)].append(note)
    for at, notes in sorted(starts.items()):
        if at > now:
            out.append(rest(at - now, line))
        out += [element(n, bar, line, chord=k > 0) for k, n in enumerate(notes)]
        now = min(notes[0].end, stop)
    if now < stop:
        out.append(rest(stop - now, line))
    return "".join(out)


def harmony(chord: str) -> str:
    name, _, low = chord.partition("/")
    root = name.removesuffix("7").removesuffix("m")
    kind = {"m": "minor", "7": "dominant"}.get(name.removeprefix(root), "major")
    bass = f"<bass>{named('bass', low)}</bass>" if low else ""
    top = f"<root>{named('root', root)}</root>"
    return f"<harmony>{top}<kind>{kind}</kind>{bass}</harmony>"


def named(what: str, note: str) -> str:
    signs = note.count("#") - note[1:].count("b")
    alter = f"<{what}-alter>{signs}</{what}-alter>" if signs else ""
    return f"<{what}-step>{note[0]}</{what}-step>{alter}"


def spoken(chord: str) -> str:
    name = chord.removesuffix("m") + (" minor" if chord.endswith("m") else " major")
    return said(chord if chord.endswith("7") else name)


def said(text: str, placement: str = "above") -> str:
    return (
        f'<direction placement="{placement}"><direction-type><words>'
        f"{text}</words></direction-type></direction>"
    )


def below(text: str) -> str:
    return said(text, "below")


def signs(work: Work, bar: Bar, make: Callable[[str], str]) -> str:
    """Return the chord names of a bar, each at its place, and back to its start."""
    out, now = [], bar.at
    rows = [(at, make(chord)) for at, chord in work.symbols]
    rows += [(at, below(text)) for at, text in work.words]
    for at, sign in sorted(rows, key=itemgetter(0)):
        if bar.at <= at < bar.at + bar.length:
            step = units(at - now)
            out += [f"<forward><duration>{step}</duration></forward>"] if step else []
            out.append(sign)
            now = at
    back = units(now - bar.at)
    out += [f"<backup><duration>{back}</duration></backup>"] if back else []
    return "".join(out)


def attributes(work: Work, part: Part) -> str:
    clefs = "".join(
        f'<clef number="{number}">{clef}</clef>'
        for number, clef in enumerate(part.clefs, 1)
    )
    return (
        f"<attributes><divisions>{DIVISIONS}</divisions><key><fifths>{work.fifths}"
        f"</fifths></key><time><beats>{work.beats}</beats><beat-type>{work.unit}"
        f"</beat-type></time><staves>{len(part.clefs)}</staves>{clefs}</attributes>"
    )


def measures(work: Work, part: Part, names: Callable[[str], str] | None) -> str:
    out = []
    for number, bar in enumerate(work.bars):
        hidden = ' implicit="yes"' if bar.number == 0 else ""
        begin = attributes(work, part) if not number else ""
        begin += signs(work, bar, names) if names else ""
        back = f"<backup><duration>{units(bar.length)}</duration></backup>"
        body = back.join(voice(line, bar) for line in part.lines)
        out.append(f'<measure number="{bar.number}"{hidden}>{begin}{body}</measure>')
    return "".join(out)


def musicxml(
    work: Work, parts: Sequence[Part], names: Callable[[str], str] | None = harmony
) -> bytes:
    """Return a score of some parts, the first with the chord names."""
    listed = "".join(
        f'<score-part id="P{number}"><part-name>{part.name}</part-name></score-part>'
        for number, part in enumerate(parts, 1)
    )
    bodies = "".join(
        f'<part id="P{n}">{measures(work, part, None if n > 1 else names)}</part>'
        for n, part in enumerate(parts, 1)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
        f"<part-list>{listed}</part-list>{bodies}</score-partwise>"
    ).encode()


def piano(*lines: Line) -> list[Part]:
    return [Part("Piano", (G, F), lines)]


def under_each(work: Work) -> tuple[Note, ...]:
    """Return the inner notes cut where a tune note begins, as one voice needs it."""
    cuts = [note.at for note in work.tune]
    cut = []
    for note in work.inner:
        inside = [at for at in cuts if note.at < at < note.end]
        edges = [note.at, *inside, note.end]
        cut += [Note(a, b - a, note.name) for a, b in pairwise(edges)]
    return tuple(cut)


def voices(work: Work) -> bytes:
    return musicxml(work, piano(Line(work.tune), Line(work.inner, 1, 2),
                                Line(work.left, 2, 5)))  # fmt: skip


def one_voice(work: Work) -> bytes:
    right = (*work.tune, *under_each(work))
    return musicxml(work, piano(Line(right), Line(work.left, 2, 5)))


def two_parts(work: Work) -> bytes:
    right = (Line(work.tune), Line(work.inner, 1, 2))
    return musicxml(work, [Part("Right hand", (G,), right),
                           Part("Left hand", (F,), (Line(work.left),))])  # fmt: skip


def tune_second(work: Work) -> bytes:
    return musicxml(work, piano(Line(work.inner, 1, 1, hidden=True),
                                Line(work.tune, 1, 2, hidden=True),
                                Line(work.left, 2, 5, hidden=True)))  # fmt: skip


def three_parts(work: Work) -> bytes:
    return musicxml(work, [Part("Tune", (G,), (Line(work.tune),)),
                           Part("Right hand", (G,), (Line(work.inner),)),
                           Part("Left hand", (F,), (Line(work.left),))])  # fmt: skip


def words(work: Work) -> bytes:
    lines = Line(work.tune), Line(work.inner, 1, 2), Line(work.left, 2, 5)
    return musicxml(work, piano(*lines), spoken)


def inner_first(work: Work) -> bytes:
    return musicxml(work, piano(Line(work.left, 2, 5), Line(work.inner, 1, 2),
                                Line(work.tune)))  # fmt: skip


def voice_and_piano(work: Work) -> bytes:
    tune = Part("Voice", (G,), (Line(work.tune),))
    lines = Line(work.tune), Line(work.inner, 1, 2), Line(work.left, 2, 5)
    return musicxml(work, [tune, *piano(*lines)])


def tune_staff(work: Work) -> bytes:
    tune = Part("Voice", (G,), (Line(work.tune),))
    return musicxml(work, [tune, *piano(Line(work.inner), Line(work.left, 2, 5))])


def left_first(work: Work) -> bytes:
    right = Part("", (G,), (Line(work.tune), Line(work.inner, 1, 2)))
    left = Part("", (F,), (Line(work.left),))
    parts = [left, right]
    return musicxml(work, parts)


def one_staff(work: Work) -> bytes:
    every = (Line(work.tune), Line(work.inner, 1, 2), Line(work.left, 1, 3))
    return musicxml(work, [Part("Piano", (G,), every)])


def inner_below(work: Work) -> bytes:
    return musicxml(work, piano(Line(work.tune), Line(work.inner, 2, 4),
                                Line(work.left, 2, 5)))  # fmt: skip


def number(value: int) -> bytes:
    """Return a length as MIDI writes it, seven bits a byte."""
    out = [value & 127]
    while value := value >> 7:
        out.insert(0, value & 127 | 128)
    return bytes(out)


def track(notes: Iterable[Note], channel: int = 0, meta: bytes = b"") -> bytes:
    events = []
    for note in notes:
        key = height(note.name) + 12
        events += [(units(note.at), 1, bytes([0x90 | channel, key, 80])),
                   (units(note.end), 0, bytes([0x80 | channel, key, 0]))]  # fmt: skip
    body, now = meta, 0
    for at, _, event in sorted(events):
        body += number(at - now) + event
        now = at
    body += b"\x00\xff\x2f\x00"
    return b"MTrk" + struct.pack(">I", len(body)) + body


def midi(work: Work) -> bytes:
    power = work.unit.bit_length() - 1
    time = b"\x00\xff\x58\x04" + bytes([work.beats, power, 24, 8])
    pickup = work.bars[0].length if work.bars[0].number == 0 else Fraction(0)
    # A pickup stands at the end of a full bar, as players count themselves in.
    late = Fraction(4 * work.beats, work.unit) - pickup if pickup else Fraction(0)
    right, left = (
        [note._replace(at=note.at + late) for note in notes]
        for notes in ((*work.tune, *work.inner), work.left)
    )
    tracks = track([], meta=time), track(right), track(left, 1)
    head = b"MThd" + struct.pack(">IHHH", 6, 1, len(tracks), DIVISIONS)
    return head + b"".join(tracks)


def typed(work: Work) -> bytes:
    """Return a line for each strike; its top note stands for the tune."""
    lines, named = [], dict(work.symbols)
    for at in sorted({note.at for note in (*work.inner, *work.left)} | set(named)):
        bar = next(b for b in work.bars if b.at <= at < b.at + b.length)
        beat = (at - bar.at) * work.unit / 4 + 1
        sounding = [[n.name for n in notes if n.at <= at < n.end]
                    for notes in (work.tune, work.inner, work.left)]  # fmt: skip
        right = sorted([*sounding[1], *sounding[0]], key=height)
        words = " ".join(text for place, text in work.words if place == at)
        head = f"{bar.number}.{beat}: {named.get(at, '')} {words}"
        lines.append(f"{head} | {' '.join(right) or '-'} | {' '.join(sounding[2])}")
    return "\n".join(lines).encode()


class Layout(NamedTuple):
    """A layout: how it is written, and the kinds of slip that it cannot show."""

    write: Callable[[Work], bytes]
    cannot: tuple[str, ...] = ()


_HANDS = ("crossed hands", "stretch")
LAYOUTS = {
    "two staves, a voice a line": Layout(voices),
    "two staves, chords in one voice": Layout(one_voice),
    "two parts": Layout(two_parts),
    "tune in voice 2, rests not printed": Layout(tune_second),
    "tune, right hand, left hand in three parts": Layout(three_parts),
    "words for symbols": Layout(words),
    "left hand and inner voice first": Layout(inner_first),
    "voice above the piano, which has the tune too": Layout(voice_and_piano),
    "tune above the piano, which has the rest": Layout(tune_staff),
    "left hand in the first part": Layout(left_first),
    "one staff": Layout(one_staff, _HANDS),
    "inner notes on the lower staff": Layout(inner_below, _HANDS),
    "MIDI": Layout(midi, ("spelling", "wrong symbol", "no symbol", "wrong shape",
                          "wrong figures", "left hand too short",
                          "tune note too short")),
    "typed, a line a chord": Layout(typed, ("left hand too short",
                                            "tune note too short")),
}  # fmt: skip
