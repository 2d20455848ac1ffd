"""What was understood, read back in one line so that a slip is seen before printing."""

from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Bar, Tune


def format_readback(tune: Tune) -> str:
    """Return bars, metre, pickup, key, compass, notes, lines and the first full bar.

    Full bars are counted: neither a pickup nor the second part of a split bar. Notes
    of the first bar are named as they are typed, octave 4 without its number, 0 for a
    rest.

    Example:
        >>> from fractions import Fraction
        >>> from harmonise.theory.key import parse_key
        >>> from harmonise.theory.metre import TimeSignature
        >>> from harmonise.theory.pitch import parse_pitch
        >>> from harmonise.theory.tune import KeyChange, TuneNote
        >>> note = TuneNote(Fraction(0), Fraction(4), parse_pitch("G4"))
        >>> bar = Bar(1, Fraction(0), Fraction(4), TimeSignature(4, 4))
        >>> key = KeyChange(Fraction(0), parse_key("G"))
        >>> format_readback(Tune("", (note,), (bar,), (key,), phrases=(Fraction(4),)))
        '1 bar of 4/4, G major, G4, 1 note, 1 line; first bar: G'
    """
    facts = [
        _bars(tune),
        _pickup(tune.bars[0]),
        _keys(tune),
        _compass(tune),
        _count(len(tune.sounding), "note"),
        _count(len(tune.phrases), "line") if tune.phrases else "",
    ]
    told = ", ".join(fact for fact in facts if fact)
    return f"{told}; first bar: {_first_bar(tune)}"


def _bars(tune: Tune) -> str:
    full = [bar for bar in tune.bars if not bar.offset] or list(tune.bars)
    text = f"{_count(len(full), 'bar')} of {tune.bars[0].time}"
    for before, bar in zip(tune.bars, tune.bars[1:], strict=False):
        if bar.time != before.time:
            text += f" ({bar.time} from bar {bar.number})"
    return text


def _pickup(first: Bar) -> str:
    if not first.offset or first.number:
        return ""
    beats = first.length / first.time.unit
    shown = str(beats) if beats.denominator == 1 else f"{float(beats):g}"
    return f"pickup {shown} beat{'' if beats <= 1 else 's'}"


def _keys(tune: Tune) -> str:
    text = f"{tune.key}{' (guessed)' if tune.key_guessed else ''}"
    for change in tune.keys[1:]:
        text += f" ({change.key} from bar {tune.bar_at(change.onset).number})"
    return text


def _compass(tune: Tune) -> str:
    pitches = [note.pitch for note in tune.notes if note.pitch]
    if not pitches:
        return ""
    low = min(pitches, key=lambda pitch: pitch.midi)
    high = max(pitches, key=lambda pitch: pitch.midi)
    return str(low) if low == high else f"{low}–{high}"


def _first_bar(tune: Tune) -> str:
    bar = next((bar for bar in tune.bars if not bar.offset), tune.bars[0])
    struck = [note for note in tune.notes if bar.start <= note.onset < bar.end]
    return " ".join(_name(note.pitch) for note in struck) or "held"


def _name(pitch: Pitch | None) -> str:
    if pitch is None:
        return "0"
    return str(pitch.name) if pitch.octave == 4 else str(pitch)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
