"""What joins ABC notes or stands over them, waiting for the note that it belongs to.

The signs of ABC music are cut by one pattern and told apart by the name of its group.
Grace notes, slurs, ties, fermatas, chord symbols and jumps are kept; other ornaments,
dynamics and words over the notes have no place in an arrangement: they are left out,
and named once in a tune.
Source: ABC 2.1, sections 4.11, 4.12, 4.14, 4.16, 4.18, 4.19, 8.1.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from functools import cache

from harmonise.errors import listed, shorten
from harmonise.notation.abc.abc_score import AbcScore, Jump
from harmonise.notation.abc.abc_text import AbcCode, UnreadableError
from harmonise.notation.abc.abc_words import parse_string
from harmonise.notation.abc.fields import Header
from harmonise.notation.abc.lengths import parse_broken, parse_multiplier
from harmonise.notation.abc.notes import is_jump, jump_of, sign_of
from harmonise.notation.abc.pitches import Draft, Signs, parse_head
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Grace

_TOKENS = r"""
 (?P<note>(?:[\^_=]+(?:\d*/\d*)?)?[A-Ga-g][,']*[\d/]*)
|(?P<space>[ \t`]+)
|(?P<half>:(?=(?:\s*"[^"]*"\s*)+[|\[\]]))
|(?P<bar>\.?(?:\[(?=\|)|[|:])(?:[|:\]]|\[(?=[|\]:]))*(?:[1-9][\d,\-]*)?)
|(?P<tuplet>\(\d{1,2}(?::\d{0,2}){0,2})
|(?P<slur>\.?\()
|(?P<close>\.?\))
|(?P<tie>\.?-)
|(?P<broken>>+|<+)
|(?P<rest>[zx][\d/]*)
|(?P<bars>[ZX]\d*)
|(?P<spacer>y[\d/]*)
|(?P<quote>"[^"]*")
|(?P<grace>\{[^}]*\})
|(?P<field>\[[A-Za-z]:[^\]]*\])
|(?P<ending>\[[1-9][\d,\-]*)
|(?P<chord>\[(?:"[^"]*"|!\S+?!|[^\]"|\[])*\][\d/]*)
|(?P<named>![^!\s\[\]|:]+(?::[^!\s\[\]|:]+)?!|![Dd]\.\ ?[CcSs]\.[^!|\[\]:]*!
          |\+[^+\s\[\]|:]+\+)
|(?P<letter>\.|[~H-Wh-w](?=[\^_=A-Ga-gz(\[{"!.~HLMOPSTuv]))
|(?P<stray>[~H-Wh-w])
|(?P<dollar>\$)
|(?P<mark>!)
|(?P<reserved>[\#*;?@])
|(?P<overlay>&+)
|(?P<other>.)
"""


@cache
def tokens() -> re.Pattern[str]:
    """Return the pattern of all signs; made at its first use, as it is large.

    >>> [found.lastgroup for found in tokens().finditer('"G"^c2- | [1 z')]
    ['quote', 'note', 'tie', 'space', 'bar', 'space', 'ending', 'space', 'rest']
    """
    return re.compile(_TOKENS, re.VERBOSE)


_CHORD = r"""
 (?P<note>(?:[\^_=]+(?:\d*/\d*)?)?[A-Ga-g][,']*[\d/]*)
|(?P<tie>\.?-)
|(?P<named>![^!\s\[\]|:]+!|\+[^+\s\[\]|:]+\+)
|(?P<letter>[.~H-Wh-w])
|(?P<quote>"[^"]*")
|(?P<slur>[()])
|(?P<broken>>+|<+)
|(?P<rest>[zx][\d/]*)
|(?P<space>[ \t`]+)
|(?P<other>.)
"""


@cache
def inner_tokens() -> re.Pattern[str]:
    """Return the pattern of the signs within a chord or between grace braces."""
    return re.compile(_CHORD, re.VERBOSE)


_ANNOTATION = "^_<>@"
_GRACE_UNIT = Fraction(1, 2)
"""A bare grace note is a quaver: the standard leaves it to the reader (4.12)."""
_NAMES = """
trill trill( trill) lowermordent uppermordent mordent pralltriller roll turn turnx
invertedturn invertedturnx arpeggio > accent emphasis fermata invertedfermata tenuto
0 1 2 3 4 5 plus snap slide wedge upbow downbow open thumb breath pppp ppp pp p mp mf f
ff fff ffff sfz crescendo( <( crescendo) <) diminuendo( >( diminuendo) >) segno coda
D.S. D.C. dacoda dacapo fine shortphrase mediumphrase longphrase
"""
"""Decorations of section 4.14."""
_LIKE_MUSIC = r"[A-Ga-gz\d,'/^_=<>()\-.]+"
_SPOKEN = {
    name: spoken
    for spoken, names in {
        "accents": "> accent emphasis",
        "fingers": "0 1 2 3 4 5",
        "dynamics": "pppp ppp pp p mp mf f ff fff ffff sfz sf fp "
        "crescendo( <( crescendo) <) diminuendo( >( diminuendo) >)",
        "trills": "trill trill( trill)",
        "bowing": "upbow downbow",
    }.items()
    for name in names.split()
}
"""What decorations are called in a sentence, where their own names do not do."""
_NAMED = 8
"""So many of what is left out are named before the rest is counted."""
_LOST_GRACES = "grace notes lead to no note that is struck; they were left out."


def old_chord(word: str) -> str:
    """Return the notes of a chord that is written +CEG+; "" if it is a decoration.

    >>> old_chord("+E3A3+"), old_chord("+ff+"), old_chord("!ce!")
    ('E3A3', '', '')
    """
    name = word[1:-1]
    is_chord = name not in _NAMES.split() and re.fullmatch(_LIKE_MUSIC, name)
    return name if word[0] == "+" and is_chord else ""


class Ornaments:
    """What waits for the next note.

    Attributes:
        signs: Accidentals in force.
        actions: What to do with a sign, by its kind.
    """

    actions: dict[str, Callable[[str], None]]

    def __init__(self, header: Header, score: AbcScore) -> None:
        """Begin with nothing waiting.

        Args:
            header: What letters and signs mean.
            score: What has been gathered; grows by notes.
        """
        self._header = header
        self._score = score
        self.signs = Signs(header.spread)
        self._graces: list[Grace] = []
        self._fermata = False
        self._slurs = 0
        self._symbols: list[str] = []
        self._jumps: list[tuple[str, bool]] = []  # Words, and whether a sign.
        self._dropped: dict[str, None] = {}  # Names in the order in which they came.
        self.actions = {
            "slur": self._slur,
            "close": self._close,
            "tie": self._tie,
            "grace": self._grace,
            "quote": self._quote,
            "letter": self._letter,
            "stray": self._stray,
        }

    def strike(self, pitch: Pitch | None, length: Fraction) -> Draft:
        """Put a note or rest into the score with all that waits for it."""
        draft = Draft(self._score.onset, length, pitch, self._score.line)
        if self._graces:
            self._give_graces(draft)
        if self._slurs and pitch is not None:
            draft.slur_starts, self._slurs = self._slurs, 0
        if self._symbols:
            draft.symbols, self._symbols = tuple(self._symbols), []
        draft.fermata, self._fermata = self._fermata, False
        self._score.add_note(draft)
        self._place_jumps(draft.onset, over_note=True)
        return draft

    def _give_graces(self, draft: Draft) -> None:
        if draft.pitch is None:
            self._score.remark(AbcCode.ORNAMENT, _LOST_GRACES)
        else:
            draft.graces = tuple(self._graces)
        self._graces = []

    def _place_jumps(self, onset: Fraction, *, over_note: bool) -> None:
        """Put waiting jumps and signs over a note or a bar line."""
        for words, is_sign in self._jumps:
            self._score.jumps.append(Jump(onset, words, over_note, is_sign))
        self._jumps = []

    def pass_bar(self) -> None:
        """Let jumps and fermatas go that stand over a bar line."""
        self._place_jumps(self._score.onset, over_note=False)
        # A pause over a bar line is a silence that no tune note has.
        if self._fermata:
            self._fermata = False
            what = "a fermata over a bar line was left out."
            self._score.remark(AbcCode.ORNAMENT, what)

    def end_tune(self) -> None:
        """Tell what still waits at the end of the tune, and all that was left out."""
        if self._dropped:
            names = list(self._dropped)
            more = [f"{len(names) - _NAMED} more"] if len(names) > _NAMED else []
            self._score.remarks.add(
                AbcCode.ORNAMENT,
                "Left out, as an arrangement has no place for them: "
                f"{listed([*names[:_NAMED], *more])}.",
            )
        if self._graces:
            self._score.remark(AbcCode.ORNAMENT, _LOST_GRACES)
        if self._symbols:
            said = f'"{self._symbols[0]}" stands over no note; it was left out.'
            self._score.remark(AbcCode.SYMBOL, said)

    def _slur(self, _word: str) -> None:
        self._slurs += 1

    def _close(self, _word: str) -> None:
        # ")" stands behind the last note of a slur (4.11).
        if self._score.struck and not self._slurs:
            self._score.struck[-1].slur_ends += 1
        elif self._slurs:
            self._slurs -= 1
        else:
            what = "a slur ends before the first note; left out."
            self._score.remark(AbcCode.SLUR, what)

    def _tie(self, _word: str) -> None:
        drafts = self._score.drafts
        if not drafts:
            raise UnreadableError("a tie (-) needs a note before it.")
        if drafts[-1].pitch is None:
            self._score.remark(AbcCode.TIE, "a tie on a rest means nothing.")
        else:
            drafts[-1].tied = True

    def _grace(self, word: str) -> None:
        # {/g} is an acciaccatura: its stem is crossed (4.12).
        slashed = word[1:2] == "/"
        factor = Fraction(1)
        for token in inner_tokens().finditer(word[1 + slashed : -1]):
            kind, sign = token.lastgroup, token[0]
            if kind == "note":
                head, length = parse_head(sign)
                value = parse_multiplier(length) * _GRACE_UNIT * factor
                self._graces.append(Grace(self.signs.pitch(head), slashed, value))
                factor = Fraction(1)
            elif kind == "broken" and self._graces:
                first, factor = parse_broken(sign)
                last = self._graces.pop()
                self._graces.append(last._replace(value=last.value * first))
            elif kind in ("other", "broken", "rest"):
                raise UnreadableError(f'"{sign}" does not belong among grace notes.')

    def _quote(self, word: str) -> None:
        """Take a chord symbol, an annotation or a jump in quotes (4.18, 4.19)."""
        plain = parse_string(word[1:-1])
        # A sign in front says where an annotation stands, and that it is no chord
        # (4.19).
        text = plain.lstrip(_ANNOTATION).strip()
        if is_jump(text):
            self._jumps.append((text, False))
        elif sign_of(text.lower()):
            self._jumps.append((sign_of(text.lower()), True))
        elif text and plain[0] not in _ANNOTATION:
            self._symbols.append(text)
        elif text:
            self._dropped[f"the words “{shorten(text)}”"] = None

    def name(self, word: str) -> None:
        """Take a decoration between signs: !trill! or, in old books, +trill+.

        Raises:
            UnreadableError: If it looks like notes between two line ends.
        """
        name = word[1:-1]
        # +CEG+ was a chord in old books and is none any more (10.2).
        if name not in _NAMES.split() and re.fullmatch(_LIKE_MUSIC, name):
            what = f'"{word}" is a decoration, or music.'
            remedy = "Write chords as [CEG], decorations as !name!."
            raise UnreadableError(what, remedy)
        self._decorate(name)

    def _letter(self, word: str) -> None:
        """Take a letter that stands before a note as its decoration (4.14, 4.16).

        One that nothing defines is an unknown symbol, which the standard passes over.
        """
        if word == ".":
            self._dropped["staccato"] = None
            return
        name = self._header.symbols.get(word)
        if name is None:
            self._score.remark(
                AbcCode.LETTER,
                f'the letter "{word}" before a note is defined nowhere; it was passed '
                "over.",
                f"Say what it means, as in U:{word} = !accent!",
            )
        else:
            self._decorate(name)

    def _stray(self, word: str) -> None:
        """Take a letter that stands before no note: only a known one can."""
        name = self._header.symbols.get(word)
        if name is None:
            what = f'the letter "{word}" is no note and stands before none.'
            remedy = "Notes are A to G and a to g; rests are z."
            self._score.doubt(UnreadableError(what, remedy), word)
        else:
            self._decorate(name)

    def _decorate(self, name: str) -> None:
        """Take a decoration by its name; those that we have no use for are told."""
        if name in ("fermata", "invertedfermata"):
            self._fermata = True
        elif jump_of(name):
            self._jumps.append((jump_of(name), False))
        elif sign_of(name.lower()):
            self._jumps.append((sign_of(name.lower()), True))
        elif name:
            self._dropped[_SPOKEN.get(name, name)] = None
