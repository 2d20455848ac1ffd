"""An arrangement as MusicXML 4.0: one part on a grand staff, tune on top.

The lead sheet has the tune, words and chord symbols on one treble staff. The layout
follows TRADE N01 to N14; the clefs never change and nothing is written an octave off
(N14 asks for that from four ledger lines on, higher than tunes that people sing). Why
not music21's writer: it takes a hundred times as long, and its ids differ from run to
run.

Ids: a note is n and its number among `Arrangement.notes`, from 0; its tied parts add
-2, -3 and so on; its grace notes add g1, g2. A reader of an engraved page finds the
sounding note by them.
"""

from collections.abc import Collection
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement

from harmonise.notation.musicxml import written_bars
from harmonise.notation.musicxml.elements import LINES, LOCKED
from harmonise.notation.musicxml.written_notes import write_sign
from harmonise.notation.musicxml.written_xml import add, format_tree
from harmonise.notation.score.printed_labels import clean
from harmonise.notation.score.score_plan import (
    BarPlan,
    Floating,
    Plan,
    plan_lead_sheet,
    plan_score,
)
from harmonise.notation.signed import sign_xml
from harmonise.notation.told_locks import tell_locks
from harmonise.theory.arrangement import Arrangement, Slot
from harmonise.theory.tune import Bar, Tune

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    "<!DOCTYPE score-partwise PUBLIC"
    ' "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    ' "http://www.musicxml.org/dtds/partwise.dtd">\n'
)


class FileIdentity(NamedTuple):
    """What a file says of itself beside its music, for whoever gets it back.

    Attributes:
        number: Number of the work, which editors keep and do not print.
        rights: Text that editors print at the foot of the first page.
        field: Name and content of a miscellaneous field.
    """

    number: str = ""
    rights: str = ""
    field: tuple[str, str] = ("", "")


_NAMELESS = FileIdentity()


def format_musicxml(arrangement: Arrangement) -> bytes:
    """Return an arrangement as a MusicXML 4.0 file in UTF-8.

    The same arrangement gives the same bytes. The tune is written as it is, its notes
    split and tied where bar lines and beats ask for it.

    Args:
        arrangement: The arrangement; its notes may cross bar lines.
    """
    return sign_xml(format_plan(plan_score(arrangement)))


def format_lead_sheet(arrangement: Arrangement) -> bytes:
    """Return the lead sheet of an arrangement as a MusicXML 4.0 file in UTF-8.

    Bars, repeats, tempo marks, words and the ids of notes are those of the score for
    two hands. The same arrangement gives the same bytes.

    Args:
        arrangement: The arrangement; its hands are left out.
    """
    return sign_xml(format_plan(plan_lead_sheet(arrangement)))


def format_vocal_score(sung: Plan, played: Plan) -> bytes:
    """Return a vocal score: the tune on a staff of its own above the piano.

    Symbols, tempos and names of sections stand over the tune alone. Its notes have v
    before their ids, so that every id is there once; bars have theirs in its part.

    Args:
        sung: Plan of the tune, with words and what stands above them.
        played: Plan of the piano's score, without words, in the same bars.
    """
    root, piano = _score(sung, _NAMELESS), _score(played, _NAMELESS)
    for note in root.iter("note"):
        if "id" in note.attrib:
            note.set("id", f"v{note.attrib['id']}")
    parts = []
    for name in ("part-list/score-part", "part"):
        for part in piano.findall(name):
            part.set("id", "P2")
            parts.append(part)
    for measure in piano.iter("measure"):
        del measure.attrib["id"]
        for above in [*measure.findall("harmony"), *measure.findall("direction")]:
            measure.remove(above)
    names = root.find("part-list")
    if names is not None:
        names.append(parts[0])
    root.append(parts[1])
    return (_HEAD + format_tree(root)).encode()


def format_plan(plan: Plan, identity: FileIdentity = _NAMELESS) -> bytes:
    """Return a planned score as a MusicXML 4.0 file in UTF-8."""
    return (_HEAD + format_tree(_score(plan, identity))).encode()


def _score(plan: Plan, identity: FileIdentity) -> Element:
    """Return a planned score as MusicXML."""
    root = Element("score-partwise", {"version": "4.0"})
    _add_header(root, plan.tune, plan.name, identity)
    part = SubElement(root, "part", {"id": "P1"})
    bars = [None, *(bar.bar for bar in plan.bars), None]
    for at, bar in enumerate(plan.bars):
        measure = SubElement(part, "measure", {"number": bar.number})
        # Neither a pickup nor the second part of a split bar prints its number.
        if bar.number.startswith(("0", "X")):
            measure.set("implicit", "yes")
        measure.set("id", f"m{at}")
        _open_bar(measure, bar, bars[at], plan)
        within = _symbols_within(bar)
        _write_tune(measure, bar, within.values(), plan.tune.verses)
        for line in bar.lines[1:]:
            length = line[-1].end - bar.start
            add(add(measure, "backup"), "duration", str(length))
            for sign in line:
                if sign.notes and sign.start in within:
                    symbol = within.pop(sign.start)
                    measure.append(written_bars.direction(symbol.what, 0))
                write_sign(measure, sign, plan.tune.verses)
        written_bars.add_right_line(measure, bar.bar, bars[at + 2])
    return root


def _add_header(root: Element, tune: Tune, player: str, identity: FileIdentity) -> None:
    if identity.number or tune.title:
        work = add(root, "work")
        if identity.number:
            add(work, "work-number", clean(identity.number))
        if tune.title:
            add(work, "work-title", clean(tune.title))
    identification = add(root, "identification")
    if tune.composer:
        composer = add(identification, "creator", clean(tune.composer))
        composer.set("type", "composer")
    add(identification, "rights", clean(identity.rights))
    encoding = add(identification, "encoding")
    add(encoding, "software", "harmonise")
    for name in ("accidental", "beam", "stem"):
        SubElement(encoding, "supports", {"element": name, "type": "yes"})
    if tune.origin:
        add(identification, "source", clean(tune.origin))
    if tune.phrases or tune.locks or identity.field[0]:
        _add_fields(identification, tune, identity)
    part = SubElement(add(root, "part-list"), "score-part", {"id": "P1"})
    add(part, "part-name", player).set("print-object", "no")


def _add_fields(identification: Element, tune: Tune, identity: FileIdentity) -> None:
    """Append where the lines of the tune end, in crotchets from its start, and locks.

    Lines of print are no lines of the tune: short ones share one, long ones are broken.
    Of all that is not printed, other programs keep such fields best.
    """
    miscellaneous = add(identification, "miscellaneous")
    lines, locks = " ".join(map(str, tune.phrases)), tell_locks(tune.locks)
    fields = [(LINES, lines), (LOCKED, locks), identity.field]
    for name, content in fields:
        if name and content:
            add(miscellaneous, "miscellaneous-field", content).set("name", name)


def _open_bar(measure: Element, plan: BarPlan, before: Bar | None, score: Plan) -> None:
    """Append what stands before the notes of a bar."""
    if plan.new_line:
        SubElement(measure, "print", {"new-system": "yes"})
    at_once = [key for tick, key in plan.keys if tick <= plan.start]
    key = at_once[-1] if at_once else None
    written_bars.add_attributes(measure, plan.bar, before, key, score)
    written_bars.add_left_line(measure, plan.bar, before)


def _symbols_within(plan: BarPlan) -> dict[int, Floating]:
    """Return the chord symbols that a note of another voice begins with, by its tick.

    Programs that pass over `<offset>` put what stands before a long note of the tune
    over its beginning, and LilyPond's converter then shifts all symbols after it.
    """
    tune = {sign.start for sign in plan.lines[0]}
    struck = {sign.start for line in plan.lines[1:] for sign in line if sign.notes}
    return {
        symbol.tick: symbol
        for symbol in plan.above
        if isinstance(symbol.what, Slot) and symbol.tick in struck - tune
    }


def _write_tune(
    measure: Element, plan: BarPlan, elsewhere: Collection[Floating], verses: int
) -> None:
    """Append voice 1 with what floats above it, and signatures inside the bar.

    Args:
        measure: The measure.
        plan: The bar.
        elsewhere: What is written before notes of other voices.
        verses: How many verses the words have.
    """
    above = [floating for floating in plan.above if floating not in elsewhere]
    keys = [(tick, key) for tick, key in plan.keys if tick > plan.start]
    for sign in plan.lines[0]:
        while keys and keys[0][0] <= sign.start:
            written_bars.add_key(add(measure, "attributes"), keys.pop(0)[1])
        while above and above[0].tick < sign.end:
            tick, what = above.pop(0)
            measure.append(written_bars.direction(what, tick - sign.start))
        for tick, box in plan.boxes:
            if sign.start <= tick < sign.end:
                measure.append(written_bars.direction(box, tick - sign.start))
        write_sign(measure, sign, verses)
    for _, key in keys:
        written_bars.add_key(add(measure, "attributes"), key)
    measure.extend(written_bars.direction(what, 0) for _, what in above)
    # What ends a bar sounds after its last note but is printed over its last beat.
    measure.extend(written_bars.direction(what, -plan.back) for _, what in plan.closing)
