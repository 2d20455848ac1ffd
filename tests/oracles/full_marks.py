"""What every test of model answers asserts."""

from harmonise.marking.marked import Marking


def assert_full(done: Marking) -> None:
    """Assert full marks with nothing told, not even what costs nothing."""
    assert [(own.kind.key, str(own.place), own.what) for own in done.lines] == []
    assert done.blanks == ()
    assert done.got == done.worth > 0
