"""Books of as many tunes as one likes: small, different from each other, in ABC."""

from random import Random

STEPS = (-2, -1, -1, -1, 1, 1, 1, 2, 2, -2, 4, -3)
LETTERS = "CDEFGABcdefgab"
BARS = 8
KEYS = ("C", "G", "D", "F", "Bb", "Am", "Em", "Dm")


def book_of(tunes: int) -> str:
    """Return a book of so many tunes, the same each time."""
    return "\n".join(_tune(number) for number in range(1, tunes + 1))


def _tune(number: int) -> str:
    dice = Random(number)  # noqa: S311 (no secret)
    at, bars = 4, []
    for _ in range(BARS - 1):
        notes = ""
        for _ in range(4):
            at = min(max(at + dice.choice(STEPS), 0), len(LETTERS) - 1)
            notes += LETTERS[at]
        bars.append(notes)
    music = "|".join([*bars, f"{LETTERS[7 if at > 5 else 0]}4"])
    key = dice.choice(KEYS)
    return f"X:{number}\nT:Air {number}\nM:4/4\nL:1/4\nK:{key}\n{music}|]\n"
