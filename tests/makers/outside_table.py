"""The table of recall and precision by layout and kind, for slips planted outside.

Run as a program this writes `cases/layouts.tsv`: how many slips of each kind stand in
each layout, how many of them were told by name in their bar, and how many works were
told nothing else. What a layout cannot show has a dash.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

from harmonise.lessons.task_files import format_task_file
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder
from harmonise.marking.mark import mark
from harmonise.marking.marked import Marking, MarkingManner
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import MarkingStyle, Task, read_points
from harmonise.marking.tasks import task_of_tune, tasks_of_sheet
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import Style
from makers.outside_joins import TUNES, joining_slips
from makers.outside_layouts import LAYOUTS
from makers.outside_names import misnamed_slips
from makers.outside_slips import Slip, slips
from makers.outside_works import PAGES, Work

TABLE = Path(__file__).parents[1] / "cases" / "layouts.tsv"
HEAD = ("layout", "kind", "planted", "recall %", "precision %")


@cache
def task_of(name: str) -> Task:
    """Return the task of a page: to harmonise its tune."""
    return task_of_tune(parse_tune_text(TUNES[name].tune)[0], Style(1))


@cache
def names_of(name: str) -> tuple[Task, bytes]:
    """Return the task of naming chords and shapes of a page, and the sheet to fill."""
    tune = parse_tune_text(TUNES[name].tune)[0]
    sheet = make_sheets(tune, SheetOrder(SheetKind.LABELS))[0]
    return tasks_of_sheet(sheet)[0], format_task_file(sheet)


def marked(name: str, work: Work, layout: str, *, strict: bool = False) -> Marking:
    """Return a work that went through a layout, marked."""
    return marked_data(name, work, LAYOUTS[layout].write(work), strict=strict)


def marked_data(name: str, work: Work, data: bytes, *, strict: bool = False) -> Marking:
    """Return a work in a file, marked by what its page asks for."""
    task = names_of(name)[0] if work.words else task_of(name)
    style = MarkingStyle.STRICT if strict else MarkingStyle.KEYBOARD
    manner = MarkingManner(read_points(), style)
    return mark(parse_script(data, task.model.tune), task, manner)


def told(done: Marking) -> set[tuple[str, int]]:
    """Return what a slip of paper says: code and bar of faults and blanks."""
    faults = {(line.kind.code, line.place.bar) for line in done.lines if line.number}
    return faults | {("blank", blank.place.bar) for blank in done.blanks}


class Case(NamedTuple):
    """A slip in a layout."""

    slip: Slip
    layout: str

    def __str__(self) -> str:
        """Return what is tried, to be read in a failing test."""
        return f"{self.slip}, {self.layout}"

    @property
    def told(self) -> set[tuple[str, int]]:
        """What the marker says of it."""
        page, work, strict = self.slip.page, self.slip.work, self.slip.strict
        return told(marked(page, work, self.layout, strict=strict))


def every_slip() -> Iterator[Slip]:
    """Yield every slip: in chords, between them, in the names of shapes."""
    yield from slips()
    yield from joining_slips()
    for name, page in PAGES.items():
        yield from misnamed_slips(name, page, names_of(name)[1])


def cases() -> Iterator[Case]:
    """Yield every slip in every layout that can show it."""
    for slip in every_slip():
        for name, layout in LAYOUTS.items():
            if slip.kind not in layout.cannot:
                yield Case(slip, name)


def rows(tried: Iterable[Case]) -> Iterator[tuple[str, ...]]:
    """Yield the rows of the table for some cases."""
    planted, found, alone = (Counter[tuple[str, str]]() for _ in range(3))
    for case in tried:
        key, wanted, said = (case.layout, case.slip.kind), case.slip.told, case.told
        planted[key] += 1
        found[key] += wanted <= said
        alone[key] += said == wanted
    kinds = dict.fromkeys(kind for _, kind in planted)
    for layout in LAYOUTS:
        for kind in kinds:
            many = planted[layout, kind]
            shares = [f"{100 * part[layout, kind] / many:.0f}" if many else "-"
                      for part in (found, alone)]  # fmt: skip
            yield layout, kind, str(many or "-"), *shares


def main() -> None:
    """Write the table."""
    lines = ["\t".join(row) for row in (HEAD, *rows(cases()))]
    TABLE.write_text("\n".join(lines) + "\n", "utf-8")


if __name__ == "__main__":
    main()
