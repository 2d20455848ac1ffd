"""Printed sheets of an arrangement, for two hands or the tune alone.

The score has title, origin, lines of music and keyboards. The lead sheet has the tune
on one staff, words below, chord symbols above.
"""

from collections.abc import Iterator, Sequence

from harmonise.notation.paper.blocks import (
    A4_PAGE,
    MARGIN,
    Block,
    Lettering,
    Look,
    Music,
    Page,
    System,
    Title,
    Words,
    music_look,
    page_size,
    text_width,
)
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.paper.keyboards import LEGEND, Keyboard, Press, draw_keyboards
from harmonise.notation.score.printed_labels import (
    format_numeral,
    format_symbol,
    shape_legend,
)
from harmonise.notation.score.score_plan import Plan, plan_lead_sheet, plan_score
from harmonise.theory.arrangement import Arrangement, Hand, Position
from harmonise.theory.reach import right_hand_fingers
from harmonise.theory.tune import Tune

_STAFF = 8
"""Height of the staff in millimetres: it is read from a stand, at arm's length."""
_TEXT = 1.15
"""Size of symbols and words, as a multiple of what suits the staff."""
_BOLD_SYMBOLS = "<style>.page-margin .harm{font-weight:bold}"


def head_of(tune: Tune) -> Title:
    """Return title, origin and composer of a tune, as they stand over its music."""
    return Title(tune.title or "Tune", tune.origin, tune.composer)


def score_blocks(
    arrangement: Arrangement, page: Page = A4_PAGE, order: str = ""
) -> tuple[Block, ...]:
    """Return the sheet of an arrangement as blocks.

    Args:
        arrangement: What was arranged; its style says what is printed.
        page: The page that the blocks will be set on.
        order: In which order verses and the rest are sung; "" for none.
    """
    tune = arrangement.tune
    above: list[Block] = [head_of(tune)]
    if order:
        above.append(Words(order, Lettering.SMALL))
    slots = arrangement.slots
    legend = shape_legend(
        arrangement.style.labels,
        sevenths=any(slot.chord and len(slot.chord.members) > 3 for slot in slots),
        opened=any(slot.position is Position.OPEN for slot in slots),
    )
    below: list[Block] = [Words(legend, Lettering.SMALL)] if legend else []
    words = _height_of_words((*above, *below))
    systems = _on_one_page(plan_score(arrangement), music_look(page), page, words)
    music = (Music(*row) for row in told_systems(arrangement, systems))
    blocks: list[Block] = [*above, *music, *below]
    if arrangement.style.keyboards:
        blocks += keyboard_blocks(arrangement, page)
    return tuple(blocks)


_LEAST = 0.85
"""How small staves may become for one page, as a part of their usual size."""
_GAP = 4.7
"""Millimetres between two blocks on a page."""
_FOOT = 20
"""Millimetres below the text of a page."""


def _height_of_words(blocks: Sequence[Block]) -> float:
    """Return about how high titles and short paragraphs are, in millimetres."""
    high = 0.0
    for block in blocks:
        if isinstance(block, Title):
            parts = [part for part in (block.under, block.by) if part]
            high += 12 + sum(2.5 + 4.5 * len(part.split("\n")) for part in parts)
        elif isinstance(block, Words):
            high += 3.5 + _GAP
    return high


def _on_one_page(
    plan: Plan, look: Look, page: Page, words: float
) -> tuple[System, ...]:
    """Return the lines of a score, somewhat smaller if one page holds them then.

    A player has no hand free to turn a page; large print stays large.

    Args:
        plan: The score.
        look: How it is engraved.
        page: The page that it is set on.
        words: Height of what else stands on the page, in millimetres.
    """
    systems = engrave_plan(plan, look)
    room = page_size(page)[1] - MARGIN - _FOOT - words - _GAP * (len(systems) - 1)
    part = room / sum(system.height for system in systems)
    if page.large_print or not _LEAST <= part < 1:
        return systems
    return engrave_plan(plan, look._replace(staff=look.staff * part))


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

    A chord is drawn where the right hand plays two of its notes or more, and again only
    when the chord or its keys change.
    """
    boards = list(_keyboards(arrangement))
    strips = draw_keyboards(boards, text_width(page), large=page.large_print)
    if not strips:
        return []
    words = [Words("The chords at the keyboard", Lettering.HEADING)]
    return [*words, Words(LEGEND, Lettering.SMALL, keep=True), *strips]


def _keyboards(arrangement: Arrangement) -> Iterator[Keyboard]:
    right = [note for note in arrangement.notes if note.hand is Hand.RIGHT]
    before: object = None
    for slot in arrangement.slots:
        if slot.chord is None:
            continue
        held = [
            note.pitch
            for note in right
            if note.onset <= slot.onset < note.onset + note.length
        ]
        held.sort(key=lambda pitch: pitch.midi)
        fingers = right_hand_fingers([pitch.midi for pitch in held])
        presses = tuple(
            Press(pitch, finger)
            for pitch, finger in zip(held, fingers or [0] * len(held), strict=True)
            # A tune note that is foreign to the chord is not drawn.
            if slot.chord.member_of(pitch.pitch_class) is not None
        )
        if len(presses) > 1 and (slot.chord, presses) != before:
            numeral = format_numeral(slot.numeral)
            symbol = format_symbol(slot.chord)
            bar = f"Bar {slot.place.bar}" if slot.place.bar else "Pickup"
            yield Keyboard(presses, f"{bar}: {symbol} ({numeral})")
            before = (slot.chord, presses)


def lead_sheet_blocks(
    arrangement: Arrangement, page: Page = A4_PAGE
) -> tuple[Block, ...]:
    """Return the lead sheet of an arrangement as blocks.

    Args:
        arrangement: What was arranged.
        page: The page that the blocks will be set on.
    """
    tune = arrangement.tune
    look = music_look(page, staff=_STAFF)
    if not page.large_print:
        look = look._replace(text=_TEXT)
    blocks: list[Block] = [head_of(tune)]
    high = _height_of_words(blocks)
    systems = _on_one_page(plan_lead_sheet(arrangement), look, page, high)
    for system, words in told_systems(arrangement, systems):
        svg = system.svg.replace("<style>", _BOLD_SYMBOLS, 1)
        blocks.append(Music(system._replace(svg=svg), words))
    return tuple(blocks)
