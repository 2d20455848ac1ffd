"""Small MusicXML files for the reader's tests, written out element by element.

Nothing of the package is used here: what the reader gets is made by other code than
its own. Lengths are crotchets; sixty divisions make one.
"""

import io
import zipfile
from collections.abc import Mapping, Sequence
from fractions import Fraction

DIVISIONS = 60
FOUR_FOUR = "<time><beats>4</beats><beat-type>4</beat-type></time>"
C_MAJOR = "<key><fifths>0</fifths><mode>major</mode></key>"
CONTAINER = '<container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'


def note(name: str, length: float | Fraction, *extra: str) -> str:
    """Return a note.

    Args:
        name: Such as "F#4" or "Bb3"; "r" for a rest.
        length: Crotchets.
        extra: Further children; "chord" stands for the chord sign.
    """
    head = "<chord/>" if "chord" in extra else ""
    rest = "".join(child for child in extra if child != "chord")
    duration = Fraction(length) * DIVISIONS
    return f"<note>{head}{_pitch(name)}<duration>{duration}</duration>{rest}</note>"


def grace(name: str, kind: str = "eighth", slash: str = "no") -> str:
    """Return a grace note."""
    mark = f'<grace slash="{slash}"/>'
    return f"<note>{mark}{_pitch(name)}<type>{kind}</type></note>"


def _pitch(name: str) -> str:
    if name == "r":
        return "<rest/>"
    alter = {"": "", "#": "<alter>1</alter>", "b": "<alter>-1</alter>"}[name[1:-1]]
    return f"<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"


def tie(*kinds: str) -> str:
    """Return ties that start or stop."""
    return "".join(f'<tie type="{kind}"/>' for kind in kinds)


def lyric(text: str, syllabic: str = "single", number: str = "1") -> str:
    """Return a syllable."""
    return (
        f'<lyric number="{number}"><syllabic>{syllabic}</syllabic>'
        f"<text>{text}</text></lyric>"
    )


def notations(*children: str) -> str:
    """Return notations."""
    return f"<notations>{''.join(children)}</notations>"


def move(tag: str, length: float | Fraction) -> str:
    """Return a `backup` or `forward`."""
    return f"<{tag}><duration>{Fraction(length) * DIVISIONS}</duration></{tag}>"


def attributes(*children: str) -> str:
    """Return attributes."""
    return f"<attributes>{''.join(children)}</attributes>"


def start(key: str = C_MAJOR, time: str = FOUR_FOUR, *more: str) -> str:
    """Return the attributes at the beginning of a part."""
    return attributes(f"<divisions>{DIVISIONS}</divisions>", key, time, *more)


def measure(*content: str, number: object = 1, implicit: bool = False) -> str:
    """Return a measure."""
    said = ' implicit="yes"' if implicit else ""
    return f'<measure number="{number}"{said}>{"".join(content)}</measure>'


def measures(*contents: str) -> str:
    """Return measures numbered from 1."""
    return "".join(measure(text, number=n) for n, text in enumerate(contents, 1))


def barline(*children: str, location: str = "right") -> str:
    """Return a barline."""
    return f'<barline location="{location}">{"".join(children)}</barline>'


def harmony(root: str, kind: str, *more: str) -> str:
    """Return a chord symbol; root such as "Bb"."""
    alter = {
        "": "",
        "#": "<root-alter>1</root-alter>",
        "b": "<root-alter>-1</root-alter>",
    }
    step = f"<root><root-step>{root[0]}</root-step>{alter[root[1:]]}</root>"
    return f"<harmony>{step}<kind>{kind}</kind>{''.join(more)}</harmony>"


def direction(*types: str, sound: str = "") -> str:
    """Return a direction; each type is one child of a `direction-type`."""
    kinds = "".join(f"<direction-type>{kind}</direction-type>" for kind in types)
    return f"<direction>{kinds}{sound}</direction>"


def score(*parts: str, head: str = "", names: Sequence[str] = ()) -> bytes:
    """Return a score of parts, each given as its measures.

    Args:
        parts: Measures of each part; their ids are P1, P2 and so on.
        head: What stands before the part list.
        names: Names of the parts.
    """
    called = [*names, *(f"Part {n}" for n in range(len(names) + 1, len(parts) + 1))]
    listed = "".join(
        f'<score-part id="P{n}"><part-name>{name}</part-name></score-part>'
        for n, name in enumerate(called, 1)
    )
    music = "".join(
        f'<part id="P{n}">{content}</part>' for n, content in enumerate(parts, 1)
    )
    text = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f"{head}<part-list>{listed}</part-list>{music}</score-partwise>"
    )
    return text.encode()


def tune(*contents: str, key: str = C_MAJOR, time: str = FOUR_FOUR) -> bytes:
    """Return a score of one part, its measures numbered from 1."""
    first, *others = contents
    return score(measures(start(key, time) + first, *others))


def mxl(files: Mapping[str, bytes | str]) -> bytes:
    """Return a zip archive."""
    stored = io.BytesIO()
    with zipfile.ZipFile(stored, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return stored.getvalue()


FULL = note("C4", 4)
FORWARD = barline('<repeat direction="forward"/>', location="left")
BACKWARD = barline('<repeat direction="backward"/>')
DOUBLE = barline("<bar-style>light-light</bar-style>")
