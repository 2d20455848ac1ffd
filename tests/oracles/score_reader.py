"""Oracles from outside that read what the writers write: the schema, and music21.

The MusicXML 4.0 schema is the one that the PyPI package `musicxml` carries.
"""

from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NamedTuple

from lxml import etree

from harmonise.theory.pitch import LETTERS, Pitch

_ATTRIBUTES = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
  targetNamespace="{space}">{attributes}</xs:schema>"""
_IMPORTED = {
    "xml.xsd": ("http://www.w3.org/XML/1998/namespace", ("lang", "space")),
    "xlink.xsd": (
        "http://www.w3.org/1999/xlink",
        ("href", "type", "role", "title", "show", "actuate"),
    ),
}
"""Attributes of XML 1.0 and XLink 1.1 that the MusicXML schema refers to. It imports
their schemas by web address and no installed package carries them; scores of ours use
none of them, so that their types do not matter."""


class _Carried(etree.Resolver):  # type: ignore[misc]
    """Finds the schemas that the MusicXML schema imports, without the network."""

    def resolve(self, url: str, _public: str, context: object) -> object:
        """Return the text of an imported schema; None for the main one."""
        name = url.rpartition("/")[2]
        if name not in _IMPORTED or not url.startswith("http"):
            return None
        space, names = _IMPORTED[name]
        attributes = "".join(f'<xs:attribute name="{own}"/>' for own in names)
        text = _ATTRIBUTES.format(space=space, attributes=attributes)
        return self.resolve_string(text, context, base_url=url)


@lru_cache(maxsize=1)
def musicxml_schema() -> Any:  # noqa: ANN401 - lxml has no types
    """Return the MusicXML 4.0 schema."""
    spec = find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    schema = Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd"
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Carried())
    return etree.XMLSchema(etree.parse(str(schema), parser))


def schema_faults(musicxml: bytes) -> list[str]:
    """Return what the MusicXML 4.0 schema has against a file; [] if it is valid."""
    schema = musicxml_schema()
    parser = etree.XMLParser(load_dtd=False, no_network=True)
    schema.validate(etree.fromstring(musicxml, parser))
    return [f"{fault.line}: {fault.message}" for fault in schema.error_log]


class Read(NamedTuple):
    """One struck note as read back.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets, tied parts added.
        pitch: Spelled pitch.
        staff: 1 treble, 2 bass.
        words: (verse, syllabic, text) of each syllable.
    """

    onset: Fraction
    length: Fraction
    pitch: Pitch
    staff: int
    words: tuple[tuple[int, str, str], ...] = ()


class Part(NamedTuple):
    """One printed note as read back, before tied parts are joined."""

    read: Read
    voice: str
    tie: str


def parse(musicxml: bytes) -> Any:  # noqa: ANN401 - music21 has no types that help
    """Return the music21 stream of a file, without its cache on disk."""
    from music21 import musicxml as reader  # noqa: PLC0415, TID251 - a slow oracle

    importer = reader.xmlToM21.MusicXMLImporter()
    importer.xmlText = musicxml.decode()
    importer.parseXMLText()
    return importer.stream


def read_notes(musicxml: bytes) -> tuple[list[Read], list[Read]]:
    """Return what music21 reads: the top line of voice 1, and all other notes."""
    score = parse(musicxml)
    tune: list[Part] = []
    others: list[Part] = []
    for staff, part in enumerate(score.parts, 1):
        for measure in part.getElementsByClass("Measure"):
            for element in measure.recurse().notes:
                if "Harmony" in element.classes or element.duration.isGrace:
                    continue
                onset = _exact(measure.offset)
                onset += _exact(element.getOffsetInHierarchy(measure))
                voice = getattr(element.activeSite, "id", "")
                voice = voice if "Voice" in element.activeSite.classes else "1"
                own = _parts(element, onset, staff, str(voice))
                top = staff == 1 and str(voice) == "1"
                if top:
                    tune.append(own.pop())
                others.extend(own)
    return join_ties(tune), join_ties(others)


def _parts(element: Any, onset: Fraction, staff: int, voice: str) -> list[Part]:  # noqa: ANN401
    """Return the heads of a note or chord from the lowest up."""
    heads = element.notes if element.isChord else (element,)
    length = _exact(element.quarterLength)
    words = tuple((w.number, w.syllabic, w.text) for w in element.lyrics)
    made = []
    for head in sorted(heads, key=lambda own: own.pitch.midi):
        tie = head.tie.type if head.tie else ""
        read = Read(onset, length, _pitch(head.pitch), staff, words)
        made.append(Part(read, voice, tie))
    return made


def _exact(time: float | Fraction) -> Fraction:
    """Return a time as a fraction; music21 keeps some of them as floats."""
    return Fraction(time).limit_denominator(65535)


def _pitch(pitch: Any) -> Pitch:  # noqa: ANN401
    return Pitch(LETTERS.index(pitch.step), int(pitch.alter), pitch.octave)


def join_ties(parts: Iterable[Part]) -> list[Read]:
    """Return struck notes, tied parts joined, by onset and height."""
    done: list[Read] = []
    open_: dict[tuple[int, Pitch], Read] = {}
    for read, _, tie in sorted(parts, key=lambda part: part.read.onset):
        place = (read.staff, read.pitch)
        held = read
        if tie in ("stop", "continue"):
            before = open_.pop(place)
            assert before.onset + before.length == read.onset, (before, read)
            held = before._replace(length=before.length + read.length)
        if tie in ("start", "continue"):
            assert place not in open_, read
            open_[place] = held
        else:
            done.append(held)
    assert not open_
    return sorted(done, key=lambda own: (own.onset, own.pitch.midi))


def read_symbols(musicxml: bytes) -> list[tuple[Fraction, str, str]]:
    """Return onset, root and bass of each chord symbol, as music21 reads them."""
    symbols = parse(musicxml).recurse().getElementsByClass("ChordSymbol")
    return [
        (
            _exact(own.getOffsetInHierarchy(own.getContextByClass("Part"))),
            own.root().name.replace("-", "b"),
            own.bass().name.replace("-", "b"),
        )
        for own in symbols
    ]
