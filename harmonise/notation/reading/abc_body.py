"""The body of an ABC tune line by line: music, fields, words, voices.

Of several voices the first is read; the lines of the others are passed over. Source:
ABC 2.1, sections 3.2, 5, 6.1.1, 7.
"""

import re
from collections.abc import Callable, Sequence

from harmonise.notation.reading.abc_faults import Code, UnreadableError
from harmonise.notation.reading.abc_fields import (
    Header,
    parse_metre,
    parse_tempo,
    split_voice,
    take_instruction,
)
from harmonise.notation.reading.abc_keys import (
    KeyField,
    Moves,
    parse_key_field,
    parse_moves,
)
from harmonise.notation.reading.abc_lengths import parse_unit
from harmonise.notation.reading.abc_score import Score
from harmonise.notation.reading.abc_strings import parse_string
from harmonise.notation.reading.abc_text import Line
from harmonise.notation.reading.abc_walk import Walk
from harmonise.notation.reading.abc_words import Piece, parse_words

_VOICE = r"\[V:([^\]]*)\]"
_KNOWN = "ABCDEFGHIKLMNOPQRSTUVWZmrsw"
"""Fields that the standard knows (section 3) or once knew (10.1)."""


class Body:
    """The reading of a tune's body.

    Attributes:
        header: What its header says.
        score: What has been gathered.
    """

    _actions: dict[str, Callable[[str], None]]

    def __init__(self, header: Header, score: Score) -> None:
        """Begin with what the header says."""
        self.header = header
        self.score = score
        self._walk = Walk(header, score)
        self._walk.take_field = self._field
        self._voice: str | None = None
        self._skipping = False
        self._continued = False
        self._words: list[tuple[Piece, ...]] = []
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
                Code.PARTS,
                f'The parts are played in the order "{header.order}"; they were read '
                "once, as written.",
            )

    def take(self, lines: Sequence[Line]) -> None:
        """Take all lines of the body."""
        for line in lines:
            letter = line.letter
            if letter == "w":
                if not self._skipping:
                    self._words.append(parse_words(line.value))
                continue
            self._end_words()
            self._walk.line = line.number
            try:
                if letter:
                    self._field(letter, line.value)
                else:
                    self._music(line)
            except UnreadableError as error:
                self._walk.fault(error, line.text)
        self._end_words()
        self._walk.end_tune()

    def _music(self, line: Line) -> None:
        if line.text[:2] == "+:":
            raise UnreadableError("+: goes on with a field, and there is none before.")
        continued = line.text.endswith("\\")
        text = line.text[:-1] if continued else line.text
        if self.header.mark:
            # Then "!" alone means what "$" means otherwise (6.1.1).
            text = text if self.header.dollar else text.replace("$", "")
            text = text.replace("!", "$")
        if not self._continued:
            self._line_start = len(self.score.struck)
        if self._skipping:
            found = re.search(_VOICE, text)
            if found is None:
                return
            text = text[found.start() :]
        self._walk_parts(text, line.number)
        self._continued = continued
        if not continued and not self._skipping:
            self._walk.end_line()

    def _walk_parts(self, text: str, number: int) -> None:
        """Walk through a line that may change the voice in its middle."""
        start = 0
        for found in re.finditer(_VOICE, text):
            if not self._skipping:
                self._walk.music(text[start : found.start()], number)
            self._walk.line = number
            self._set_voice(found[1])
            start = found.end()
        if not self._skipping:
            self._walk.music(text[start:], number)

    def _end_words(self) -> None:
        """Put the verses that stand together under the notes before them."""
        if not self._words:
            return
        first = self._worded
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
            self._walk.remark(
                Code.FIELD, f"ABC 2.1 knows no field {letter}: it was passed over."
            )

    def _set_key(self, field: KeyField) -> None:
        if field.alters is not None:
            self._walk.signs.set_signature(field.alters)
        if field.alters is not None or not self.score.keys:
            self.score.keys.append((self.score.onset, field))
        self._move(Moves(field.octaves, field.semitones))

    def _move(self, moves: Moves) -> None:
        """Move the notes from here on as a clef or a parameter asks (4.6)."""
        if moves.octaves is not None:
            self._walk.signs.octave = moves.octaves
        if moves.semitones:
            self._walk.remark(
                Code.TRANSPOSED,
                f"playback is to be transposed by {moves.semitones} semitones; the "
                "notes are read as printed.",
            )

    def _set_voice(self, text: str) -> None:
        name, rest = split_voice(text)
        if self._voice is None:
            if self.score.drafts:
                raise UnreadableError(
                    "music stands before the first V: field, so that the first voice "
                    "is not certain.",
                    "Put the V: field of the tune before its first note.",
                )
            self._voice = name
            known = self.header.voices.get(name, "")
            self._move(parse_moves(f"{name} {known} {rest}"))
        self._skipping = name != self._voice
        if self._skipping:
            self.score.remarks.add(
                Code.VOICES,
                f'There are several voices; the first, "{self._voice}", was taken.',
            )

    def _label(self, value: str) -> None:
        text = parse_string(value)
        if text:
            self.score.add_label(text)

    def _tempo(self, value: str) -> None:
        tempo = parse_tempo(value, self.score.onset, self._walk.lengths.unit)
        if tempo is not None:
            self.score.tempos.append(tempo)
        elif value:
            self._walk.remark(
                Code.TEMPO,
                f"Q: {value} gives no number of beats a minute; it was left out.",
                "Write a tempo such as Q:1/4=100.",
            )
