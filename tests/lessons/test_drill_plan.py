import pytest

from harmonise.lessons.drills import (
    CAUTION,
    HANDS,
    all_keys,
    format_plan,
    how_to_practise,
    plan_rows,
    tempo_steps,
)


@pytest.mark.parametrize(
    ("start", "steps"),
    [
        (60, (60, 66, 72, 78, 84, 90, 92)),
        (80, (80, 86, 92)),
        (92, (92,)),
        (120, (120,)),
    ],
)
def test_tempos_go_up_by_six_to_ninety_two(start: int, steps: tuple[int, ...]) -> None:
    assert tempo_steps(start) == steps


def test_the_plan_has_a_row_a_key_and_a_box_a_tempo() -> None:
    head, *rows = plan_rows([*all_keys(), *all_keys()])
    assert head == (
        "Key, ♩ =", "60", "66", "72", "78", "84", "90", "92",
        "clean at", "date",
    )  # fmt: skip
    assert len(rows) == 12
    assert {len(row) for row in rows} == {len(head)}
    assert rows[6][0] == "F♯ major"


def test_the_plan_on_screen_tells_order_boxes_and_caution() -> None:
    text = format_plan(all_keys()[:2])
    assert all(hand in text for hand in HANDS)
    assert "C major  [ ] 60  [ ] 66" in text
    assert text.endswith(CAUTION)


def test_one_key_has_no_next_key_to_go_on_into() -> None:
    text = format_plan(all_keys()[:1])
    assert "next key" not in text
    assert all(hand in text for hand in HANDS[:-1])


def test_the_caution_speaks_of_rest_pain_and_stretches() -> None:
    assert all(word in CAUTION for word in ("Rest", "stop", "hurts", "stretch"))


def test_a_high_start_is_its_own_target() -> None:
    assert "until ♩ = 120." in how_to_practise(120)
