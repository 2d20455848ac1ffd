"""Worksheets and drills as MusicXML to fill in with any notation editor.

A task file has the tune, the boxes and empty staves, and nothing of the answers: what
is to be written is not hidden but absent. Its identity tells a marker what was asked.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate, groupby

from harmonise.errors import OutputError
from harmonise.form import splicing
from harmonise.form.splicing import Slice, with_bars
from harmonise.lessons.aural import AuralItem
from harmonise.lessons.identity import file_identity, identity_of_sheet
from harmonise.lessons.sheet_parts import Box, SheetPiece
from harmonise.lessons.worksheet import Depth, Worksheet
from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.score.copies import ScoreCopy, copy_plan
from harmonise.notation.score.score_plan import ScoreBox, plan_score
from harmonise.notation.signed import sign_text, sign_xml
from harmonise.theory.arrangement import Arrangement, Voice

TO_FILL = "?"
"""What stands in a box that is to be filled in; a marker takes it for blank."""


def format_task_file(sheet: Worksheet, *, answers: bool = False) -> bytes:
    """Return a worksheet as MusicXML to fill in, or filled in.

    Raises:
        OutputError: If there is no music on it.
    """
    if not sheet.pieces:
        raise OutputError(
            f"A sheet to {sheet.order.kind.row.title.lower()} has no music to fill in.",
            None,
            "Call it .pdf or .txt." if sheet.asked else "Call it .pdf.",
        )
    music = (each.arrangement if answers else blank_of(each) for each in sheet.pieces)
    pieces = list(map(_headed, sheet.pieces, music))
    score = splicing.joined([Slice(piece, numbered=True) for piece in pieces])
    score = score._replace(tune=score.tune._replace(title=sheet.tune.title))
    first = sheet.pieces[0]
    copy = ScoreCopy(
        frames=tuple(_boxes(sheet.pieces, answers=answers)),
        symbols=first.shows_symbols(answers=answers),
        tune_only=first.tune_only,
    )
    identity = file_identity(identity_of_sheet(sheet), sheet.home or sheet.tune)
    return sign_xml(format_plan(copy_plan(plan_score(score), copy), identity))


def format_form(sheet: Worksheet, *, answers: bool = False) -> bytes:
    """Return questions by ear as a text to fill in, or filled in.

    Raises:
        OutputError: If the sheet has none.
    """
    if not sheet.asked:
        raise OutputError(
            f"A sheet to {sheet.order.kind.row.title.lower()} is not typed as text.",
            None,
            "Call it .pdf or .musicxml.",
        )
    identity = identity_of_sheet(sheet)
    tune = None if sheet.drill else sheet.home or sheet.tune
    lines = [
        f"# {sheet.tune.title or 'Worksheet'}: {sheet.footer}",
        f"# {file_identity(identity, tune).field[1]}",
        f"# {sheet.instruction}",
        f"# Write your answers in place of each {TO_FILL}.",
        "Name: ",
    ]
    numbered = enumerate(zip(sheet.asked, sheet.items, strict=True), 1)
    for kind, rows in groupby(numbered, lambda row: row[1][0].kind):
        lines += ["", f"# {kind.row.title}. {kind.row.how}"]
        for number, (item, entry) in rows:
            solved = answers or not entry.marks
            answer = item.answer if solved else _to_answer(item)
            told = _told(item, sheet.order.depth)
            lines.append(f"{number}: {answer}{f'  # {told}' if told else ''}")
    return sign_text("\n".join(lines), "# ").encode()


def _to_answer(item: AuralItem) -> str:
    """Return what stands in place of an answer: "?", of a bass line its first note."""
    if item.choices:
        return TO_FILL
    first, *others = item.answer.split()
    return " ".join([first, *[TO_FILL] * len(others)])


def _told(item: AuralItem, depth: Depth) -> str:
    """Return what is told beside a question: its chords, and the words to choose."""
    choices = () if depth is Depth.STRETCH else item.choices
    given = item.given if item.choices else ""
    return ": ".join(filter(None, [given, ", ".join(choices)]))


def blank_of(piece: SheetPiece) -> Arrangement:
    """Return the music of a piece without what pupils write."""
    whole = piece.arrangement
    kept = [n for at, n in enumerate(whole.notes) if at not in piece.hidden]
    hidden = [whole.notes[at] for at in piece.hidden]
    gone = {note.onset for note in hidden if note.voice is Voice.TUNE}
    notes = tuple(
        note._replace(pitch=None) if note.onset in gone else note
        for note in whole.tune.notes
    )
    return whole._replace(tune=whole.tune._replace(notes=notes), notes=tuple(kept))


def _headed(piece: SheetPiece, music: Arrangement) -> Arrangement:
    """Return music with the heading of its piece over the first bar."""
    if not piece.heading:
        return music
    first, *rest = music.tune.bars
    return with_bars(music, (first._replace(section=piece.heading), *rest))


def _boxes(pieces: Sequence[SheetPiece], *, answers: bool) -> list[ScoreBox]:
    """Return the boxes of all pieces, at the places of the joined score."""
    lengths = (piece.arrangement.tune.end for piece in pieces)
    starts = accumulate(lengths, initial=Fraction(0))
    return [
        _box(box, start, answers=answers)
        for piece, start in zip(pieces, starts, strict=False)
        for box in piece.boxes
        if answers or not box.key_only
    ]


def _box(box: Box, start: Fraction, *, answers: bool) -> ScoreBox:
    text = box.text if box.given or answers else TO_FILL
    return ScoreBox(start + box.onset, text, 0, box.above, box.ruled)
