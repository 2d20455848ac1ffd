"""Sheets of questions by ear, of a tune or of drills, and how they are heard."""

from fractions import Fraction

from harmonise.errors import Place
from harmonise.lessons.aural import AURAL_STEPS, TIMES, AuralItem
from harmonise.lessons.aural_makers import AuralOrder, aural_items
from harmonise.lessons.aural_tunes import tune_items
from harmonise.lessons.sheet_parts import Answer, SheetItem
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet, makes
from harmonise.notation.sound.stretches import WRITING
from harmonise.theory.arrangement import Arrangement, Style

EAR_DRILL = "D12"
"""The drill that is heard and not played."""
EAR_TITLE = "By ear"
EAR_PLAYS = (
    "Same or different, which chord, the bass line, the missing chord, which cadence, "
    "what is on top: six steps."
)
_RICHER = 3
"""Level of the chords of the last step, which has V7, ii and vi."""


def style_of_step(order: SheetOrder) -> Style:
    """Return how a tune is arranged for questions of a step."""
    last = order.step == len(AURAL_STEPS)
    return order.style._replace(level=_RICHER if last else 1)


@makes(SheetKind.AURAL)
def aural_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet of questions by ear about a tune (W11)."""
    items = tune_items(model, order)
    # The pages of the sheet have no music of the tune: it is heard.
    return _sheet(items, order, model)


def ear_drill(order: SheetOrder) -> Worksheet:
    """Return drill D12: questions by ear made of the other drills.

    Args:
        order: Keys, which the questions go through in turn, step, kind, seed, number.

    Raises:
        NotationError: If there is no such step, or the kind is asked later only.
    """
    wish = AuralOrder(order.keys, order.step, order.about, order.seed, order.questions)
    items = aural_items(wish)
    sheet = _sheet(items, order, items[0].score)
    tune = sheet.tune._replace(title=f"{EAR_DRILL}, step {order.step}")
    return sheet._replace(tune=tune, drill=EAR_DRILL)


def _sheet(
    items: tuple[AuralItem, ...], order: SheetOrder, music: Arrangement
) -> Worksheet:
    listed = tuple(
        SheetItem(
            Place(number),
            Fraction(number),
            0,
            (Answer(item.answer, item.reason),),
            item.marks,
            item.given,
        )
        for number, item in enumerate(items, 1)
    )
    return Worksheet(order, music.tune, how_heard(items), listed, asked=items)


def how_heard(items: tuple[AuralItem, ...]) -> str:
    """Return in sentences how often questions are heard, and with which pauses.

    >>> from harmonise.lessons.aural_makers import AuralOrder, aural_items
    >>> how_heard(aural_items(AuralOrder(step=2)))[:59]
    'Listen: each question is played twice, a bass line three ti'
    """
    times = {item.kind.row.times for item in items}
    usual = TIMES[min(times)]
    more = f", a bass line {TIMES[max(times)]}" if len(times) > 1 else ""
    how = "Write the notes on the lines."
    if any(item.choices for item in items):
        how = "Fill the ring beside your answer, or write it where there is none."
    return (
        f"Listen: each question is played {usual}{more}, with {WRITING:g} seconds "
        f"after each to write. The key chord comes first. {how}"
    )
