"""The walk through ABC music: every sign in turn, what it does to the score.

A sign that is not known is kept as a fault and the walk goes on, so that bars can be
counted when the fault is told. Source: ABC 2.1, section 4; each method names its own.
"""

import re
from collections.abc import Callable
from fractions import Fraction

from harmonise.notation.abc.abc_score import MOST_BARS, AbcScore
from harmonise.notation.abc.abc_text import AbcCode, UnreadableError
from harmonise.notation.abc.bars import parse_bar_line, parse_ending
from harmonise.notation.abc.fields import Header
from harmonise.notation.abc.lengths import Lengths, multiply, parse_broken, parse_tuplet
from harmonise.notation.abc.ornaments import (
    Ornaments,
    inner_tokens,
    old_chord,
    tokens,
)
from harmonise.notation.abc.pitches import AbcHead, parse_head
from harmonise.theory.pitch import Pitch

_UNCLEAR = frozenset('^_="{')
_LATE = re.compile(
    r'"[^"]*"|(?P<sign>\^\^?|__?|=)(?P<rhythm><{1,3}|>{1,3})(?=[a-gA-G])'
)
"""Quoted words; an accidental that stands before a broken rhythm, not its note."""


class Walk:
    """The state between two signs.

    Attributes:
        lengths: Unit, tuplet and broken rhythm in force.
        signs: Accidentals in force.
    """

    def __init__(
        self, header: Header, score: AbcScore, take_field: Callable[[str, str], None]
    ) -> None:
        """Begin at the start of the music.

        Args:
            header: What letters and signs mean.
            score: What has been gathered; grows by what is read.
            take_field: What to do with an inline field; told letter and value.
        """
        self._header = header
        self._score = score
        self._ornaments = Ornaments(header, score)
        self.signs = self._ornaments.signs
        self.lengths = Lengths(header.unit)
        self._base = Fraction(0)
        self._overlaid = False
        self._actions: dict[str, Callable[[str], None]] = {
            **self._ornaments.actions,
            "named": self._named,
            "space": _pass_over,
            "note": self._note,
            "bar": self._bar,
            "half": self._half_bar,
            "tuplet": self._tuplet,
            "broken": self._broken,
            "rest": self._rest,
            "bars": self._bars,
            "spacer": _pass_over,
            "field": lambda word: take_field(word[1], word[3:-1].strip()),
            "ending": lambda word: score.add_ending(parse_ending(word[1:])),
            "chord": self._chord,
            "dollar": self._dollar,
            "mark": self._mark,
            "reserved": self._reserved,
            "overlay": self._overlay,
            "other": self._other,
        }

    def music(self, text: str, line: int) -> None:
        """Take a line of music, or a part of one."""
        self._score.line = line
        actions = self._actions
        for token in tokens().finditer(_LATE.sub(self._in_order, text)):
            kind = token.lastgroup
            # What overlays a bar goes on to its end (7.4).
            self._overlaid = self._overlaid and kind != "bar"
            if kind != "space" and not self._overlaid:
                word = token[0]
                try:
                    actions[kind or "other"](word)
                except UnreadableError as error:
                    self._score.take_fault(error, word)
                    # The rest of an endless line changes nothing: it is refused.
                    if self._score.too_many:
                        return

    def _in_order(self, found: re.Match[str]) -> str:
        """Return an accidental that stands before > instead of its note after it."""
        if not found["sign"]:
            return found[0]
        right = f"{found['rhythm']}{found['sign']}"
        what = f'"{found[0]}" was read as "{right}".'
        self._score.remarks.add(AbcCode.STRAY, f"{what} (line {self._score.line})")
        return right

    def end_line(self) -> None:
        """Take the end of a line of text that is not continued.

        Accidentals hold on where the bar line is left out; books count on it.
        """
        self._score.end_line()
        if self._header.ends:
            self._score.add_phrase()

    def end_tune(self) -> None:
        """Take the end of the tune."""
        try:
            self._end_bar()
            self._score.end_tune()
        except UnreadableError as error:
            self._score.take_fault(error, "")
        self._ornaments.end_tune()

    # Notes and rests: sections 4.1 to 4.5.

    def _note(self, word: str) -> None:
        head, length = parse_head(word)
        pitch = self._pitch(head)
        self._ornaments.strike(pitch, self._length(length))

    def _pitch(self, head: AbcHead) -> Pitch:
        drafts = self._score.drafts
        before = drafts[-1] if drafts and drafts[-1].tied else None
        # An accidental does not hold over the bar line, but a tie carries it (4.2).
        if before and before.pitch and before.onset < self._score.marks[-1].onset:
            tied = self.signs.tied_pitch(head, before.pitch)
            if tied is not None:
                return tied
        pitch = self.signs.pitch(head)
        if self.signs.differs:
            self._score.remark(
                AbcCode.OCTAVES,
                f"{pitch} has its accidental from the same letter in another octave, "
                "as ABC 2.1 asks.",
                "Write its own accidental before it if another note is meant.",
                "octaves",
            )
        return pitch

    def _length(self, text: str) -> Fraction:
        """Return the length of the next note; compare it with a broken one before."""
        if not self.lengths.is_broken:
            return self.lengths.take(text)
        factor = self.lengths.broken
        length = self.lengths.take(text)
        # The standard knows broken rhythm between equal notes only (4.4).
        if length / factor != self._base:
            self._score.remark(
                AbcCode.BROKEN,
                "a broken rhythm stands between notes of unequal length; each was "
                "changed by itself.",
                "Write both lengths out.",
            )
        return length

    def _rest(self, word: str) -> None:
        self._ornaments.strike(None, self._length(word[1:]))

    def _bars(self, word: str) -> None:
        """Take rests of whole bars (4.5)."""
        # Z4 are four bars of rest: how long they are, the metre tells (4.5).
        count = int(word[1:] or 1) if len(word) < 6 else 0
        time = self._score.time
        if time is None or not self._score.open_bar():
            error = UnreadableError(
                f'"{word}" is a rest of whole bars, and '
                + ("the metre is free." if time is None else "a bar has begun."),
                "Write z with a length.",
            )
            if time is None:
                raise error
            # Who types Z in the middle of a bar may mean z; then the bar is whole.
            self._score.doubt(error, word, f'"{word}" was read as {word.lower()}.')
            self._rest(word)
            return
        if not 0 < count <= MOST_BARS:
            raise UnreadableError(f'"{word}" rests for no number of bars.')
        for index in range(count):
            if index:
                self._score.add_bar(parse_bar_line("|"))
            self._ornaments.strike(None, time.bar_length)

    def _tuplet(self, word: str) -> None:
        # The standard says nothing of tuplets inside tuplets (4.13).
        tuplet = parse_tuplet(word, self._score.time)
        if self.lengths.is_repeated(tuplet):
            what = f'"{word}" stands here twice; it was read once.'
            self._score.remark(AbcCode.STRAY, what)
        elif self.lengths.in_tuplet:
            what = f'"{word}" begins inside another tuplet.'
            raise UnreadableError(what, "Write the lengths out.")
        else:
            self.lengths.set_tuplet(tuplet)

    def _broken(self, word: str) -> None:
        """Lengthen one note at the cost of its neighbour (4.4)."""
        drafts = self._score.drafts
        # A rhythm is broken between two notes of one bar; the first is long gone else.
        before = drafts[-1] if drafts and not self._score.at_bar else None
        if before is None or self.lengths.is_broken:
            what = f'"{word}" needs a note before it and one after it in the same bar.'
            raise UnreadableError(what)
        first, second = parse_broken(word)
        self._base = before.length
        before.length *= first
        self._score.onset += before.length - self._base
        self.lengths.set_broken(second)

    # Chords: section 4.17.

    def _chord(self, word: str) -> None:
        """Take the top note of a chord; it lasts as long as the chord's first note."""
        inside, _, outer = word[1:].rpartition("]")
        lengths: list[str] = []
        pitches: list[Pitch] = []
        ties: set[int] = set()
        for token in inner_tokens().finditer(inside):
            kind, sign = token.lastgroup or "other", token[0]
            if kind == "note":
                head, length = parse_head(sign)
                lengths.append(length)
                pitches.append(self._pitch(head))
            elif kind == "tie":
                ties.add(len(pitches) - 1)
            elif kind == "space":
                continue
            elif kind in ("broken", "rest", "other"):
                self._stray_in_chord(kind, sign)
            else:
                self._actions["close" if sign == ")" else kind](sign)
        if not pitches:
            raise UnreadableError(f'"{word}" is a chord without notes.')
        # The tune is what sounds highest, in whatever order the notes are written.
        top = max(range(len(pitches)), key=lambda index: pitches[index].midi)
        draft = self._ornaments.strike(
            pitches[top], self._length(multiply(lengths[0], outer))
        )
        draft.tied = top in ties
        if len({pitch.midi for pitch in pitches}) > 1:
            what = "several notes sound together; the top one was taken."
            self._score.remarks.add(AbcCode.CHORD_NOTES, what, draft.onset)

    def _stray_in_chord(self, kind: str, sign: str) -> None:
        """Pass over a rest inside a chord; refuse all else."""
        if kind != "rest":
            raise UnreadableError(f'"{sign}" does not belong inside a chord.')
        what = "a rest stands inside a chord; it was passed over."
        self._score.remark(AbcCode.STRAY, what)

    def _named(self, word: str) -> None:
        """Take a decoration by name, or a chord as old books write it: +CEG+ (10.2)."""
        chord = old_chord(word)
        if chord:
            self._score.remark(AbcCode.CHORD_NOTES, f'"{word}" was read as [{chord}].')
            self._chord(f"[{chord}]")
        else:
            self._ornaments.name(word)

    # Bar lines: sections 4.8 to 4.10.

    def _bar(self, word: str) -> None:
        if word == ":" and self._score.at_bar:
            word = "|:"
            self._score.remark(AbcCode.BAR_LINE, '":" was read as "|:".')
        line = parse_bar_line(word)
        self._end_bar(word)
        self._score.add_bar(line)
        if line.odd:
            what = f'"{word}" was read as the end of a repeat.'
            self._score.remark(AbcCode.BAR_LINE, what)

    def _half_bar(self, _word: str) -> None:
        """Take a colon that words part from the bar line that it belongs to."""
        self._bar(":|")
        self._score.remark(AbcCode.BAR_LINE, '":" was read as ":|".')

    def _end_bar(self, word: str = "") -> None:
        """Let accidentals end; a tuplet or broken rhythm must have ended."""
        # Accidentals end with their bar (4.2); what hangs over the bar line is told.
        self.signs.pass_bar()
        self._ornaments.pass_bar()
        left, broken = self.lengths.in_tuplet, self.lengths.is_broken
        if not (left or broken):
            return
        self.lengths.end_tuplet()
        kind = "tuplet" if left else "broken rhythm"
        more = "1 more note" if left < 2 else f"{left} more notes"
        error = UnreadableError(f"the {kind} wants {more} before the bar line.")
        if left:
            raise error
        # The note that it wants may be the pickup of what is played next.
        told = "a broken rhythm ends with the bar; its note is as long as it says."
        self._score.doubt(error, word, told)

    # Everything else: sections 3.2, 6.1.1, 7.4, 8.1.

    def _dollar(self, _word: str) -> None:
        if self._header.dollar or self._header.mark:
            self._score.add_phrase()

    def _mark(self, _word: str) -> None:
        # Older books ended lines of the score by a lone ! (10.2).
        if self._header.strict:
            what = 'a lone "!" is no sign of ABC 2.1.'
            raise UnreadableError(what, "Write $ to end a line of the score.")
        self._score.add_phrase()

    def _reserved(self, word: str) -> None:
        what = f'"{word}" means nothing yet; it was passed over.'
        self._score.remark(AbcCode.RESERVED, what)

    def _overlay(self, word: str) -> None:
        if len(word) > 1:
            what = f'a second voice overlays several bars ("{word}").'
            raise UnreadableError(what, "Keep the tune alone.")
        what = 'a second voice overlays the bar ("&"); the first one was taken.'
        self._score.remarks.add(AbcCode.OVERLAY, what, self._score.marks[-1].onset)
        self._overlaid = True

    def _other(self, word: str) -> None:
        error = UnreadableError(f'"{word}" is no sign of ABC music.')
        # A lone accidental changes a note, and a lone quote begins what is none.
        if word in _UNCLEAR:
            raise error
        if word.isdecimal() and self._begins_ending(int(word)):
            self._score.add_ending((int(word),))
            what = f'"{word}" was read as the beginning of ending {word}.'
            self._score.remark(AbcCode.BAR_LINE, what)
        else:
            self._score.doubt(error, word)

    def _begins_ending(self, number: int) -> bool:
        """Whether a number at the beginning of a bar is that of the next ending."""
        score = self._score
        if not score.at_bar or score.marks[-1].ending:
            return False
        before = [mark for mark in score.marks if mark.ending or mark.starts]
        last = max(before[-1].ending, default=0) if before else 0
        # The second ending follows the sign that ends the first.
        return number == last + 1 and (number == 1 or bool(score.marks[-1].ends))


def _pass_over(_word: str) -> None:
    """Pass over blanks and back quotes, which only group beams (4.7), and `y` (6.1.2).

    `y` takes room on paper but no time.
    """
