"""Printed sheets of an arrangement, for two hands or the tune alone.

The score has title, origin, lines of music and keyboards; a vocal score has the tune
with its words on a staff above the piano. The lead sheet has the tune on one staff,
words below, chord symbols above; the page of a congregation has tune and words alone,
larger.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from harmonise.notation.musicxml.writer import format_plan, format_vocal_score
from harmonise.notation.paper.blocks import (
    A4_PAGE,
    GAP,
    Block,
    Lettering,
    Look,
    Music,
    NewPage,
    Page,
    Picture,
    System,
    Title,
    Words,
    music_look,
    text_width,
)
from harmonise.notation.paper.casting_off import Drafter, OtherRoom, cast_off
from harmonise.notation.paper.engraving import (
    DraftScore,
    draft_score,
    finger_leaders,
)
from harmonise.notation.paper.keyboards import (
    Keyboard,
    Press,
    draw_keyboards,
    printed_name,
    told_legend,
)
from harmonise.notation.score.printed_labels import (
    chord_runs,
    format_numeral,
    format_symbol,
    printed_shapes,
    shape_legend,
    thin_legend,
)
from harmonise.notation.score.score_plan import (
    Plan,
    plan_lead_sheet,
    plan_score,
    plan_sung,
)
from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote
from harmonise.theory.chord import Chord
from harmonise.theory.pitch import Pitch
from harmonise.theory.reach import right_hand_fingers
from harmonise.theory.tune import Tune

_STAFF = 8
"""Height of the staff in millimetres: it is read from a stand, at arm's length."""
_TEXT = 1.15
"""Size of symbols and words, as a multiple of what suits the staff."""
_VOCAL = 0.9
"""Size of the staves of a vocal score, as a part of a piano score's."""
_SUNG_STAFF, _SUNG_TEXT = 9, 1.3
"""The same for those who sing, who share a page and read the words first."""
_BOLD_SYMBOLS = "<style>.page-margin .harm{font-weight:bold}"


def head_of(tune: Tune) -> Title:
    """Return title, origin and composer of a tune, as they stand over its music."""
    return Title(tune.title or "Tune", tune.origin, tune.composer)


def score_blocks(
    arrangement: Arrangement,
    page: Page = A4_PAGE,
    order: str = "",
    *,
    alone: bool = True,
    vocal: bool = False,
) -> tuple[Block, ...]:
    """Return the sheet of an arrangement as blocks.

    Args:
        arrangement: What was arranged; its style says what is printed.
        page: The page that the blocks will be set on.
        order: In which order verses and the rest are sung; "" for none.
        alone: Whether nothing else will stand on its pages.
        vocal: Whether tune and words have a staff of their own above the piano.
    """
    above = [Words(order, Lettering.SMALL)] if order else []
    shapes = shape_legend(arrangement.style.labels, printed_shapes(arrangement))
    legend = f"{shapes} {thin_legend(arrangement)}".strip()
    below: list[Block] = [Words(legend, Lettering.SMALL)] if legend else []
    after = keyboard_blocks(arrangement, page) if arrangement.style.keyboards else []
    parts = (tuple(above), tuple(below), tuple(after))
    piece = _Piece(arrangement, page, *parts, alone=alone)
    look = music_look(page)
    if vocal:
        look = look._replace(staff=look.staff * _VOCAL)
        return piece.blocks(partial(_draft_vocal, arrangement, look), look)
    return piece.blocks(partial(_draft, arrangement, plan_score, look), look)


_Planner = Callable[[Arrangement, Collection[int]], Plan]


def _draft(
    arrangement: Arrangement, planner: _Planner, look: Look, lines: Collection[int]
) -> DraftScore:
    plan = planner(arrangement, lines)
    return draft_score(format_plan(plan), look, finger_leaders(plan))


def _draft_vocal(
    arrangement: Arrangement, look: Look, lines: Collection[int]
) -> DraftScore:
    tune = arrangement.tune
    notes = tuple(note._replace(syllables=()) for note in tune.notes)
    wordless = arrangement._replace(tune=tune._replace(notes=notes, verses=0))
    played = plan_score(wordless, lines)
    score = format_vocal_score(plan_lead_sheet(arrangement, lines), played)
    return draft_score(score, look, finger_leaders(played))


class _Piece(NamedTuple):
    """A piece on paper.

    Attributes:
        arrangement: What was arranged.
        page: The page that it is set on.
        above: What stands between its title and its music.
        below: What stands below its music.
        after: What follows below that, or on further pages.
        alone: Whether nothing else will stand on its pages.
    """

    arrangement: Arrangement
    page: Page
    above: tuple[Block, ...] = ()
    below: tuple[Block, ...] = ()
    after: tuple[Block, ...] = ()
    alone: bool = True

    def blocks(self, drafter: Drafter, look: Look) -> tuple[Block, ...]:
        """Return all its blocks, the title first."""
        title = head_of(self.arrangement.tune)
        parts = ((title, *self.above), self.below, self.after)
        high, below, after = (_height(part, self.page) for part in parts)
        room = OtherRoom(high, below, after, self.alone)
        cast = cast_off(self.arrangement, drafter, look, self.page, room)
        if self.below and len(cast.lines) > 1 and cast.lines[-1].turned:
            # A legend above the music leaves the last page to one more line.
            legend_first = self._replace(above=(*self.above, *self.below), below=())
            return legend_first.blocks(drafter, look)
        systems = tuple(line.system for line in cast.lines)
        told = told_systems(self.arrangement, systems)
        music: list[Block] = []
        for line, (system, words) in zip(cast.lines, told, strict=True):
            music += [NewPage()] if line.turned else []
            music.append(Music(system, words, above=line.above))
        return (
            title._replace(above=cast.top),
            *self.above,
            *music,
            *self.below,
            *self.after,
        )


def _height(blocks: Sequence[Block], page: Page) -> float:
    """Return about how high titles, paragraphs and drawings are, in millimetres.

    The distance to what follows is included. The figures are those of `sheet.typ`.
    """
    scale = 1.35 if page.large_print else 1
    width = text_width(page)

    def rows(text: str, points: float) -> int:
        # A letter is about half as wide as high, in bold somewhat wider.
        wide = 0.18 * points * scale * (1.1 if page.large_print else 1)
        return sum(int(len(row) * wide / width) + 1 for row in text.split("\n"))

    high = 0.0
    for block in blocks:
        if isinstance(block, Title):
            high += 5 + rows(block.text, 16) * 6.8 * scale - 3 * scale
            for part in filter(None, (block.under, block.by)):
                high += 1.2 * scale + rows(part, 10) * 4.3 * scale
        elif isinstance(block, Words):
            points = 12 if block.manner is Lettering.HEADING else 9
            high += GAP + rows(block.text, points) * 0.43 * points * scale - 1.6 * scale
        elif isinstance(block, Picture):
            high += GAP + block.height
    return high


def told_systems(
    arrangement: Arrangement, systems: tuple[System, ...]
) -> Iterator[tuple[System, str]]:
    """Yield lines of music with the words that stand for them on a spoken page.

    Args:
        arrangement: What was arranged.
        systems: Its lines, engraved; their bars have the ids of its MusicXML.
    """
    for system in systems:
        numbers = [
            arrangement.tune.bars[int(name.removeprefix("m"))].number
            for name in system.bars
        ]
        first, last = numbers[0], numbers[-1]
        many = first != last
        yield system, f"Bars {first} to {last}" if many else f"Bar {first}"


def keyboard_blocks(arrangement: Arrangement, page: Page = A4_PAGE) -> list[Block]:
    """Return keyboard diagrams of every chord that an arrangement plays, in order.

    The right hand's keys are drawn, and what the left hand plays of the chord stands
    below: together they are the whole chord, also where the right hand has little of
    it. A chord is drawn again only when it or its keys change.
    """
    boards = list(_keyboards(arrangement))
    strips = draw_keyboards(boards, text_width(page), large=page.large_print)
    if not strips:
        return []
    words = [Words("The chords at the keyboard", Lettering.HEADING)]
    legend = told_legend(boards)
    return [*words, Words(legend, Lettering.SMALL, keep=True), *strips]


def _keyboards(arrangement: Arrangement) -> Iterator[Keyboard]:
    before: object = None
    for run in chord_runs(arrangement):
        left = _left_hand([note for _, notes in run for note in notes], run[0][0].chord)
        for slot, notes in run:
            presses = tuple(_presses(slot, notes, left))
            if slot.chord and presses and (slot.chord, presses, left) != before:
                numeral = format_numeral(slot.numeral)
                symbol = format_symbol(slot.chord)
                bar = f"Bar {slot.place.bar}" if slot.place.bar else "Pickup"
                yield Keyboard(presses, f"{bar}: {symbol} ({numeral})", left)
                before = (slot.chord, presses, left)


def _presses(slot: Slot, notes: Sequence[SoundingNote], left: str) -> Iterator[Press]:
    """Yield the keys of its chord that the right hand presses in a slot."""
    chord = slot.chord
    if chord is None:
        return
    held = _held(slot, chord, notes, left)
    fingers = right_hand_fingers([pitch.midi for pitch in held])
    for pitch, finger in zip(held, fingers or [0] * len(held), strict=True):
        # A tune note that is foreign to the chord is fingered, but not drawn.
        if chord.member_of(pitch.pitch_class) is not None:
            yield Press(pitch, finger)


def _held(
    slot: Slot, chord: Chord, notes: Sequence[SoundingNote], left: str
) -> list[Pitch]:
    """Return the right hand's keys of a chord, lowest first.

    They are what it plays or holds when the chord begins; what neither hand has of the
    chord then is added where the right hand plays it later.
    """
    known = {name.strip() for name in left.partition(":")[2].split(",")}
    held: list[Pitch] = []
    for note in (note for note in notes if note.hand is Hand.RIGHT):
        name = printed_name(note.pitch)
        belongs = chord.member_of(note.pitch.pitch_class) is not None
        if note.onset <= slot.onset or (belongs and name not in known):
            held.append(note.pitch)
            known.add(name)
    return sorted(held, key=lambda pitch: pitch.midi)


def _left_hand(notes: Sequence[SoundingNote], chord: Chord | None) -> str:
    """Return what the left hand plays of a chord, in order, such as "left: F, A, C"."""
    names = [
        printed_name(note.pitch)
        for note in notes
        if chord
        and note.hand is Hand.LEFT
        and chord.member_of(note.pitch.pitch_class) is not None
    ]
    return f"left: {', '.join(dict.fromkeys(names))}" if names else ""


def lead_sheet_blocks(
    arrangement: Arrangement, page: Page = A4_PAGE, *, alone: bool = True
) -> tuple[Block, ...]:
    """Return the lead sheet of an arrangement as blocks.

    Args:
        arrangement: What was arranged.
        page: The page that the blocks will be set on.
        alone: Whether nothing else will stand on its pages.
    """
    look = music_look(page, staff=_STAFF)
    if not page.large_print:
        look = look._replace(text=_TEXT)
    drafter = partial(_draft, arrangement, plan_lead_sheet, look)
    blocks = _Piece(arrangement, page, alone=alone).blocks(drafter, look)
    return tuple(_bold_symbols(block) for block in blocks)


def congregation_blocks(
    arrangement: Arrangement, page: Page = A4_PAGE, *, alone: bool = True
) -> tuple[Block, ...]:
    """Return the page of those who sing: the tune and its words, large.

    Args:
        arrangement: What was arranged.
        page: The page that the blocks will be set on.
        alone: Whether nothing else will stand on its pages.
    """
    look = music_look(page, staff=_SUNG_STAFF)
    look = look._replace(text=max(look.text, _SUNG_TEXT))
    drafter = partial(_draft, arrangement, plan_sung, look)
    return _Piece(arrangement, page, alone=alone).blocks(drafter, look)


def _bold_symbols(block: Block) -> Block:
    """Return a block; if it is music, with bold chord symbols."""
    if not isinstance(block, Music):
        return block
    svg = block.system.svg.replace("<style>", _BOLD_SYMBOLS, 1)
    return block._replace(system=block.system._replace(svg=svg))
