"""ABC 2.1, read strictly: a tune book in, its tunes out.

Read is the subset that tune books use, exactly: every note, rest, tie, tuplet, broken
rhythm, grace note, slur, fermata, repeat, ending, key, metre, tempo, chord symbol and
aligned word. What is not known is refused with line, bar and beat; what is left out
(all but the top note of a chord, all but one voice, ornaments, signs that mean nothing
in a bar that is whole without them) is told in a remark. Standard library only.

    abc_text   a book into tunes and lines; faults    fields      header, `M:`, `Q:`
    key_fields `K:`, modes, clefs                     abc_words   text strings, `w:`
    abc_walk   what each sign does                    ornaments   what waits for a note
    pitches    letters, accidentals                   lengths     multipliers, tuplets
    bars       bar lines, numbers, pickups            notes       ties, slurs, chords
    abc_score  what is gathered                       abc_page    the way back
    abc_writer header, and our promise

Source: the ABC music standard 2.1 (December 2011, corrected 2013).
"""

import re
from collections.abc import Callable, Sequence
from fractions import Fraction

from harmonise.errors import MelodyError, NotationError, Place, shorten
from harmonise.notation.abc.abc_score import AbcScore, Doubt
from harmonise.notation.abc.abc_text import (
    AbcCode,
    AbcLine,
    AbcRemarks,
    AbcText,
    UnreadableError,
    split_abc,
)
from harmonise.notation.abc.abc_walk import Walk
from harmonise.notation.abc.abc_words import WordPiece, parse_string, parse_words
from harmonise.notation.abc.bars import lay_bars, tell_bars, tell_repeats
from harmonise.notation.abc.fields import (
    INLINE_VOICE,
    Header,
    find_voice,
    parse_header,
    parse_metre,
    parse_tempo,
    split_voice,
    take_instruction,
    voice_names,
)
from harmonise.notation.abc.key_fields import (
    KeyField,
    Moves,
    parse_key_field,
    parse_moves,
)
from harmonise.notation.abc.lengths import parse_unit
from harmonise.notation.abc.notes import place_symbols, strike
from harmonise.notation.part_names import PartName
from harmonise.notation.told_locks import told_locks
from harmonise.theory.key import Key
from harmonise.theory.key_finding import guess_keys
from harmonise.theory.phrases import find_lines
from harmonise.theory.tune import Bar, KeyChange, Tune, TuneNote

__all__ = ["parse_abc", "parse_abc_tune", "split_abc"]

_KNOWN = "ABCDEFGHIKLMNOPQRSTUVWZmrsw"
"""Fields that the standard knows (section 3) or once knew (10.1)."""


class Body:
    """The reading of a tune's body.

    Attributes:
        header: What its header says.
        score: What has been gathered.
    """

    _actions: dict[str, Callable[[str], None]]

    def __init__(
        self, header: Header, score: AbcScore, voice: str | None = None
    ) -> None:
        """Begin with what the header says.

        Args:
            header: What it says.
            score: What has been gathered; grows by what is read.
            voice: The voice that holds the tune; None for the first.
        """
        self.header = header
        self.score = score
        self._walk = Walk(header, score, self._field)
        self._voice = voice
        self._named = voice is not None
        self._entered = False
        self._skipping = False
        self._continued = False
        self._words: list[tuple[WordPiece, ...]] = []
        self._worded = 0
        self._line_start = 0
        self._actions = {
            "K": lambda value: self._set_key(parse_key_field(value)),
            "L": lambda value: self._walk.lengths.set_unit(parse_unit(value)),
            "M": lambda value: score.add_time(parse_metre(value)),
            "P": self._label,
            "Q": self._tempo,
            "T": self._label,
        }
        self._set_key(header.key)
        for line in header.tempos:
            self._tempo(line.value)
        if header.order.strip(". ").strip("()")[1:]:
            score.remarks.add(
                AbcCode.PARTS,
                f'The parts are played in the order "{header.order}"; they were read '
                "once, as written.",
            )

    def take(self, lines: Sequence[AbcLine]) -> None:
        """Take all lines of the body."""
        for line in lines:
            letter = line.letter
            # Adjacent w: lines are verses (5.1), so they are kept until another line
            # comes.
            if letter == "w":
                if not self._skipping:
                    self._words.append(parse_words(line.value))
                continue
            self._end_words()
            self.score.line = line.number
            if line.mailed:
                what = 'marks that old mail put into texts ("=20") were taken out.'
                self.score.remark(AbcCode.MAIL, what)
            try:
                if letter:
                    self._field(letter, line.value)
                else:
                    self._music(line)
            except UnreadableError as error:
                self.score.take_fault(error, line.text)
        self._end_words()
        self._walk.end_tune()

    def _music(self, line: AbcLine) -> None:
        if line.text[:2] == "+:":
            raise UnreadableError("+: goes on with a field, and there is none before.")
        # A backslash joins the next line of music to this one (6.1.1).
        continued = line.text.endswith("\\")
        text = line.text[:-1] if continued else line.text
        if self.header.mark:
            # Then "!" alone means what "$" means otherwise (6.1.1).
            text = text if self.header.dollar else text.replace("$", "")
            text = text.replace("!", "$")
        # Words of older books belong to the line of music just before them (10.6).
        if not self._continued:
            self._line_start = len(self.score.struck)
        if self._skipping:
            # The line of another voice may come back to ours in its middle (7.3).
            field = re.search(INLINE_VOICE, text)
            if field is None:
                return
            text = text[field.start() :]
        self._walk_parts(text, line.number)
        self._continued = continued
        if not continued and not self._skipping:
            self._walk.end_line()

    def _walk_parts(self, text: str, number: int) -> None:
        """Walk through a line that may change the voice in its middle."""
        start = 0
        for field in re.finditer(INLINE_VOICE, text):
            if not self._skipping:
                self._walk.music(text[start : field.start()], number)
            self.score.line = number
            self._set_voice(field[1])
            start = field.end()
        if not self._skipping:
            self._walk.music(text[start:], number)

    def _end_words(self) -> None:
        """Put the verses that stand together under the notes before them."""
        if not self._words:
            return
        first = self._worded
        # From 2.1 on the words go on where they stopped, whatever line that was (5.1).
        if not self.header.strict:
            first = max(first, self._line_start)
        self.score.words.append((self._words, first, len(self.score.struck)))
        self._worded = len(self.score.struck)
        self._words = []

    def _field(self, letter: str, value: str) -> None:
        """Take a field of the music, on its own line or inline."""
        if letter == "V":
            self._set_voice(value)
        elif self._skipping:
            return
        elif letter in self._actions:
            self._actions[letter](value)
        elif letter in _KNOWN:
            take_instruction(self.header, letter, value, self.score.remarks)
            self._walk.signs.spread = self.header.spread
        else:
            what = f"ABC 2.1 knows no field {letter}: it was passed over."
            self.score.remark(AbcCode.FIELD, what)

    def _set_key(self, field: KeyField) -> None:
        if field.alters is not None:
            self._walk.signs.set_signature(field.alters)
        # K: with a clef alone leaves the key as it is.
        if field.alters is not None or not self.score.keys:
            self.score.keys.append((self.score.onset, field))
        self._move(Moves(field.octaves, field.semitones))

    def _move(self, moves: Moves) -> None:
        """Move the notes from here on as a clef or a parameter asks (4.6)."""
        if moves.octaves is not None:
            self._walk.signs.octave = moves.octaves
        if moves.semitones:
            self.score.remark(
                AbcCode.TRANSPOSED,
                f"playback is to be transposed by {moves.semitones} semitones; the "
                "notes are read as printed.",
            )

    def _set_voice(self, text: str) -> None:
        name, rest = split_voice(text)
        self._voice = self._voice or name
        if name == self._voice and not self._entered:
            # Music before the first V: belongs to nobody, or to everybody (7.1).
            if self.score.drafts:
                raise UnreadableError(
                    "music stands before the first V: field, so that the first voice "
                    "is not certain.",
                    "Put the V: field of the tune before its first note.",
                )
            self._entered = True
            known = self.header.voices.get(name, "")
            self._move(parse_moves(f"{name} {known} {rest}"))
        self._skipping = name != self._voice
        if self._skipping and not self._named:
            what = f'There are several voices; the first, "{self._voice}", was taken.'
            self.score.remarks.add(AbcCode.VOICES, what)

    def _label(self, value: str) -> None:
        text = parse_string(value)
        if text:
            self.score.add_label(text)

    def _tempo(self, value: str) -> None:
        tempo = parse_tempo(value, self.score.onset, self._walk.lengths.unit)
        if tempo is not None:
            tempos = self.score.tempos
            # Of two at one place the second is a correction of the first.
            if tempos and tempos[-1].onset == tempo.onset:
                tempos.pop()
            tempos.append(tempo)
        elif value:
            shown = shorten(value)
            what = f"Q: {shown} gives no number of beats a minute; it was left out."
            self.score.remark(AbcCode.TEMPO, what, "Write a tempo such as Q:1/4=100.")


def parse_abc(text: str, part: str = "") -> tuple[Tune, ...]:
    r"""Return the tunes of a book; those without notes are passed over.

    One tune that cannot be read stops the book: a caller who wants the others takes
    `split_abc` and `parse_abc_tune`.

    Args:
        text: The book.
        part: Name of the voice that holds the tune, as its `V:` field has it; "" for
            the first.

    Raises:
        NotationError: If something cannot be read; line, bar and beat are named, and
            the tune if there are several.
        MelodyError: If there is no tune, or no note in any.

    >>> tune = parse_abc("X:1\nT:Scale\nM:4/4\nL:1/4\nK:D\nDEFG|ABcd|]")[0]
    >>> [str(note.pitch) for note in tune.notes]
    ['D4', 'E4', 'F#4', 'G4', 'A4', 'B4', 'C#5', 'D5']
    """
    sources = split_abc(text)
    if not sources:
        what = "There is no ABC tune here."
        raise NotationError(what, None, "A tune begins with an X: field.")
    tunes: list[Tune] = []
    empty: MelodyError | None = None
    for source in sources:
        try:
            tunes.append(parse_abc_tune(source, part))
        # A book may hold texts or chords without a tune; they are passed over.
        except MelodyError as error:
            empty = empty or error
        except NotationError as error:
            if len(sources) == 1:
                raise
            remedy = f"{error.remedy} (tune {source.title})".strip()
            raise NotationError(error.what, error.place, remedy) from None
    if not tunes and empty is not None:
        raise empty
    return tuple(tunes)


def list_voices(text: str) -> tuple[PartName, ...]:
    """Return the voices of the tunes of a book, each once."""
    names: dict[str, str] = {}
    for source in split_abc(text):
        names |= voice_names(*parse_header(source, AbcRemarks()))
    return tuple(PartName(ident, name) for ident, name in names.items())


def parse_abc_tune(source: AbcText, part: str = "") -> Tune:
    """Return one tune of a book.

    Args:
        source: The tune as `split_abc` gives it.
        part: Name of the voice that holds the tune; "" for the first.

    Raises:
        NotationError: If something cannot be read; line, bar and beat are named.
        MelodyError: If there is no note.
    """
    remarks = AbcRemarks()
    header, lines = parse_header(source, remarks)
    score = AbcScore(header.time, remarks)
    body = Body(header, score, find_voice(part, header, lines))
    body.take(lines)
    # Bars come before the fault: its sentence names them.
    score.finish(source.lines[0].number)
    bars = lay_bars(score.marks, score.times, score.sections)
    score.judge(bars)
    if score.fault is not None:
        fault = score.fault
        raise fault.error.placed(fault.line, fault.word, _fault_place(bars, fault))
    return _tune(header, score, bars, source)


def _fault_place(bars: tuple[Bar, ...], fault: Doubt) -> Place:
    """Return where a fault is, as `Tune.place` counts."""
    # There may be no note to make a bar of.
    if not bars:
        return Place(1, Fraction(1))
    bar = [bar for bar in bars if bar.start <= fault.bar][-1]
    number = bar.number
    # A note at fault has no length yet, and it may be what makes the first bar short:
    # few pickups last longer than half a bar.
    if number == 0 and 2 * bar.length > bar.time.bar_length:
        number = 1
    return Place(number, (fault.onset - bar.start) / bar.time.unit + 1)


def _tune(
    header: Header, score: AbcScore, bars: tuple[Bar, ...], source: AbcText
) -> Tune:
    remarks = score.remarks
    verses = score.align_words()
    end = score.onset
    symbols = place_symbols(score.drafts, end, remarks)
    notes = strike(score.drafts, _repeats(score), verses, remarks)
    keys, guessed = _keys(score, notes, bars)
    _tell_bars(score, bars, source)
    tune = Tune(
        title=header.title,
        notes=notes,
        bars=bars,
        keys=keys,
        tempos=tuple(score.tempos),
        phrases=_phrases(header, score, notes, bars),
        symbols=symbols,
        were_locked=told_locks(header.locked, symbols),
        verses=verses,
        origin=header.origin,
        composer=header.composer,
        key_guessed=guessed,
    )
    # A jump over a note means the end of its bar; to which bar that is, the bars tell.
    jumps = {(jump.place(tune.bar_at(jump.onset)), jump.words) for jump in score.jumps}
    tune = tune._replace(end_text=tuple(sorted(jumps)))
    return tune._replace(remarks=remarks.told(tune.place))


def _repeats(score: AbcScore) -> set[int]:
    """Return the marks over which no tie leads on: repeats and later endings."""
    return {
        number
        for number, mark in enumerate(score.marks)
        # The player comes from another place there, so no tie can lead in (4.11).
        if mark.ends or min(mark.ending, default=1) > 1
    }


def _phrases(
    header: Header, score: AbcScore, notes: tuple[TuneNote, ...], bars: tuple[Bar, ...]
) -> tuple[Fraction, ...]:
    """Return where lines of the score end; where the text breaks none, lines found.

    A book that says by which sign its lines end means even a single one.
    """
    lines = {end for end in score.phrases if end < score.onset}
    if not (lines or header.lines_told):
        return find_lines(notes, bars)
    return tuple(sorted({*lines, score.onset}))


def _keys(
    score: AbcScore, notes: Sequence[TuneNote], bars: tuple[Bar, ...]
) -> tuple[tuple[KeyChange, ...], bool]:
    """Return the keys, and whether the first was guessed."""
    changes: list[KeyChange] = []
    first_guessed = False
    for index, (onset, field) in enumerate(score.keys):
        later = score.keys[index + 1 :]
        end = later[0][0] if later else score.onset
        # A key that the next one takes back at once says nothing.
        if end == onset and later:
            continue
        key, guessed = field.key, field.key is None
        if key is None:
            inside = [note for note in notes if onset <= note.onset < end]
            key = _guess(field, inside, bars)
        if guessed:
            why = field.remark or "No key is given: the notes are read as written."
            said = f"{why} The key is taken to be {key}, which is a guess."
            score.remarks.add(AbcCode.KEY_GUESSED, said, onset)
        elif field.remark:
            score.remarks.add(AbcCode.MODE, field.remark, onset)
        first_guessed = first_guessed or (guessed and onset == 0)
        if not changes or changes[-1].key != key:
            changes.append(KeyChange(onset, key))
    return tuple(changes), first_guessed


def _guess(field: KeyField, notes: Sequence[TuneNote], bars: tuple[Bar, ...]) -> Key:
    """Return the key that the notes suggest, for pipe tunes the last one."""
    if not field.candidates:
        # A pickup tells less of the key than the first full bar.
        downbeat = bars[0].end if bars[0].offset else Fraction(0)
        return guess_keys(notes, downbeat)[0]
    last = next((note.pitch.name for note in reversed(notes) if note.pitch), None)
    named = [key for key in field.candidates if key.tonic == last]
    return (named or list(field.candidates))[0]


def _tell_bars(score: AbcScore, bars: tuple[Bar, ...], source: AbcText) -> None:
    """Tell what is to be said of bars and bar lines."""
    remarks = score.remarks
    # A bar of free metre (M:none) is as long as its notes (3.1.6).
    if any(time is None for _, time in score.times):
        what = "The metre is free; each bar is given the time that its notes take."
        remarks.add(AbcCode.FREE_METRE, what)
    for mark in score.marks:
        if mark.implied and mark.onset != score.onset:
            remarks.add(
                AbcCode.LINE_ENDS,
                "a line of text ends before this bar without a bar line; one was read, "
                "as the bar before is full.",
                mark.onset,
            )
    tell_bars(bars, score.marks, remarks)
    tell_repeats(score.marks, remarks)
    if source.unread:
        remarks.add(
            AbcCode.EMPTY_LINE,
            f"An empty line ends the tune; the music from line {source.unread} on was "
            "not read.",
        )
