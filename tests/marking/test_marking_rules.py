"""Rules that a marker asks for besides those that our own scores keep."""

from itertools import product
from random import Random

import pytest
from makers.rule_examples import examples, parse_example
from music21 import note as m21_note  # noqa: TID251 (the oracle)
from music21.voiceLeading import VoiceLeadingQuartet  # noqa: TID251 (the oracle)

from harmonise.rules.score_view import Grade
from harmonise.rules.table import FREE_RULES, RULES, WORK_RULES, Rule, check
from harmonise.theory.chord import Chord, Quality
from harmonise.theory.motion import parallels
from harmonise.theory.pitch import PitchName, parse_pitch

OWN = list(dict.fromkeys((*WORK_RULES, *FREE_RULES)))[len(RULES) :]
RULE_CASES = [pytest.param(rule, id=f"{rule.code} {rule.name}") for rule in OWN]


@pytest.mark.parametrize("rule", RULE_CASES)
def test_the_good_example_keeps_its_rule(rule: Rule) -> None:
    good = parse_example(examples(rule.find.__doc__ or "")["Good"])
    assert [str(fault) for fault in check(good, (rule,))] == []


@pytest.mark.parametrize("rule", RULE_CASES)
def test_the_faulty_example_breaks_its_rule_with_a_remedy(rule: Rule) -> None:
    bad = parse_example(examples(rule.find.__doc__ or "")["Fault"])
    found = list(check(bad, (rule,)))
    assert found
    assert all(fault.remedy.endswith(".") for fault in found)


def test_the_marker_keeps_every_rule_of_the_chooser() -> None:
    assert len(OWN) == 8
    assert WORK_RULES[: len(RULES)] == FREE_RULES[: len(RULES)] == RULES


def codes(text: str, rules: tuple[Rule, ...] = WORK_RULES) -> list[str]:
    wanted = {"M03r", "M03f", "M04", "M05", "M12", "M13"}
    found = check(parse_example(text), rules)
    return [fault.rule for fault in found if fault.rule in wanted]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        # Under tune 1-2 with I-V no close voicing keeps G in its voice (TRADE 0.2.6,
        # checked there by exhaustive search).
        ("C major: C | C5 | E4 G4 | C3; G | D5 | G4 B4 | G2", []),
        # V to vi under 7-1 with the third of vi doubled (common practice).
        ("C major: G | B4 | D4 G4 | G2; Am | C5 | C4 E4 | A2", []),
        # The same doubling with nothing to excuse it moves too far.
        ("C major: C | G4 | C4 E4 | C3; Am | C5 | C4 E4 | A2", []),
        # In root position the fifth may be left out (common practice), else not.
        ("C major: F | A4 | C4 F4 | F2; C | E5 | E4 C5 | C3", []),
        ("C major: F | A4 | C4 F4 | F2; C/E | C5 | C4 E4 | E3", ["M03f"]),
        # A natural 7th in a chord that is not the dominant is no fault.
        ("A minor: Am | A4 | C4 E4 | A2; C | G4 | C4 E4 | C3", []),
        ("A minor: E | E5 | G4 B4 | E3", ["M12"]),
        # A suspended fourth stands for the third, not for the fifth.
        ("C major: C/E | C5 | C4 E4 | E3", ["M03f"]),
        # A foreign note on a weak place is let be.
        ("C major: C 1 | C5; C 1 | A4; C 2 | E5", []),
        # An appoggiatura that goes on by step is let be on a strong one.
        ("C major: C | F5 E5; C | C5", []),
    ],
)
def test_what_custom_allows_is_no_fault(text: str, wanted: list[str]) -> None:
    assert codes(text) == wanted


def test_every_added_rule_that_forbids_is_one_that_our_own_scores_keep() -> None:
    # The models themselves are tried in test_marking_models.
    never = {rule.code for rule in OWN if rule.grade is Grade.NEVER}
    assert never == {"M03r", "M12", "M04", "M05"}


def m21_parallels(before: list[str], after: list[str]) -> bool:
    """Return whether music21 finds parallel fifths, octaves or unisons."""
    voices = list(zip(before, after, strict=True))
    for lower in range(len(voices)):
        for upper in range(lower + 1, len(voices)):
            four = [m21_note.Note(n) for n in (*voices[upper], *voices[lower])]
            quartet = VoiceLeadingQuartet(*four)
            found = (
                quartet.parallelFifth()
                or quartet.parallelOctave()
                or quartet.parallelUnison()
            )
            # music21 counts fifths in contrary motion too.
            if found and not quartet.antiParallelMotion():
                return True
    return False


def test_parallels_are_those_that_music21_finds_in_a_thousand_pairs() -> None:
    dice = Random(20261125)  # noqa: S311 (draws chords)
    names = [f"{letter}{octave}" for octave in (3, 4, 5) for letter in "CDEFGAB"]
    found = 0
    for _ in range(1000):
        pair = [sorted(dice.sample(range(len(names)), 4)) for _ in range(2)]
        before, after = ([names[at] for at in chord] for chord in pair)
        heights = [[parse_pitch(n).midi for n in chord] for chord in (before, after)]
        ours = bool(parallels(*heights))
        assert ours == m21_parallels(before, after), (before, after)
        found += ours
    assert found > 50


def test_the_rule_finds_the_parallels_of_two_chords_that_music21_finds() -> None:
    dice = Random(8)  # noqa: S311 (draws chords)
    rule = next(rule for rule in WORK_RULES if rule.code == "M17")
    names = [f"{letter}{octave}" for octave in (3, 4, 5) for letter in "CDEFGAB"]
    found = 0
    for _ in range(300):
        pair = [sorted(dice.sample(range(len(names)), 4)) for _ in range(2)]
        before, after = ([names[at] for at in chord] for chord in pair)
        text = "; ".join(
            f"{symbol} | {top} | {low} {high} | {bass}"
            for symbol, (bass, low, high, top) in (("C", before), ("F", after))
        )
        # A tune doubled an octave below is one voice.
        if any(chord[3] - 7 in chord[1:3] for chord in pair):
            continue
        ours = bool(list(check(parse_example(f"C major: {text}"), (rule,))))
        assert ours == m21_parallels(before, after), text
        found += ours
    assert found > 10


@pytest.mark.parametrize("quality", Quality, ids=lambda quality: quality.value)
def test_every_rule_reads_every_quality_of_chord(quality: Quality) -> None:
    # A bare fifth has no third and a suspended chord none either: a rule that counts
    # members instead of looking for them reads past the end.
    rules = tuple(dict.fromkeys((*WORK_RULES, *FREE_RULES)))
    for root, tune in product((0, 4), ("C5", "E5", "F#5", "r")):
        symbol = Chord(PitchName(root), quality).symbol
        for body in (f"{symbol} | {tune}; G7 | F5", f"G7 | F5; {symbol} | {tune}"):
            for hands in ("", " | G4 C5 | C3", " | B4 | G2", " | - | -"):
                text = body.replace(f"| {tune}", f"| {tune}{hands}")
                for key in ("C major", "E minor", "D dorian"):
                    for fault in check(parse_example(f"{key}: {text}"), rules):
                        assert fault.remedy.endswith(".")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("C major: C5 | C5 | G4 | C3", []),
        ("C major: C5 | C5 | C4 | C3", ["C5 sounds without its fifth, G."]),
        ("C major: Csus4 | C5 | F4 G4 | C3", []),
        ("C major: C6 | A4 | C4 E4 | C3", []),
    ],
)
def test_no_chord_is_asked_for_a_member_that_it_has_not(
    text: str, wanted: list[str]
) -> None:
    found = check(parse_example(text), WORK_RULES)
    assert [f.what for f in found if f.rule in ("M03", "M03r", "M03f")] == wanted
