"""The lead sheet as MusicXML 4.0: tune, words and chord symbols on one treble staff."""

from harmonise.notation.writing.musicxml import format_plan
from harmonise.notation.writing.score_plan import plan_lead_sheet
from harmonise.theory.arrangement import Arrangement


def format_lead_sheet(arrangement: Arrangement) -> bytes:
    """Return the lead sheet of an arrangement as a MusicXML 4.0 file in UTF-8.

    Bars, repeats, tempo marks, words and the ids of notes are those of the score for
    two hands. The same arrangement gives the same bytes.

    Args:
        arrangement: The arrangement; its hands are left out.
    """
    return format_plan(plan_lead_sheet(arrangement), arrangement.tune)
