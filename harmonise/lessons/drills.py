"""Drills of keyboard harmony: the primary chords in every key, without a tune.

`DRILLS` holds one row a drill, which makes its exercises in one key. The practice plan
says in which tempos the keys are played, in which order the hands go, and when to stop;
tempos are crotchets a minute. Common practice, for a chord change every two beats.
"""

from collections.abc import Sequence
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.lessons.drill_makers import (
    USUAL,
    DrillWish,
    Exercise,
    Maker,
    all_patterns,
    from_starts,
    name_it,
    row,
    same_note,
    scale_on_top,
    three_positions,
)
from harmonise.theory.key import Key, KeyOrder, Mode, keys_of, named_keys, printed
from harmonise.theory.numerals import parse_progression

START, STEP, TARGET = 60, 6, 92

HANDS = (
    "right hand alone",
    "left hand alone",
    "hands together",
    "hands together with your eyes shut",
    "then into the next key without stopping",
)
CAUTION = (
    "Rest for a minute or two every ten minutes, and stop at once if a hand, wrist "
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


def how_to_practise(start: int = START, keys: int = 1) -> str:
    """Return in sentences how to go about it, in one key or in several."""
    steps = tempo_steps(start)
    hands = HANDS if keys > 1 else HANDS[:-1]
    return (
        f"Order: {', '.join(hands)}. Start at ♩ = {start}; after three clean runs "
        f"go up by {STEP}, until ♩ = {steps[-1]}. Tick a box for each tempo that is "
        "clean, and write down tempo and date."
    )


def plan_rows(keys: Sequence[Key], start: int = START) -> tuple[tuple[str, ...], ...]:
    """Return the plan as a table: a row a key, a box a tempo, headings first."""
    steps = tempo_steps(start)
    # A key has several exercises and one row: it is mastered when all of them are.
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
    return "\n".join([how_to_practise(start, len(rows) - 1), "", *lines, "", CAUTION])


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
    keys = named_keys(texts, order, mode=mode, flat=flat)
    for key in keys:
        if key.mode not in (Mode.MAJOR, Mode.MINOR):
            raise NotationError(
                f"Drills go in major and minor keys, and {key} is neither.",
                None,
                f"Write {key.tonic} or {key.tonic} minor.",
            )
    return keys


_BOTH = (Mode.MAJOR, Mode.MINOR)


class Drill(NamedTuple):
    """One drill.

    Attributes:
        name: Its short name, such as "D1".
        title: Its name on the page.
        plays: What the pupil plays and minds, in sentences.
        level: Level of its chords, 1 to 3.
        make: Makes its exercises in one key.
        modes: Modes that it goes in.
        twelve: Whether it is meant for all keys.
        given_top: Whether its top line is part of the task.
    """

    name: str
    title: str
    plays: str
    level: int
    make: Maker
    modes: tuple[Mode, ...] = _BOTH
    twelve: bool = False
    given_top: bool = False


def keys_for(
    name: str,
    typed: Sequence[str],
    order: KeyOrder = KeyOrder.FIFTHS,
    *,
    minor: bool = False,
    flat: bool = False,
) -> tuple[Key, ...]:
    """Return the keys that a drill goes in.

    Args:
        name: "D1" to "D11", or "" for a progression of one's own.
        typed: The keys as typed; where there are none, twelve if the drill is meant for
            all keys, else C major or A minor.
        order: Order of "all" keys.
        minor: Whether a key without a mode is minor; always so in a minor drill.
        flat: Whether Gb major stands for F# major.

    Raises:
        NotationError: If there is no such drill or key.
    """
    row = find_drill(name) if name else None
    minor = minor or (row is not None and row.modes == (Mode.MINOR,))
    if not typed and row and row.twelve:
        typed = ["all"]
    return parse_keys(typed, order, minor=minor, flat=flat) or all_keys(minor=minor)[:1]


def title_of(names: Sequence[str]) -> str:
    """Return the title of one drill or of several together.

    Raises:
        NotationError: If there is no such drill.

    >>> title_of(["D1"]), title_of(["D1", "D3"])
    ('D1: I–IV–I–V–I', 'Drills D1, D3')
    """
    rows = [find_drill(name) for name in names]
    if len(rows) == 1:
        return f"{rows[0].name}: {rows[0].title}"
    return f"Drills {', '.join(one.name for one in rows)}"


def exercises(
    name: str, keys: Sequence[Key], wish: DrillWish = USUAL
) -> tuple[Exercise, ...]:
    """Return the exercises of a drill, key by key.

    Args:
        name: "D1" to "D11", in capitals or not.
        keys: The keys in order.
        wish: What the user chose.

    Raises:
        NotationError: If there is no such drill, or not in such a key.

    >>> from harmonise.theory.key import parse_key
    >>> [one.label for one in exercises("D1", [parse_key("Eb")])]
    ['from root position', 'from first inversion', 'from second inversion']
    """
    drill = find_drill(name)
    for key in keys:
        if key.mode not in drill.modes:
            modes = " or ".join(mode.value for mode in drill.modes)
            raise NotationError(
                f"{drill.name} is a drill for {modes} keys, and {key} is not one.",
                None,
                "Choose another key or another drill.",
            )
    made = (exercise for key in keys for exercise in drill.make(key, wish))
    return tuple(exercise._replace(drill=drill.name) for exercise in made)


def find_drill(name: str) -> Drill:
    """Return a drill by its name.

    Raises:
        NotationError: If there is none of that name.
    """
    for drill in DRILLS:
        if drill.name == name.upper():
            return drill
    raise NotationError(
        f'There is no drill "{name}".',
        None,
        f"Choose one of {', '.join(drill.name for drill in DRILLS)}.",
    )


def progression(
    numerals: str, keys: Sequence[Key], wish: DrillWish = USUAL
) -> tuple[Exercise, ...]:
    """Return a progression of one's own as exercises, key by key.

    Args:
        numerals: Roman numerals, such as "I vi IV V7 I"; they mean what they say in
            each key.
        keys: The keys in order.
        wish: What the user chose.

    Raises:
        NotationError: If a word is no numeral.
    """
    return tuple(
        exercise
        for key in keys
        for exercise in from_starts(parse_progression(numerals, key), key, wish)
    )


DRILLS = (
    Drill(
        "D1", "I–IV–I–V–I",
        "From each of three positions in one key. The right hand plays close chords, "
        "the left hand roots.",
        1, row("I IV I V I"),
    ),
    Drill(
        "D2", "I–IV–I–V–I in twelve keys",
        "The same in all keys, into the next one without stopping.",
        1, row("I IV I V I"), twelve=True,
    ),
    Drill(
        "D3", "i–iv–i–V–i",
        "In minor the 7th is raised in V.",
        1, row("I IV I V I"), modes=(Mode.MINOR,),
    ),
    Drill(
        "D4", "I–IV–V–I",
        "IV and V share no note: the right hand falls while the left hand rises.",
        1, row("I IV V I"),
    ),
    Drill(
        "D5", "I–V–I and I–IV–I",
        "One note is held each time: 5 between I and V, 1 between I and IV.",
        1, row("I V I / I IV I"),
    ),
    Drill(
        "D6", "One chord, three positions",
        "Up and down again. Right-hand fingers 1 3 5, 1 2 5, 1 3 5.",
        1, three_positions, given_top=True,
    ),
    Drill(
        "D7", "Scale on top",
        "Under 6 and 7 the shape slides one step along. The left hand falls from IV "
        "to V, so that fifths and octaves do not go in parallel.",
        1, scale_on_top, modes=(Mode.MAJOR,), given_top=True,
    ),
    Drill(
        "D8", "Same note, two chords",
        "The top stays and the others move. Listen how its sound changes.",
        1, same_note, given_top=True,
    ),
    Drill(
        "D9", "Left-hand patterns",
        "Under I–IV–I–V–I. The root comes with every new chord.",
        1, all_patterns,
    ),
    Drill(
        "D10", "With V7, ii and vi",
        "The 7th falls a step.",
        3, row("I V7 I / ii V I / I vi IV V I"),
    ),
    Drill(
        "D11", "Name it",
        "Write below each shape, or say, its chord with the numeral, such as Dm (ii), "
        "its shape (root, first or second), and its figures (5/3, 6/3 or 6/4).",
        1, name_it,
    ),
)  # fmt: skip
"""All drills in order."""
