"""A whole class: a folder of scripts in, a slip for each and one table out.

A script that cannot be read stops none of the others and is named at the end.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from harmonise.book import Outcome, Piece
from harmonise.errors import OutputError
from harmonise.marking import mark_file
from harmonise.marks.classes import Row, format_class_pdf, format_csv, row_of
from harmonise.marks.page import format_pdf
from harmonise.marks.slip import format_slip
from harmonise.marks.task import Task
from harmonise.marks.weighing import Manner
from harmonise.notation.reading.scripts.door import ENDINGS
from harmonise.notation.sheets.blocks import A4_PAGE, Page
from harmonise.notation.writing.files import check_target, write_whole

TABLE = "class"
"""Name, without ending, of the table of the class."""


class Order(NamedTuple):
    """How the scripts of a class are marked.

    Attributes:
        task: What was asked.
        manner: Points and style.
        folder: Where the slips go.
        page: The paper of the slips.
        hints: Whether questions stand in place of corrections.
        out_of: Marks that each work is scaled to; 0 for none.
        force: Whether existing files are replaced.
    """

    task: Task
    manner: Manner
    folder: Path
    page: Page = A4_PAGE
    hints: bool = False
    out_of: int = 0
    force: bool = False


class Handed(Outcome):
    """What became of a script, with the pupil's row of the table."""

    row: Row | None = None


def scripts_of(works: Sequence[Path]) -> tuple[Piece, ...]:
    """Return the scripts of a class, in order: named files, and those of folders.

    Two scripts of one name get their endings into the names of their slips.

    Raises:
        OutputError: If there is none.
    """
    found: list[Path] = []
    for work in works:
        found += sorted(_inside(work)) if work.is_dir() else [work]
    if not found:
        raise OutputError(
            f"There is no script in {', '.join(map(str, works))}.",
            None,
            f"Scripts are files that end in {', '.join(ENDINGS)}.",
        )
    stems = [path.stem for path in found]
    names = [
        path.stem if stems.count(path.stem) == 1 else f"{path.stem}-{path.suffix[1:]}"
        for path in found
    ]
    return tuple(
        Piece(path.name, name, path) for path, name in zip(found, names, strict=True)
    )


def _inside(folder: Path) -> Iterator[Path]:
    for path in folder.iterdir():
        fits = path.suffix.lower() in ENDINGS and path.is_file()
        if fits and not path.name.startswith("."):
            yield path


def mark_piece(order: Order, piece: Piece) -> tuple[Outcome, ...]:
    """Mark one script and write its slips.

    Raises:
        HarmoniseError: If it cannot be read, or a slip cannot be written.
    """
    if not isinstance(piece.content, Path):
        raise TypeError(piece.content)
    done = mark_file(piece.content, order.task, order.manner, piece.stem)
    text = format_slip(done, hints=order.hints, out_of=order.out_of)
    paper = format_pdf(done, order.page, hints=order.hints, out_of=order.out_of)
    files = {f"{piece.stem}.txt": text.encode(), f"{piece.stem}.pdf": paper}
    for name, content in files.items():
        write_whole(order.folder / name, content, force=order.force)
    handed = Handed(piece.name, "", tuple(files))
    handed.row = row_of(done)
    return (handed,)


def as_handed(outcome: Outcome) -> Handed:
    """Return an outcome as that of a script; a failure has no row."""
    return outcome if isinstance(outcome, Handed) else Handed(*outcome)


def open_folder(folder: Path, *, force: bool) -> None:
    """Make the folder of the slips.

    Raises:
        OutputError: If it cannot be made, or has a table of a class already.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f'The folder "{folder}" cannot be made: {error.strerror}.',
            None,
            "Name another with -o.",
        ) from error
    for ending in (".csv", ".pdf"):
        check_target(folder / f"{TABLE}{ending}", force=force)


def class_files(
    order: Order, rows: Sequence[Row], failed: Sequence[str]
) -> tuple[str, ...]:
    """Write the table of a class and return the names of its files."""
    files = {
        f"{TABLE}.csv": format_csv(rows).encode(),
        f"{TABLE}.pdf": format_class_pdf(rows, order.task.title, order.page, failed),
    }
    for name, content in files.items():
        write_whole(order.folder / name, content, force=order.force)
    return tuple(files)
