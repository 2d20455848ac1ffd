"""The table of rules: what each finds, what a pupil pays, how a fault is planted.

One row says all that is known of a fault: its name, what it costs and hides, what a
teacher asks, what to practise, the rules that find it and how a worksheet plants it.
Arranging, marking and worksheets read the rows, so our own score never breaks a rule
that we would mark down. A new fault is a row here and the function that finds it.

Codes are those of the trade's lists: H for harmony, M for marking, L for the low and
the far. Which rules forbid and which only warn is common practice of keyboard style:
parallels are avoided, the tune on top is a must. One slip costs once: a fault hides
those that follow from it in the same chord, and the joining of two chords is judged
only where the notes of the second are right.
"""

from collections.abc import Callable, Iterator
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.rules import chords, hands, joining, planting, steps, work
from harmonise.rules.planting import Bed, Proposal
from harmonise.rules.score_view import Fault, Found, Grade, Score
from harmonise.theory.arrangement import Arrangement

Finder = Callable[[Score], Iterator[Found]]


class Rule(NamedTuple):
    """A rule of the trade.

    Attributes:
        code: Its short name, the same in every run.
        grade: How grave it is to break it.
        find: Generator of what breaks it, in score order.
        of_pupils: Whether only pupils are asked for it, not our own scores.
        freely: What finds it where the top of the right hand is the pupil's own.
    """

    code: str
    grade: Grade
    find: Finder
    of_pupils: bool = False
    freely: Finder | None = None

    @property
    def name(self) -> str:
        """The rule in two or three words."""
        return self.find.__name__.replace("_", " ")


class ChordPart(Enum):
    """What a chord's marks are given for."""

    NOTES = "notes"
    LEFT = "left hand"
    JOINING = "joining"
    LABEL = "label"


class Price(NamedTuple):
    """What a fault costs.

    Attributes:
        deduct: Marks.
        when: "always", "strict", "comment" or "off".
        beside: Marks where a lost common tone goes with it; None as alone.
    """

    deduct: Fraction
    when: str = "always"
    beside: Fraction | None = None


class Planter(NamedTuple):
    """How a worksheet plants a fault.

    Attributes:
        turn: Its turn: sheets with few faults take the first.
        make: Generator of proposals.
        found: Codes of the rules that find it, and no others do.
        rare: The higher, the fewer places a tune has for it; 0 for many.
    """

    turn: int
    make: Callable[[Bed], Iterator[Proposal]]
    found: tuple[str, ...]
    rare: int = 0


class FaultKind(NamedTuple):
    """A kind of fault in a pupil's work.

    Attributes:
        key: Its name in the table of points: "M03.third".
        name: The fault in a few words.
        part: Which part of a chord's worth it belongs to.
        price: What it costs.
        how: How to practise it, in a few words.
        drill: Name of the drill to practise, such as "D1"; "" for none.
        ask: What a teacher asks: what it is about, then where to look. Neither names a
            chord or a note.
        hides: Keys of the faults of the same chord that follow from it.
        hides_after: Keys of the faults of the next chord that follow from it.
        rules: The rules that find it; () where the marker itself does.
        plant: How it is planted; None where worksheets have none.
        of_choice: Whether it lies in the choice of chords: nobody answers for chords
            that are given.
        of_given: Whether it may lie in what is given, the tune or the bars, so that it
            counts where a hand is left blank.
        each_note: Whether it counts for each note.
        of_all: Whether it is a slip of the whole work, which is told first.
        price_note: What the table of points says beside its price.
    """

    key: str
    name: str
    part: ChordPart
    price: Price
    how: str
    drill: str = ""
    ask: tuple[str, ...] = ()
    hides: tuple[str, ...] = ()
    hides_after: tuple[str, ...] = ()
    rules: tuple[Rule, ...] = ()
    plant: Planter | None = None
    of_choice: bool = False
    of_given: bool = False
    each_note: bool = False
    of_all: bool = False
    price_note: str = ""

    @property
    def code(self) -> str:
        """The trade's code, such as "M03"."""
        return self.key.partition(".")[0]

    @property
    def found(self) -> tuple[str, ...]:
        """Codes of the rules that find it where it is planted, and no others do."""
        return self.plant.found if self.plant else ()


_N, _L, _J, _B = ChordPart
_NEVER, _AVOID = Grade
_HALF, _ONE, _TWO = (Price(Fraction(n, 2)) for n in (1, 2, 4))
_JOINING = ("M04", "M05")
_ORDER = ("M14", "M16")
"""A chord that does not fit is one slip, in whatever order it stands."""
_MISSING = ("M03.third", "M03.root", "M03.fifth")
_ASK_NOTES = "Which notes has this chord?"
_ASK_MISSING = (_ASK_NOTES, "Which of them do you hear in neither hand?")
_ASK_WRONG = (_ASK_NOTES, "Which of your notes is none of them?")

KINDS: tuple[FaultKind, ...] = (
    # Where the tune is altered, what lies under it cannot be judged by it.
    FaultKind(
        "M20", "tune altered", _N, _TWO, "play the tune alone",
        ask=("What does the given tune have here?",
             "Compare pitch and octave: what is different in yours?"),
        hides=("M01", "M13", *_MISSING, *_JOINING),
        rules=(Rule("M20", _NEVER, hands.tune_kept),), of_given=True,
    ),
    FaultKind(
        "M01", "tune not on top", _N, _TWO, "the scale on top", "D7",
        ask=("Which note should be heard above all others here?",
             "Is any note of your right hand higher than that one?"),
        hides=_JOINING, rules=(Rule("M01", _NEVER, hands.tune_on_top),),
        plant=Planter(4, planting.tune_in_the_middle, ("M01",)),
    ),
    # Before M02, which would call the natural seventh one wrong note among others.
    FaultKind(
        "M12", "seventh not raised", _N, _ONE, "the raised seventh in minor", "D3",
        ask=("What becomes of the seventh degree of a minor key before the keynote?",
             "Which of your notes is that degree?"),
        hides=("M02", *_MISSING, *_JOINING),
        rules=(Rule("M12", _NEVER, work.leading_note_raised, of_pupils=True),),
        plant=Planter(5, planting.natural_sevenths, ("M02", "M03"), rare=5),
    ),
    FaultKind(
        "M13", "chord does not fit the tune", _B, _TWO, "two chords under one note",
        "D8", hides=("M02", *_MISSING, *_JOINING, *_ORDER), hides_after=_ORDER,
        rules=(Rule("H05", _NEVER, chords.filling_note_fits),
               Rule("H23", _NEVER, chords.no_false_relation),
               Rule("M13", _AVOID, work.tune_fits_chord, of_pupils=True)),
        plant=Planter(7, planting.chords_that_do_not_fit, ("H05",), rare=2),
        of_choice=True,
    ),
    FaultKind(
        "M02", "wrong note in the chord", _N, _ONE, "right hand alone", "D1",
        ask=_ASK_WRONG, hides=("M09", *_MISSING, *_JOINING),
        rules=(Rule("M02", _NEVER, hands.chord_notes_only),),
        plant=Planter(1, planting.wrong_notes, ("M02",)), each_note=True,
        price_note="for each wrong note",
    ),
    FaultKind(
        "M03.third", "third missing", _N, _ONE, "one chord, complete", "D6",
        ask=_ASK_MISSING, hides=_JOINING,
        rules=(Rule("M03", _NEVER, hands.third_sounds),),
        plant=Planter(3, planting.missing_thirds, ("M03",)),
    ),
    FaultKind(
        "M03.root", "root missing", _N, _ONE, "one chord, complete", "D6",
        ask=_ASK_MISSING, hides=_JOINING,
        rules=(Rule("M03r", _NEVER, work.root_sounds, of_pupils=True),),
    ),
    FaultKind(
        "M03.fifth", "fifth missing", _N, _HALF, "one chord, complete", "D6",
        ask=_ASK_MISSING, hides=_JOINING,
        rules=(Rule("M03f", _AVOID, work.fifth_sounds, of_pupils=True),),
    ),
    FaultKind(
        "M11", "wrong spelling", _N, _HALF, "name what you play", "D11",
        ask=("Which letters do root, third and fifth of this chord have?",
             "Which of your notes is right on the keys and wrong on the page?"),
        rules=(Rule("M11", _NEVER, hands.spelled_in_chord),),
        plant=Planter(9, planting.wrong_spellings, ("M11",), rare=1), of_given=True,
    ),
    # A wrong root is also a wrong note, the root is missing, and the fifth cannot be
    # left out over it: one slip, one price.
    FaultKind(
        "M06", "wrong root in the left hand", _L, _ONE, "left hand alone", "D1",
        ask=("Which chord stands here, and what is its root?",
             "Which member of the chord does your left hand play?"),
        hides=("M02.left", "M03.root", "M03.fifth"),
        rules=(Rule("M06", _NEVER, hands.bass_as_printed),),
        plant=Planter(2, planting.wrong_roots, ("M06",)),
    ),
    FaultKind(
        "M02.left", "wrong note in the left hand", _L, _ONE, "slowly", "D9",
        ask=_ASK_WRONG,
        price_note="a wrong note of the left hand that is not the root's",
    ),
    FaultKind(
        "M07", "stretch over an octave", _N, _HALF, "close shapes", "D6",
        ask=("How many keys does your right hand span here?",
             "Which of its notes could lie nearer to the tune?"),
        # A note that falls out of the hand may fall below the other hand too.
        hides=("M08", *_JOINING),
        rules=(Rule("M07", _NEVER, hands.right_hand_in_reach),),
        plant=Planter(10, planting.wide_spans, ("M07",)),
    ),
    FaultKind(
        "M08", "hands crossed", _L, _HALF, "left hand alone", "D1",
        ask=("Which hand has the lowest note here?",
             "In which octave would the left hand be out of the way?"),
        rules=(Rule("M08", _NEVER, hands.hands_apart),),
        plant=Planter(8, planting.crossed_hands, ("M08",)),
    ),
    FaultKind(
        "M04", "common tone not kept", _J, _ONE, "hold the common tone", "D1",
        ask=("Which note do the last chord and this one share?",
             "Could the same finger hold it?"),
        rules=(Rule("M04", _NEVER, joining.common_tone_kept, of_pupils=True,
                    freely=joining.common_tone_kept_freely),),
    ),
    FaultKind(
        "M05", "voice moved too far", _J,
        Price(Fraction(1), beside=Fraction(0)), "the nearest shape", "D5",
        ask=("How far does each finger move from the last chord?",
             "Is there a shape of the same chord with smaller steps?"),
        rules=(Rule("M05", _NEVER, joining.moves_no_further, of_pupils=True,
                    freely=joining.moves_no_further_freely),),
        price_note="where a common tone was lost too (M04)",
    ),
    FaultKind(
        "M09", "wrong shape named", _B, _ONE, "name the shapes", "D6",
        ask=("Which is the lowest note of your right hand?",
             "Is it root, third or fifth of the chord?"),
    ),
    FaultKind(
        # What is played may fit the tune where its wrong name would not.
        "M10", "wrong name of the chord", _B, _ONE, "name what you play", "D11",
        hides=("M13",),
        ask=("Which notes do you play here?",
             "Which of them is the root, and is its third large or small?"),
    ),
    FaultKind(
        "M14", "syncopated harmony", _B, _ONE, "change on strong beats", "D7",
        ask=("On which beats of the bar does a chord best begin?",
             "Is the beat where this one began stronger than this one here?"),
        rules=(Rule("H07", _AVOID, steps.not_syncopated),), of_choice=True,
    ),
    FaultKind(
        "M15", "no proper close", _B, _TWO, "end on the tonic", "D1", hides=("M16",),
        ask=("On which degree does a tune come to rest?",
             "Does your last chord stand on that degree?"),
        rules=(Rule("H02", _AVOID, chords.ends_on_tonic),),
        plant=Planter(11, planting.open_ends, ("H02",), rare=3), of_choice=True,
    ),
    FaultKind(
        "M16", "V goes back to IV", _B, _ONE, "IV before V", "D4",
        ask=("Where does the dominant lead?",
             "Does your chord go there, or back?"),
        rules=(Rule("H12", _AVOID, steps.no_step_back),),
        plant=Planter(6, planting.steps_back, ("H12",), rare=4), of_choice=True,
    ),
    FaultKind(
        "M17", "parallel fifths or octaves", _J,
        Price(Fraction(1), "strict"), "against the left hand", "D4",
        ask=("Which two voices move the same way here?",
             "Which interval do they make, before and after?"),
        rules=(Rule("M17", _AVOID, steps.no_parallels),),
        price_note="for each pair of chords",
    ),
    FaultKind(
        "M18", "leading note doubled or seventh not resolved", _J,
        Price(Fraction(1, 2), "strict"), "the seventh falls", "D10",
        ask=("Which note of the dominant wants to move, and which way?",
             "How many voices have it, and where do they go?"),
        hides=_JOINING,
        rules=(Rule("M18", _AVOID, hands.leading_note_once),
               Rule("H13", _AVOID, steps.seventh_resolves)),
    ),
    FaultKind(
        "M19", "rhythm", _N, _HALF, "count aloud", "D1",
        ask=("How many beats does this place have?",
             "How many do your notes and rests add up to?"),
        of_given=True,
    ),
    FaultKind(
        "M19.shift", "bars out of place", _N, _TWO, "count the bars of the tune",
        ask=("Which bar of the tune is this?",
             "Count from the beginning: is a bar or a beat too many, or left out?"),
        of_given=True, of_all=True,
        price_note="once for all bars or beats put in, left out or shifted",
    ),
    FaultKind(
        "M20.key", "another key", _N, _TWO, "the scale of the key", "D6",
        ask=("Which key was asked for?",
             "On which note do your first and last chords stand?"),
        of_given=True, of_all=True, price_note="once for all of it",
    ),
)  # fmt: skip
"""All kinds of fault, the gravest slip of a chord first."""

_UNMARKED = (
    Rule("L01", _AVOID, hands.low_notes_clear),
    Rule("L02", _AVOID, hands.hands_not_far),
    Rule("H01", _AVOID, chords.begins_on_tonic),
    Rule("H03", _NEVER, chords.one_chord_under_last_note),
    Rule("H04", _NEVER, chords.changes_at_slots),
    Rule("H25", _AVOID, chords.stays_in_mode),
    Rule("H10", _AVOID, steps.closes_from_dominant),
)
"""Rules that our scores keep and that no pupil pays for."""
COMMENTS = ("M17", "L01", "L02")
"""Rules that are no faults in keyboard style, only remarks."""

BY_KEY = {kind.key: kind for kind in KINDS}
PLANTED = tuple(
    kind for _, kind in sorted((kind.plant.turn, kind) for kind in KINDS if kind.plant)
)
"""The faults that worksheets plant, those of the smallest sheets first."""
_ALL = (*(rule for kind in KINDS for rule in kind.rules), *_UNMARKED)
RULES: tuple[Rule, ...] = tuple(rule for rule in _ALL if not rule.of_pupils)
"""What our own scores keep, or break only for something that matters more."""
WORK_RULES: tuple[Rule, ...] = (*RULES, *(rule for rule in _ALL if rule.of_pupils))
"""What a marker looks for in work under a given tune."""
FREE_RULES: tuple[Rule, ...] = tuple(
    rule._replace(find=rule.freely) if rule.freely else rule for rule in WORK_RULES
)
"""What a marker looks for where the top of the right hand is the pupil's own."""
KEY_OF_RULE = {rule.code: kind.key for kind in KINDS for rule in kind.rules}
"""Which fault each rule finds; rules that are not here are let be."""


def check(arrangement: Arrangement, rules: tuple[Rule, ...] = RULES) -> Iterator[Fault]:
    """Yield every fault of an arrangement, in score order.

    Args:
        arrangement: The arrangement; it may break every rule. What the user locked is
            excused.
        rules: The rules to check; faults at one place come in their order.
    """
    score = Score(arrangement)
    faults = [
        (row, rule) for rule in rules for row in rule.find(score) if not row.locked
    ]
    faults.sort(key=lambda pair: pair[0].onset)
    for row, rule in faults:
        place = arrangement.tune.place(row.onset)
        yield Fault(rule.code, rule.grade, place, row.what, row.remedy)
