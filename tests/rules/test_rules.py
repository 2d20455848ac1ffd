import pytest
from makers.rule_examples import examples, parse_example

from harmonise.rules.score_view import Grade
from harmonise.rules.table import RULES, Rule, check

RULE_CASES = [pytest.param(rule, id=f"{rule.code} {rule.name}") for rule in RULES]


@pytest.mark.parametrize("rule", RULE_CASES)
def test_every_rule_ends_in_a_good_and_a_faulty_example(rule: Rule) -> None:
    found = examples(rule.find.__doc__ or "")
    assert list(found) == ["Good", "Fault"]


@pytest.mark.parametrize("rule", RULE_CASES)
def test_the_good_example_keeps_its_rule(rule: Rule) -> None:
    good = parse_example(examples(rule.find.__doc__ or "")["Good"])
    assert [str(fault) for fault in check(good, (rule,))] == []


@pytest.mark.parametrize("rule", RULE_CASES)
def test_the_good_example_breaks_no_rule_that_forbids(rule: Rule) -> None:
    good = parse_example(examples(rule.find.__doc__ or "")["Good"])
    found = [fault for fault in check(good) if fault.grade is Grade.NEVER]
    assert [str(fault) for fault in found] == []


@pytest.mark.parametrize("rule", RULE_CASES)
def test_the_faulty_example_breaks_its_rule(rule: Rule) -> None:
    bad = parse_example(examples(rule.find.__doc__ or "")["Fault"])
    found = list(check(bad, (rule,)))
    assert found
    assert {fault.rule for fault in found} == {rule.code}


MESSAGES = [
    ("M20", "the tune has E5 (2 crotchets) here, not F5 (2 crotchets)."),
    ("M01", "G4 and C5 are not below the tune note E4."),
    ("M08", "the left hand's G3 is not below G3."),
    ("M07", "the right hand spans 16 semitones, C4 G4 E5; 12 is the most."),
    ("M02", "A4 sounds under C (C E G)."),
    ("M11", "Ab4 is spelled G# in E."),
    ("M03", "C sounds without its third, E."),
    ("M06", "the left hand plays G2 under C."),
    ("M18", "the leading note sounds twice, B2 B4."),
    ("L01", "C2 and G2 lie too low to sound clear."),
    ("L02", "the hands lie far apart, C2 and G4, which sounds hollow."),
    ("H01", "the first full bar begins on F, not on C."),
    ("H02", "the last chord is G, not C."),
    ("H03", "C begins under the last note, C5."),
    ("H04", "G begins on too weak a place for a change of chord."),
    ("H05", "E5 fills its place but is not in F (F A C)."),
    ("H23", "G4 in the tune clashes with G# in E."),
    ("H25", "A has C#, which is not in D dorian."),
    ("H07", "F came in on beat 4 of bar 1 and is held over a stronger beat."),
    ("H10", "the last change is F to C (a plagal close)."),
    ("H12", "G (V) goes back to F (IV)."),
    ("H13", "F5, the seventh of G7, does not fall a step."),
    ("M17", "the bass and the inner voice move in parallel fifths from F to G."),
]


def test_every_fault_is_told_in_a_sentence_of_its_own() -> None:
    told = []
    for rule in RULES:
        bad = parse_example(examples(rule.find.__doc__ or "")["Fault"])
        first = next(check(bad, (rule,)))
        assert first.remedy
        told.append((first.rule, first.what))
    assert len(told) == len(MESSAGES)
    assert dict(told) == dict(MESSAGES)


def test_a_fault_reads_as_place_fault_and_remedy() -> None:
    bad = parse_example("C major: C | E5; G | D5; F | F5; C | E5")
    rule = next(rule for rule in RULES if rule.code == "H12")
    assert [str(fault) for fault in check(bad, (rule,))] == [
        "Bar 2, beat 1: G (V) goes back to F (IV). Go from V to I, or stay on V."
    ]


def codes(text: str, grade: Grade | None = None) -> list[str]:
    found = check(parse_example(text))
    return [fault.rule for fault in found if grade in (None, fault.grade)]


GOOD = (
    "C major: C | E4 | G3 C4 | C3; F | F4 | A3 C4 | F2; G | D4 | G3 B3 | G2; C 4 | C4"
)


def test_the_phrase_to_plant_faults_in_is_clean() -> None:
    assert codes(GOOD) == []


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("E4 |", "E4>E5 |", ["M20", "M07"]),
        ("| G3 C4 | C3;", "| G3 E4 | C3;", ["M01"]),
        ("| G3 C4 | C3;", "| G3 C4 | G3;", ["M06", "M08"]),
        ("| G3 C4 | C3;", "| G3 C4 | G2;", ["M06"]),
        ("| G3 C4 | C3;", "| E3 G3 | C3;", []),
        ("| G3 B3 | G2", "| G3 A3 | G2", ["M02", "M03"]),
        ("| G3 B3 | G2", "| G3 Cb4 | G2", ["M11"]),
        ("| G3 B3 | G2", "| G3 | G2", ["M03"]),
        ("G | D4 | G3 B3 | G2", "G | G4 | B3 D4 | G2", ["M17", "M17"]),
        ("C 4 | C4", "Am 4 | C4", ["H02"]),
        ("G | D4 |", "G | E4 |", ["H05"]),
        ("F | F4 | A3 C4 | F2;", "F 5/2 | F4 | A3 C4 | F2;", ["H04", "H04"]),
    ],
)
def test_a_planted_fault_is_found_and_no_other(
    old: str, new: str, wanted: list[str]
) -> None:
    assert old in GOOD
    assert codes(GOOD.replace(old, new)) == wanted


@pytest.mark.parametrize(
    "text",
    [
        "C major: C | E5; G | D5; F! | F5; C | E5",
        "C major: C | E5; F! | E5; G | D5; C | C5",
        "D dorian: Dm | D5; A! | E5; Dm | D5",
        "C major: C 4 | E5; G 4 | D5; F! 4 | C5",
        "C major: F! | C5; C | C5; G | D5; C | C5",
    ],
)
def test_a_lock_excuses_its_chord(text: str) -> None:
    free = text.replace("!", "")
    rules = {"H01", "H02", "H05", "H12", "H25"}
    assert rules & set(codes(free))
    assert not rules & set(codes(text))


def test_the_close_of_a_twelve_bar_blues_may_step_back() -> None:
    head = "C! 4 | E5; C! 4 | E5; C! 4 | E5; C! 4 | E5; F! 4 | F5; F! 4 | F5; "
    close = "C! 4 | E5; C! 4 | E5; G 4 | D5; F 4 | F5; C 4 | E5; C 4 | E5"
    assert "H12" not in codes(f"C major: {head}{close}")
    eleven = head.removeprefix("C! 4 | E5; ")
    assert "H12" in codes(f"C major: {eleven}{close}")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("C major: C | E5; G | D5; C | C5", False),
        ("C major: C | E5; F | F5; C | E5", True),
        ("D dorian: Dm | D5; C | E5; Dm | D5", False),
        ("A minor: Am | A4; E7 | B4; Am | A4", False),
        ("A minor: Am | A4; Em | B4; Am | A4", True),
        ("C major: C | E5", False),
    ],
)
def test_a_close_comes_from_the_dominant_or_as_the_mode_has_it(
    text: str, *, found: bool
) -> None:
    # Common practice: V or V7 to I; VII to i in the modes.
    assert ("H10" in codes(text)) is found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("C major: G7 | F5; C | E5", False),
        ("C major: G7 | F5; C | F5 E5", False),
        ("C major: G7 | F5; Am | E5", False),
        ("C major: G7 | F5; G | G5", False),
        ("C major: G7 | D5; C | C5", False),
        ("C major: G7 | F5; C | G5", True),
        ("C major: G7 | G5; Dm | F5", True),
        ("A minor: E7 | D5; Am | C5", False),
        ("A minor: E7 | D5; F | C5", False),
    ],
)
def test_the_seventh_of_v_falls_a_step_where_it_leads(
    text: str, *, found: bool
) -> None:
    # Common practice: V7 to I or vi, its seventh to the third of I; the tune may hold
    # it back.
    assert ("H13" in codes(text)) is found


@pytest.mark.parametrize(("name", "tune"), [("Dm", "F5"), ("F", "F5"), ("Em", "E5")])
def test_a_dominant_seventh_that_leads_nowhere_is_sent_home(
    name: str, tune: str
) -> None:
    rule = next(rule for rule in RULES if rule.code == "H13")
    (fault,) = check(parse_example(f"C major: G7 | F5; {name} | {tune}"), (rule,))
    assert fault.what == f"G7 (V7) goes to {name}, where its seventh cannot resolve."
    assert fault.remedy == "Go on to C."


def test_a_chord_may_be_held_from_a_strong_beat_to_a_weak_one() -> None:
    assert "H07" not in codes("C major: C | E5; C | E5; F | F5; G | D5; C 4 | C5")
    assert "H07" in codes("C major: C | E5; F | F5; F | F5; G | D5; C 4 | C5")


def test_faults_come_in_score_order_and_then_in_the_order_of_the_rules() -> None:
    bad = parse_example("C major: G | D5 | A4 E5 | B2; G | D5 | A4 | G2; F | E5")
    found = [(fault.place, fault.rule) for fault in check(bad)]
    order = [rule.code for rule in RULES]
    ranks = [(place.bar, place.beat or 0, order.index(code)) for place, code in found]
    assert ranks == sorted(ranks)
    assert len({rank[:2] for rank in ranks}) >= 3


def test_codes_are_unique_and_both_grades_are_in_use() -> None:
    assert len({rule.code for rule in RULES}) == len(RULES)
    assert {rule.grade for rule in RULES} == set(Grade)
