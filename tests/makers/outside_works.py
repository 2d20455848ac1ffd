"""Works with one slip, made by simple string and number work on hand-written pages.

Nothing here comes from the engine: no chord, no rule, no shape. The pages are typed as
a teacher writes them on a board, the slips change one word of one line, and what each
slip is called stands in a table made by hand from the trade's list of faults.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

LETTERS = "CDEFGAB"
HEIGHTS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


class Page(NamedTuple):
    """A tune as typed and the right work under it, a line a chord."""

    tune: str
    lines: tuple[str, ...]


PAGES = {
    "C major": Page(
        "Key: C\nTime: 4/4\nE5 - - - | D5 - - - | C5 - - - | D5 - - - | C5 - - - |\n",
        (
            "1: C | G4 C5 E5 | C3",
            "2: G | G4 B4 D5 | G2",
            "3: C | E4 G4 C5 | C3",
            "4: G | G4 B4 D5 | G2",
            "5: C | E4 G4 C5 | C3",
        ),
    ),
    "G major": Page(
        "Key: G\nTime: 3/4\nB4 - - | C5 - - | A4 - - | G4 - - | A4 - - | G4 - - |\n",
        (
            "1: G | D4 G4 B4 | G2",
            "2: C | E4 G4 C5 | C3",
            "3: D | D4 F#4 A4 | D3",
            "4: G | B3 D4 G4 | G2",
            "5: D | D4 F#4 A4 | D3",
            "6: G | B3 D4 G4 | G2",
        ),
    ),
    "A minor": Page(
        "Key: A minor\nTime: 4/4\n"
        "C5 - - - | B4 - - - | A4 - - - | B4 - - - | A4 - - - |\n",
        (
            "1: Am | E4 A4 C5 | A2",
            "2: E | E4 G#4 B4 | E3",
            "3: Am | C4 E4 A4 | A2",
            "4: E | E4 G#4 B4 | E3",
            "5: Am | C4 E4 A4 | A2",
        ),
    ),
}


class Slip(NamedTuple):
    """A page with one slip: where it is and what the trade calls it."""

    page: str
    bar: int
    code: str
    lines: tuple[str, ...]


def height(note: str) -> int:
    """Return how many semitones a note lies above C0."""
    letter, octave = note[0], int(note[-1])
    signs = note.count("#") - note[1:].count("b")
    return 12 * octave + HEIGHTS[letter] + signs


def neighbour(note: str) -> str:
    """Return the white key a letter higher."""
    place = LETTERS.index(note[0]) + 1
    return f"{LETTERS[place % 7]}{int(note[-1]) + place // 7}"


def octave(note: str, up: int) -> str:
    return f"{note[:-1]}{int(note[-1]) + up}"


def other_name(note: str) -> str:
    """Return a sharp note under the name of the letter above, as a flat."""
    return f"{LETTERS[(LETTERS.index(note[0]) + 1) % 7]}b{note[-1]}"


class Line(NamedTuple):
    """One line of a page taken to pieces."""

    place: str
    chord: str
    right: list[str]
    left: str

    def __str__(self) -> str:
        return f"{self.place}: {self.chord} | {' '.join(self.right)} | {self.left}"


def pieces(line: str) -> Line:
    head, right, left = (part.strip() for part in line.split("|"))
    place, chord = head.split(": ")
    return Line(place, chord, right.split(), left)


def with_inner(line: Line, number: int, note: str | None) -> Line:
    right = [*line.right]
    right[number : number + 1] = [note] if note else []
    return line._replace(right=right)


def above_root(line: Line, note: str) -> int:
    return (height(note) - height(f"{line.chord.rstrip('m')}0")) % 12


def wrong_note(line: Line) -> Iterator[Line]:
    for number, note in enumerate(line.right[:-1]):
        if above_root(line, note) not in (3, 4):
            yield with_inner(line, number, neighbour(note))


def third_missing(line: Line) -> Iterator[Line]:
    for number, note in enumerate(line.right[:-1]):
        if above_root(line, note) in (3, 4):
            yield with_inner(line, number, None)


def wrong_root(line: Line) -> Iterator[Line]:
    for note in line.right:
        if above_root(line, note) == 7:
            yield line._replace(left=octave(note, 2 - int(note[-1])))


def inner_over_tune(line: Line) -> Iterator[Line]:
    yield with_inner(line, 0, octave(line.right[0], 1))


def crossed(line: Line) -> Iterator[Line]:
    yield line._replace(left=octave(line.left, 2))


def stretched(line: Line) -> Iterator[Line]:
    low = octave(line.right[0], -1)
    if height(low) > height(line.left):  # Else the hands cross too.
        yield with_inner(line, 0, low)


def misspelled(line: Line) -> Iterator[Line]:
    for number, note in enumerate(line.right[:-1]):
        if "#" in note:
            yield with_inner(line, number, other_name(note))


def unraised(line: Line) -> Iterator[Line]:
    for number, note in enumerate(line.right[:-1]):
        if note.startswith("G#") and line.chord == "E":
            yield with_inner(line, number, note.replace("#", ""))


SLIPS: dict[str, Callable[[Line], Iterator[Line]]] = {
    "M01": inner_over_tune,
    "M02": wrong_note,
    "M03": third_missing,
    "M06": wrong_root,
    "M07": stretched,
    "M08": crossed,
    "M11": misspelled,
    "M12": unraised,
}
"""What the trade calls each slip."""
CHORDS = (
    ("C major", 3, "M16", "3: F | F4 A4 C5 | F2"),
    ("G major", 4, "M16", "4: C | C4 E4 G4 | C3"),
    ("A minor", 3, "M16", "3: Dm | D4 F4 A4 | D3"),
    ("C major", 5, "M15", "5: Am | E4 A4 C5 | A2"),
    ("C major", 2, "M13", "2: C | E4 G4 D5 | C3"),
    ("G major", 2, "M13", "2: D | F#4 A4 C5 | D3"),
)
"""Slips in the choice of chords: the page, the bar, the fault, the line as written."""


def slips() -> Iterator[Slip]:
    """Yield every slip at every place where its page has room for it."""
    for name, page in PAGES.items():
        for number, line in enumerate(page.lines):
            for code, change in SLIPS.items():
                for wrong in change(pieces(line)):
                    yield Slip(name, number + 1, code, swapped(page, number, wrong))
    for name, bar, code, text in CHORDS:
        yield Slip(name, bar, code, swapped(PAGES[name], bar - 1, pieces(text)))


def swapped(page: Page, number: int, line: Line) -> tuple[str, ...]:
    return (*page.lines[:number], str(line), *page.lines[number + 1 :])


def as_musicxml(page: Page, lines: tuple[str, ...]) -> str:
    """Return a work as MusicXML, one chord a bar: right hand, back up, left hand."""
    beats = int(page.tune.partition("Time: ")[2][0])
    minor = "minor" in page.tune
    fifths = {"C": 0, "G": 1, "A": 0 if minor else 3}[page.tune[5]]
    bars = [_bar(n, pieces(line), beats, fifths) for n, line in enumerate(lines, 1)]
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
        '<part-list><score-part id="P1"><part-name>Piano</part-name></score-part>'
        f'</part-list><part id="P1">{"".join(bars)}</part></score-partwise>'
    )


def _bar(number: int, line: Line, beats: int, fifths: int) -> str:
    begin = ""
    if number == 1:
        begin = (
            f"<attributes><divisions>1</divisions><key><fifths>{fifths}</fifths></key>"
            f"<time><beats>{beats}</beats><beat-type>4</beat-type></time><staves>2"
            '</staves><clef number="1"><sign>G</sign><line>2</line></clef>'
            '<clef number="2"><sign>F</sign><line>4</line></clef></attributes>'
        )
    root, minor = line.chord[0], line.chord.endswith("m")
    kind = "minor" if minor else "major"
    harmony = (
        f"<harmony><root><root-step>{root}</root-step></root><kind>{kind}</kind>"
        "</harmony>"
    )
    right = [
        _note(note, beats, 1, chord=place > 0)
        for place, note in enumerate(sorted(line.right, key=height))
    ]
    left = _note(line.left, beats, 2, chord=False)
    back = f"<backup><duration>{beats}</duration></backup>"
    return (
        f'<measure number="{number}">{begin}{harmony}{"".join(right)}{back}{left}'
        "</measure>"
    )


def _note(note: str, beats: int, staff: int, *, chord: bool) -> str:
    alter = note.count("#") - note[1:].count("b")
    sign = f"<alter>{alter}</alter>" if alter else ""
    value = "<type>half</type><dot/>" if beats == 3 else "<type>whole</type>"
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{note[0]}</step>{sign}"
        f"<octave>{note[-1]}</octave></pitch><duration>{beats}</duration>"
        f"<voice>{staff}</voice>{value}<staff>{staff}</staff></note>"
    )
