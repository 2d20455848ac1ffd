"""What is said around a bar: its number, repeats, endings, labels, jumps."""

from collections.abc import Iterator

from harmonise.notation.spoken_words import say_beats, say_number, say_time
from harmonise.theory.tune import Tune

_JUMPS = {
    "D.C.": "da capo",
    "D.S.": "dal segno",
    "d.c.": "da capo",
    "d.s.": "dal segno",
}
_TIMES = {2: "twice", 3: "three times"}


def one_line(text: str) -> str:
    """Return a text of the user's on one line."""
    return " ".join(text.split())


def before_bar(tune: Tune, number: int) -> Iterator[str]:
    """Yield what is said before the notes of a bar, its heading first."""
    bar = tune.bars[number]
    before = tune.bars[number - 1] if number else None
    goes_on = before is not None and before.number == bar.number
    kind = ", going on" if goes_on else ", the pickup" if bar.number == 0 else ""
    yield f"Bar {bar.number}{kind}."
    if before is not None and before.time != bar.time:
        yield f"Time changes to {say_time(bar.time)}"
    if bar.length != bar.time.bar_length:
        yield f"This bar has {say_beats(bar.length / bar.time.unit)}."
    if bar.section.split():
        yield f"Label: {one_line(bar.section)}"
    if bar.repeat_start:
        yield "A repeat begins here."
    if bar.ending and (goes_on or before is None or before.ending != bar.ending):
        endings = " and ".join(say_number(ending) for ending in bar.ending)
        yield f"Ending {endings} begins here."


def after_bar(tune: Tune, number: int) -> Iterator[str]:
    """Yield what is said after the notes of a bar, its phrase end left out."""
    bar = tune.bars[number]
    after = tune.bars[number + 1] if number + 1 < len(tune.bars) else None
    if bar.ending and (after is None or after.ending != bar.ending):
        yield "The ending is over."
    if bar.repeat_end > 1:
        times = _TIMES.get(bar.repeat_end, f"{say_number(bar.repeat_end)} times")
        yield f"The repeat ends here, played {times} in all."
    if bar.double:
        yield "A double bar."
    for onset, words in tune.end_text:
        if bar.start < onset <= bar.end or onset == bar.start == 0:
            yield f"After this bar: {_jump(words)}"


def _jump(words: str) -> str:
    """Return jump words without their points: "D.C. al Fine" is "da capo al Fine"."""
    said = one_line(words)
    for sign, meaning in _JUMPS.items():
        said = said.replace(sign, meaning)
    return said
