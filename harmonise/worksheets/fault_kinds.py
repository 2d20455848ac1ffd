"""The faults that can be planted, each with what its rules find and what it costs.

Codes and deductions are those of the trade's table of faults.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import NamedTuple

from harmonise.theory.arrangement import Arrangement
from harmonise.worksheets.planting import (
    Proposal,
    crossed_hands,
    missing_thirds,
    natural_sevenths,
    tune_in_the_middle,
    wide_spans,
    wrong_notes,
    wrong_roots,
    wrong_spellings,
)
from harmonise.worksheets.planting_chords import (
    chords_that_do_not_fit,
    open_ends,
    steps_back,
)

Maker = Callable[[Arrangement], Iterator[Proposal]]


class FaultKind(NamedTuple):
    """A kind of fault that can be planted.

    Attributes:
        code: The trade's code.
        name: The fault in a few words, as a key prints it.
        found: Codes of the rules that find it and nothing else.
        deduct: What it costs in a pupil's work.
        make: Its maker.
    """

    code: str
    name: str
    found: tuple[str, ...]
    deduct: Fraction
    make: Maker


_HALF = Fraction(1, 2)
FAULT_KINDS: tuple[FaultKind, ...] = (
    FaultKind("M02", "wrong note in the chord", ("M02",), Fraction(1), wrong_notes),
    FaultKind("M06", "wrong root in the left hand", ("M06",), Fraction(1), wrong_roots),
    FaultKind("M03", "third missing", ("M03",), Fraction(1), missing_thirds),
    FaultKind("M01", "tune not on top", ("M01",), Fraction(2), tune_in_the_middle),
    FaultKind(
        "M12", "seventh not raised", ("M02", "M03"), Fraction(1), natural_sevenths
    ),
    FaultKind("M16", "V goes back to IV", ("H12",), Fraction(1), steps_back),
    FaultKind(
        "M13", "chord does not fit the tune", ("H05",), Fraction(2),
        chords_that_do_not_fit,
    ),
    FaultKind("M08", "hands crossed", ("M08",), _HALF, crossed_hands),
    FaultKind("M11", "wrong spelling", ("M11",), _HALF, wrong_spellings),
    FaultKind("M07", "stretch over an octave", ("M07",), _HALF, wide_spans),
    FaultKind("M15", "no proper close", ("H02",), Fraction(2), open_ends),
)  # fmt: skip
"""The faults that are planted; sheets with few faults take kinds from the front."""
