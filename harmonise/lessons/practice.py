"""The practice plan: keys by tempos, in which order the hands go, and when to stop.

Tempos are crotchets a minute. Start, step and target are common practice for a chord
change every two beats.

In which keys a drill goes: major and minor ones.
"""

from collections.abc import Sequence

from harmonise.errors import NotationError
from harmonise.theory.key import Key, KeyOrder, Mode, keys_of, named_keys, printed

START, STEP, TARGET = 60, 6, 92

HANDS = (
    "right hand alone",
    "left hand alone",
    "hands together",
    "hands together with your eyes shut",
    "then into the next key without stopping",
)
CAUTION = (
    "Rest for a minute or two after every few keys, and stop at once if a hand, wrist "
    "or arm hurts or grows tired. Several short sittings do more good than a long one. "
    "If a stretch is too wide for your hand, leave out a note or play the "
    "chord broken; never force it. If pain comes back, ask a teacher or a doctor."
)
"""The usual caution of piano teaching about long practice and wide stretches."""


def tempo_steps(start: int = START, target: int = TARGET) -> tuple[int, ...]:
    """Return the tempos from the start to the target; the last step may be short.

    >>> tempo_steps()
    (60, 66, 72, 78, 84, 90, 92)
    """
    if start >= target:
        return (start,)
    return (*range(start, target, STEP), target)


def how_to_practise(start: int = START) -> str:
    """Return in sentences how to go about it."""
    steps = tempo_steps(start)
    return (
        f"Order: {', '.join(HANDS)}. Start at ♩ = {start}; after three clean runs "
        f"go up by {STEP}, until ♩ = {steps[-1]}. Tick a box for each tempo that is "
        "clean, and write down tempo and date."
    )


def plan_rows(keys: Sequence[Key], start: int = START) -> tuple[tuple[str, ...], ...]:
    """Return the plan as a table: a row a key, a box a tempo, headings first."""
    steps = tempo_steps(start)
    head = ("Key, ♩ =", *map(str, steps), "clean at", "date")
    once = dict.fromkeys(keys)
    boxes = ("",) * (len(steps) + 2)
    return (head, *((printed(key), *boxes) for key in once))


def format_plan(keys: Sequence[Key], start: int = START) -> str:
    """Return the plan as text for the screen."""
    steps = tempo_steps(start)
    rows = plan_rows(keys, start)
    width = max(len(row[0]) for row in rows[1:])
    lines = [
        f"{row[0]:<{width}}  "
        + "  ".join(f"[ ] {tempo}" for tempo in steps)
        + "  clean at ____  date ______"
        for row in rows[1:]
    ]
    return "\n".join([how_to_practise(start), "", *lines, "", CAUTION])


def all_keys(
    order: KeyOrder = KeyOrder.FIFTHS, *, minor: bool = False, flat: bool = False
) -> tuple[Key, ...]:
    """Return the twelve major or minor keys in an order, from C major or A minor.

    Args:
        order: The order.
        minor: Whether they are minor.
        flat: Whether Gb major stands for F# major.
    """
    return keys_of(Mode.MINOR if minor else Mode.MAJOR, order, flat=flat)


def parse_keys(
    texts: Sequence[str],
    order: KeyOrder = KeyOrder.FIFTHS,
    *,
    minor: bool = False,
    flat: bool = False,
) -> tuple[Key, ...]:
    """Return the keys of a list that somebody typed, as `named_keys` reads it.

    Raises:
        NotationError: If a name is none, or is neither major nor minor.
    """
    mode = Mode.MINOR if minor else Mode.MAJOR
    found = named_keys(texts, order, mode=mode, flat=flat)
    for key in found:
        if key.mode not in (Mode.MAJOR, Mode.MINOR):
            raise NotationError(
                f"Drills go in major and minor keys, and {key} is neither.",
                None,
                f"Write {key.tonic} or {key.tonic} minor.",
            )
    return found
