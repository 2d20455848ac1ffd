"""Notes of ABC as struck: ties, slurs, and the chord symbols over them, both ways.

Two tied notes are one `TuneNote`. A tie that leads to another pitch, to a rest or back
over a repeat is none, and a remark says so; the same holds where the second note has
grace notes or words of its own, for then it is struck. A chord symbol that is not one
of our chords becomes the nearest that sounds nothing new (a ninth chord the seventh
chord in it), or is left out, each time with a remark.
Source: ABC 2.1, sections 3.1.8, 3.1.9, 4.11, 4.14, 4.18, 4.19; common practice.
"""

import re
from collections import defaultdict, deque
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cache, lru_cache

from harmonise.errors import OutputError
from harmonise.notation.abc.abc_text import AbcCode, AbcRemarks
from harmonise.notation.abc.abc_words import QUOTED, format_string
from harmonise.notation.abc.pitches import DASH, Draft
from harmonise.theory.chord import SUFFIXES, Chord, Quality
from harmonise.theory.pitch import parse_name
from harmonise.theory.tune import ChordAt, Syllable, Tune, TuneNote

_NO_START = "a slur ends here that did not begin; it was left out."
_NO_END = "a slur begins here that does not end; it was left out."
_NEAREST = {
    Quality.MAJOR: "add9 add2 2 add4 add11",
    Quality.MINOR: "madd9 m(maj7) mM7 mmaj7 mMaj7 minmaj7 m(add9)",
    Quality.AUGMENTED: "7#5 7+ +7 aug7 7+5 maj7#5",
    Quality.DOMINANT_SEVENTH: "9 11 13 7b9 7#9 7-9 7b13 7#11 9#11 13b9 7(b9) 7(#9)",
    Quality.MAJOR_SEVENTH: "maj9 maj11 maj13 M9 M13 maj7#11",
    Quality.MINOR_SEVENTH: "m9 m11 m13 min9 min11 -9",
    Quality.SUSPENDED_FOURTH: "7sus4 7sus 9sus4 9sus sus7 sus9 13sus4",
    Quality.MAJOR_SIXTH: "6/9 69 6add9",
    Quality.MINOR_SIXTH: "m6/9 m69",
}
"""Suffixes of larger chords, by the largest chord of ours that lies in them."""
_SYMBOL = r"([A-G])([#b♯♭]?)(.*?)(?:/([A-Ga-g])([#b♯♭]?))?"
_OTHER = r"\s*\([A-G][^()]*\)$"
_JUMP = (
    r"(?i)(fine|d\.?\s*[cs]\.?(\s.*)?|da capo.*|dal segno.*|(to|da) coda.*|"
    r".*\bal (fine|coda)\b.*)[.!]?"
)
_JUMP_SIGNS = {
    "D.C.": "!D.C.!",
    "D.S.": "!D.S.!",
    "To Coda": "!dacoda!",
    "Fine": "!fine!",
}
"""Section 4.14 has a sign for these; other jumps are written as annotations."""
_JUMP_NAME = re.compile(
    r"(?:(?P<back>dc|dacapo|ds|dalsegno)(?:al(?P<to>fine|coda))?|(?P<on>(?:da|to)coda)"
    r"|(?P<end>fine))$"
)
"""Decorations that send the player elsewhere, in small letters without dots: those of
section 4.14 and, as ABC 2.2 and many books have them, "D.C.alfine" and the like."""
_PLACE_SIGNS = {"segno": "Segno", "coda": "Coda"}
_DECORATIONS = _JUMP_SIGNS | {"Segno": "!segno!", "Coda": "!coda!"}
_SILENT = ("N.C.", "N.C", "NC", "n.c.")
"""Symbols that no chord sounds under any more; the first is the one we write."""


def strike(
    drafts: Sequence[Draft], repeats: set[int], verses: int, remarks: AbcRemarks
) -> tuple[TuneNote, ...]:
    """Return the notes as they are struck.

    Args:
        drafts: Notes and rests as written, in order.
        repeats: Numbers of the bars (as drafts count them) behind a repeat sign or at
            the beginning of a second ending: no tie leads there.
        verses: Number of verses.
        remarks: Told of ties and slurs that cannot be.
    """
    groups = list(_tie(drafts, repeats, remarks))
    _balance_slurs(groups, remarks)
    held = _held(groups, verses) if verses else [()] * len(groups)
    return tuple(
        _struck(group, words) for group, words in zip(groups, held, strict=True)
    )


def _tie(
    drafts: Sequence[Draft], repeats: set[int], remarks: AbcRemarks
) -> Iterator[list[Draft]]:
    """Yield the notes that are written as one, tied ones together."""
    group: list[Draft] = []
    for draft in drafts:
        if group and group[-1].tied:
            # A tie that cannot be is left out, never guessed at.
            why = _not_tied(group[-1], draft, repeats)
            if not why:
                group.append(draft)
                continue
            said = f"the tie here {why}; it was left out."
            remarks.add(AbcCode.TIE, said, group[-1].onset, kind="tie")
        if group:
            yield group
        group = [draft]
    if group:
        if group[-1].tied:
            said = "the tie here leads to no note; it was left out."
            remarks.add(AbcCode.TIE, said, group[-1].onset, kind="tie")
        yield group


def _not_tied(before: Draft, draft: Draft, repeats: set[int]) -> str:
    """Return why two notes are not tied; "" if they are."""
    if draft.pitch is None:
        return "leads to a rest"
    if draft.pitch != before.pitch:
        return f"leads from {before.pitch} to {draft.pitch}"
    if draft.bar in repeats and draft.bar != before.bar:
        return "leads over a repeat sign"
    if draft.graces:
        return "leads to a note with grace notes"
    if any(isinstance(word, Syllable) for word in draft.words.values()):
        return "leads to a note with a syllable of its own"
    return ""


def _balance_slurs(groups: Sequence[list[Draft]], remarks: AbcRemarks) -> None:
    """Take away slurs that begin or end nowhere, and those on one note alone."""
    opened: deque[Draft] = deque()
    for group in groups:
        # Slurs that were open before this note end first: the oldest of them.
        waiting = len(opened)
        for draft in group:
            opened += [draft] * draft.slur_starts
        for draft in group:
            for _ in range(draft.slur_ends):
                if not opened:
                    draft.slur_ends -= 1
                    remarks.add(AbcCode.SLUR, _NO_START, draft.onset)
                elif waiting:
                    opened.popleft()
                    waiting -= 1
                else:
                    # A slur that begins and ends on one note says nothing.
                    opened.pop().slur_starts -= 1
                    draft.slur_ends -= 1
    for draft in opened:
        draft.slur_starts -= 1
        remarks.add(AbcCode.SLUR, _NO_END, draft.onset)


def _held(
    groups: Sequence[list[Draft]], verses: int
) -> list[tuple[Syllable | None, ...]]:
    """Return the syllables of each note, told whether they run on."""
    syllables: list[list[Syllable | None]] = [[None] * verses for _ in groups]
    for verse in range(verses):
        last: int | None = None
        for index, group in enumerate(groups):
            word = group[0].words.get(verse)
            if isinstance(word, Syllable):
                syllables[index][verse], last = word, index
            # "_" and "-" go on with the syllable before them (5.1).
            elif word and last is not None:
                syllables[last][verse] = _run_on(syllables[last][verse], word)
            elif group[0].pitch is not None:
                last = None
            for draft in group[1:]:
                if last is not None and draft.words.get(verse) == DASH:
                    syllables[last][verse] = _run_on(syllables[last][verse], DASH)
    return [tuple(words) for words in syllables]


def _run_on(syllable: Syllable | None, sign: str) -> Syllable | None:
    if syllable is None:
        return None
    if sign == DASH:
        return syllable._replace(joins=True, extends=False)
    return syllable._replace(extends=not syllable.joins)


def _struck(group: list[Draft], words: tuple[Syllable | None, ...]) -> TuneNote:
    first = group[0]
    if len(group) == 1:
        length, fermata = first.length, first.fermata
        starts, ends = first.slur_starts, first.slur_ends
    else:
        length = sum((draft.length for draft in group), Fraction(0))
        fermata = any(draft.fermata for draft in group)
        starts = sum(draft.slur_starts for draft in group)
        ends = sum(draft.slur_ends for draft in group)
    return TuneNote(
        first.onset,
        length,
        first.pitch,
        words if first.pitch is not None else (),
        first.graces,
        fermata,
        starts,
        ends,
        first.line,
    )


@cache
def _suffixes() -> dict[str, tuple[Quality, bool]]:
    """Return quality by suffix, and whether the suffix says exactly that."""
    nearest = {
        suffix: (quality, False)
        for quality, suffixes in _NEAREST.items()
        for suffix in suffixes.split()
    }
    return nearest | {suffix: (quality, True) for suffix, quality in SUFFIXES.items()}


@lru_cache(maxsize=1024)
def read_symbol(text: str) -> tuple[Chord | None, str]:
    """Return the chord of a symbol, and what is to be told of it; "" for nothing.

    The chord is None where the text is no chord of ours.

    >>> read_symbol("Am7")[0].symbol, read_symbol("D/f#")[0].symbol
    ('Am7', 'D/F#')
    >>> read_symbol("G9")[1]
    'the chord symbol "G9" is read as G7.'
    """
    # A chord in brackets behind the symbol is another choice for the player (4.18).
    plain = re.sub(_OTHER, "", text.strip())
    match = re.fullmatch(_SYMBOL, plain)
    if match is None:
        return None, f'"{text}" is no chord symbol; it was left out.'
    letter, sign, suffix, bass, bass_sign = match.groups()
    root = parse_name(letter + sign)
    # Books spell suffixes in many ways; all that are common are known.
    quality, exact = _suffixes().get(suffix.strip(), (None, False))
    if quality is None:
        return None, f'"{text}" is no chord symbol of ours; it was left out.'
    chord = Chord(root, quality)
    said = "" if exact else f'the chord symbol "{text}" is read as {chord}.'
    if not bass:
        return chord, said
    under = parse_name(bass.upper() + bass_sign)
    if under in chord.members:
        inversion = chord.over(under.pitch_class) or chord.inversion
        return chord._replace(inversion=inversion), said
    return chord, f"{chord} has no {under}: the bass of {chord}/{under} is left out."


def is_jump(text: str) -> bool:
    """Whether quoted words send the player elsewhere: "Fine", "D.C. al Coda".

    >>> is_jump("D.C. al Fine"), is_jump("D")
    (True, False)
    """
    return re.fullmatch(_JUMP, text.strip()) is not None


def jump_of(name: str) -> str:
    """Return the words of a jump decoration such as !D.C.!; "" if it is none.

    >>> jump_of("D.C.alfine"), jump_of("dalsegno"), jump_of("dacoda"), jump_of("d")
    ('D.C. al Fine', 'D.S.', 'To Coda', '')
    """
    found = _JUMP_NAME.match(re.sub(r"[._\s]", "", name.lower()))
    if not found:
        return ""
    if found["back"]:
        back = "D.C." if "c" in found["back"] else "D.S."
        return f"{back} al {found['to'].capitalize()}" if found["to"] else back
    return "To Coda" if found["on"] else "Fine"


def sign_of(name: str) -> str:
    """Return the name of a sign that is jumped to: "Segno", "Coda", else ""."""
    return _PLACE_SIGNS.get(name, "")


def place_symbols(
    notes: Sequence[Draft], end: Fraction, remarks: AbcRemarks
) -> tuple[ChordAt, ...]:
    """Return the chords over the notes; each lasts to the next symbol or the end.

    Several symbols over one note say that the chord changes under it: they share its
    length evenly.

    Args:
        notes: Notes and rests as written.
        end: Length of the tune in crotchets.
        remarks: Told what is not kept as it stands.
    """
    placed: list[tuple[Fraction, Chord | None]] = []
    for note in notes:
        if note.symbols:
            _place(note, placed, remarks)
    ends = [*(onset for onset, _ in placed), end][1:]
    return tuple(
        ChordAt(onset, stop, chord)
        for (onset, chord), stop in zip(placed, ends, strict=True)
        if chord is not None
    )


def _place(
    note: Draft, placed: list[tuple[Fraction, Chord | None]], remarks: AbcRemarks
) -> None:
    named: list[Chord | None] = []
    for text in note.symbols:
        chord, said = (None, "") if text in _SILENT else read_symbol(text)
        if said:
            kind = "" if chord else "text"
            remarks.add(AbcCode.SYMBOL, said, note.onset, kind=kind)
        if chord is not None or text in _SILENT:
            named.append(chord)
    # ABC has no place between notes, so books put two symbols over one.
    step = note.length / len(named) if named else note.length
    placed += [(note.onset + index * step, c) for index, c in enumerate(named)]
    if len(named) > 1:
        what = f"{len(named)} chord symbols stand over one note; they share its length."
        remarks.add(AbcCode.SYMBOLS_SPREAD, what, note.onset)


def place_chords(tune: Tune, chords: Sequence[ChordAt]) -> dict[Fraction, str]:
    """Return the chord symbols in quotes by onset; "N.C." where none holds any more.

    Raises:
        OutputError: If two chords sound at once, or ABC does not know one.
    """
    symbols: dict[Fraction, str] = {}
    end = Fraction(0)
    for at in chords:
        if at.onset < end:
            what = f"{at.chord} begins under another chord."
            raise OutputError(what, tune.place(at.onset), "Write one chord at a time.")
        if read_symbol(at.chord.symbol) != (at.chord, ""):
            what = f"ABC has no chord symbol for {at.chord}."
            raise OutputError(what, tune.place(at.onset), "Write MusicXML instead.")
        # Nothing in ABC ends a chord but the next symbol.
        if symbols and end < at.onset:
            symbols[end] = f'"{_SILENT[0]}"'
        symbols[at.onset] = f'"{at.chord.symbol}"'
        end = at.end
    if symbols and end < tune.end:
        symbols[end] = f'"{_SILENT[0]}"'
    return symbols


def place_jumps(
    tune: Tune,
) -> tuple[dict[Fraction, list[str]], dict[Fraction, list[str]]]:
    """Return signs over first notes of bars, and jumps over bar lines, by onset."""
    starts = {bar.start for bar in tune.bars}
    over_notes: dict[Fraction, list[str]] = defaultdict(list)
    over_lines: dict[Fraction, list[str]] = defaultdict(list)
    for onset, words in tune.end_text:
        over_note = sign_of(words.lower()) and onset in starts
        sign = _DECORATIONS.get(words) or f'"^{format_string(words, QUOTED)}"'
        (over_notes if over_note else over_lines)[onset].append(sign)
    return over_notes, over_lines
