from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tunes

from harmonise.errors import MelodyError
from harmonise.lessons.sheet_pages import copies_of
from harmonise.lessons.versions import counts_of, make_sheets
from harmonise.lessons.worksheet import MAKERS, SheetKind, SheetOrder, Worksheet
from harmonise.notation.paper.blocks import Music, Page
from harmonise.theory.arrangement import Style
from harmonise.theory.tune import Tune


def sheets(tune: Tune, kind: SheetKind, level: int) -> tuple[Worksheet, ...]:
    """Return two versions of a sheet; () for a tune that does not do."""
    try:
        return make_sheets(tune, SheetOrder(kind, Style(level), faults=1), 2)
    except MelodyError as error:
        refused = error
    assert refused.remedy.endswith(".")
    return ()


@settings(
    max_examples=examples(40),
    deadline=None,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
@given(tunes(), st.sampled_from(SheetKind), st.integers(1, 4))
def test_any_tune_gives_a_sheet_with_a_key_or_is_refused_with_a_remedy(
    tune: Tune, kind: SheetKind, level: int
) -> None:
    for sheet in sheets(tune, kind, level):
        both = copies_of(sheet, Page())
        lines = [
            [block.system.bars for block in blocks if isinstance(block, Music)]
            for blocks in both
        ]
        assert lines[0] == lines[1]
        assert sheet.marks > 0
        assert all(item.answers for item in sheet.items)


@settings(
    max_examples=examples(40),
    deadline=None,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
@given(tunes(), st.sampled_from(SheetKind))
def test_versions_of_any_tune_are_of_equal_difficulty(
    tune: Tune, kind: SheetKind
) -> None:
    found = sheets(tune, kind, 1)
    assume(found)
    one, two = found
    assert counts_of(one).near(counts_of(two))
    assert (one.version, two.version) == ("A", "B")


def test_every_kind_has_a_maker_or_goes_into_other_keys() -> None:
    # A phrase in other keys has no chords to be a model of.
    assert set(MAKERS) == set(SheetKind) - {SheetKind.TRANSPOSE}
    rows = [kind.row for kind in SheetKind]
    assert len({row.title for row in rows}) == len(rows)
    assert all(row.slips and row.marking for row in rows)
