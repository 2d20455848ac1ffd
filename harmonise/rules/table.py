"""The registry of rules, and the checks that run them.

The chooser's last check and the marker share one list, so our own score never breaks a
rule that we would mark down. Codes are those of the trade's lists: H for harmony, M for
marking, L for the low and the far. Which rules forbid and which only warn is common
practice of keyboard style: parallels are avoided, the tune on top is a must.
"""

from collections.abc import Iterator

from harmonise.rules import chords, hands, joining, steps, work
from harmonise.rules.promise import assert_tune_on_top
from harmonise.rules.score_view import Fault, Grade, Rule, Score
from harmonise.theory.arrangement import Arrangement

__all__ = [
    "FREE_RULES",
    "RULES",
    "WORK_RULES",
    "Fault",
    "Grade",
    "Rule",
    "assert_tune_on_top",
    "check",
]

RULES: tuple[Rule, ...] = (
    Rule("M20", Grade.NEVER, hands.tune_kept),
    Rule("M01", Grade.NEVER, hands.tune_on_top),
    Rule("M08", Grade.NEVER, hands.hands_apart),
    Rule("M07", Grade.NEVER, hands.right_hand_in_reach),
    Rule("M02", Grade.NEVER, hands.chord_notes_only),
    Rule("M11", Grade.NEVER, hands.spelled_in_chord),
    Rule("M03", Grade.NEVER, hands.third_sounds),
    Rule("M06", Grade.NEVER, hands.bass_as_printed),
    Rule("M18", Grade.AVOID, hands.leading_note_once),
    Rule("L01", Grade.AVOID, hands.low_notes_clear),
    Rule("L02", Grade.AVOID, hands.hands_not_far),
    Rule("H01", Grade.AVOID, chords.begins_on_tonic),
    Rule("H02", Grade.AVOID, chords.ends_on_tonic),
    Rule("H03", Grade.NEVER, chords.one_chord_under_last_note),
    Rule("H04", Grade.NEVER, chords.changes_at_slots),
    Rule("H05", Grade.NEVER, chords.filling_note_fits),
    Rule("H23", Grade.NEVER, chords.no_false_relation),
    Rule("H25", Grade.AVOID, chords.stays_in_mode),
    Rule("H07", Grade.AVOID, steps.not_syncopated),
    Rule("H10", Grade.AVOID, steps.closes_from_dominant),
    Rule("H12", Grade.AVOID, steps.no_step_back),
    Rule("H13", Grade.AVOID, steps.seventh_resolves),
    Rule("M17", Grade.AVOID, steps.no_parallels),
)
"""What our own scores keep, or break only for something that matters more."""

_ALSO = (
    Rule("M03r", Grade.NEVER, work.root_sounds),
    Rule("M03f", Grade.AVOID, work.fifth_sounds),
    Rule("M12", Grade.NEVER, work.leading_note_raised),
    Rule("M13", Grade.AVOID, work.tune_fits_chord),
)
WORK_RULES: tuple[Rule, ...] = (
    *RULES,
    *_ALSO,
    Rule("M04", Grade.NEVER, joining.common_tone_kept),
    Rule("M05", Grade.NEVER, joining.moves_no_further),
)
"""What a marker looks for in work under a given tune."""
FREE_RULES: tuple[Rule, ...] = (
    *RULES,
    *_ALSO,
    Rule("M04", Grade.NEVER, joining.common_tone_kept_freely),
    Rule("M05", Grade.NEVER, joining.moves_no_further_freely),
)
"""What a marker looks for where the top of the right hand is the pupil's own."""


def check(arrangement: Arrangement, rules: tuple[Rule, ...] = RULES) -> Iterator[Fault]:
    """Yield every fault of an arrangement, in score order.

    Args:
        arrangement: The arrangement; it may break every rule. What the user locked is
            excused.
        rules: The rules to check; faults at one place come in their order.
    """
    score = Score(arrangement)
    found = [
        (row, rule) for rule in rules for row in rule.find(score) if not row.locked
    ]
    found.sort(key=lambda pair: pair[0].onset)
    for row, rule in found:
        place = arrangement.tune.place(row.onset)
        yield Fault(rule.code, rule.grade, place, row.what, row.remedy)
