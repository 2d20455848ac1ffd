"""Which options reach which page: the one table, so that none does nothing in silence.

A row names the sheets and the endings that an option changes, and what else it needs: a
tune with chord symbols, a second verse, another option. Whoever asked for more is told,
once for each option. Faces know what was asked, and how they call it.
"""

import re
from collections.abc import Callable, Mapping
from typing import NamedTuple

from harmonise.arranging.request import Request
from harmonise.errors import Remark
from harmonise.form.plan import verse_count
from harmonise.notation.files import PRINTED, SOUND
from harmonise.notation.outputs import Sheet
from harmonise.notation.recording.click import RECORDED
from harmonise.theory.key import Key
from harmonise.theory.tune import Tune


class Making(NamedTuple):
    """What is made of one tune, or of every tune of a book.

    Attributes:
        sheet: The kind of page; None where chords are told and nothing is written.
        ending: Ending of its file; "" for none.
        request: What is asked of the tune.
        tune: The tune as it was read; None for a book.
        keys: Keys of its pages.
        booklet: Whether all tunes of a book go into one file.
        cluster: Whether other machines do the work.
    """

    sheet: Sheet | None
    ending: str
    request: Request
    tune: Tune | None = None
    keys: tuple[Key, ...] = ()
    booklet: bool = False
    cluster: bool = False


_Needs = Callable[[Making], str]
"""Returns why an option has no effect on what is made; "" if it has. Other options
stand in it by their names in braces."""

_ALL = frozenset(Sheet)
_FORMED = frozenset(sheet for sheet in Sheet if not sheet.row.tune_alone)
_CHORDS = _FORMED | {Sheet.ABC}
_HANDS = frozenset({Sheet.SCORE, Sheet.VOCAL, Sheet.SPOKEN, Sheet.WALK})
_SCORE = frozenset({Sheet.SCORE, Sheet.VOCAL})
_ENDINGS = frozenset(ending for sheet in Sheet for ending in sheet.row.endings)
_SEEN = _ENDINGS - set(SOUND)
_PAPER = frozenset(PRINTED)
_PRINTED = f"({', '.join(PRINTED[:-1])} or {PRINTED[-1]})"


class OptionRow(NamedTuple):
    """What an option changes.

    Attributes:
        meant_for: What it is for, in words; sheets by their names in braces.
        sheets: The sheets that it changes.
        endings: Endings of the files that it changes.
        told: Whether it changes what is told of chords where nothing is written.
        needs: What else it needs; None for nothing.
    """

    meant_for: str
    sheets: frozenset[Sheet] = _ALL
    endings: frozenset[str] = _ENDINGS
    told: bool = True
    needs: _Needs | None = None


def _one_verse(made: Making) -> str:
    form = made.request.form
    once = made.tune and form and verse_count(form, made.tune) < 2
    return ": one verse is sung" if once else ""


def _no_symbols(made: Making) -> str:
    none = made.tune and not made.tune.symbols
    return ": the tune has no chord symbols" if none else ""


def _not_all_keys(made: Making) -> str:
    return "" if "all" in made.request.keys.lower() else " without {keys} all"


def _no_singers(made: Making) -> str:
    return "" if made.request.voices else " without {singers}"


def _no_recording(made: Making) -> str:
    if made.tune is None:
        return " on books, which hold no recordings"
    heard = any(remark.code in RECORDED for remark in made.tune.remarks)
    return "" if heard else ": the tune is no recording"


def _no_six_flats(made: Making) -> str:
    # The keys that suit singers are told by their names, G flat among them.
    if not made.tune or made.request.voices or any(k.fifths == -6 for k in made.keys):
        return ""
    return ": no page is in a key of six flats"


def _one_tune(made: Making) -> str:
    return " on one tune; it is for books" if made.tune else ""


def _no_pages(made: Making) -> str:
    return " on a booklet" if made.booklet else _one_tune(made)


def _no_cores(made: Making) -> str:
    return " beside {cluster}" if made.cluster else _one_tune(made)


def _no_booklet(made: Making) -> str:
    there = "one tune" if made.tune else "pages of their own"
    return "" if made.booklet else f" on {there}; it is for booklets"


def _beside(name: str, is_asked: Callable[[Request], object]) -> _Needs:
    """Return the need that another option, which is stronger, was not asked for."""
    return lambda made: f" beside {{{name}}}" if is_asked(made.request) else ""


def _asks_major_amen(request: Request) -> bool:
    return bool(request.form and request.form.major_amen)


_SONG = "pages of a whole song"
_WITH_CHORDS = "pages with chords"
_STAVES = "a score on staves"
_PRINT = OptionRow(_STAVES, _SCORE, _SEEN, told=False)
_ON_PAPER = OptionRow(f"printed pages {_PRINTED}", endings=_PAPER, told=False)
_CHOICE = OptionRow(_WITH_CHORDS, _CHORDS)
_FORM = OptionRow(_SONG, _FORMED)
_VERSES = OptionRow(_SONG, _FORMED - {Sheet.WALK})
_LEFT_HAND = OptionRow("{score}", _HANDS, told=False)

OPTIONS: Mapping[str, OptionRow] = {
    "introduction": _FORM,
    "verses": _VERSES,
    "gap": _VERSES._replace(needs=_one_verse),
    "last_verse": _FORM,
    "slow_ending": _FORM,
    "amen": _FORM._replace(needs=_beside("major_amen", _asks_major_amen)),
    "major_amen": _FORM,
    "tempo": OptionRow("", needs=_no_recording),
    "time": OptionRow("", needs=_no_recording),
    "pickup": OptionRow("", needs=_no_recording),
    "capo": OptionRow("{guitar}", frozenset({Sheet.GUITAR})),
    "numerals": _PRINT,
    "labels": _PRINT,
    "fingering": OptionRow(
        f"{_STAVES} or in words",
        frozenset({Sheet.SCORE, Sheet.VOCAL, Sheet.SPOKEN}),
        _SEEN,
        told=False,
    ),
    "keyboards": OptionRow(f"a printed score {_PRINTED}", _SCORE, _PAPER, told=False),
    "paper": _ON_PAPER,
    "landscape": _ON_PAPER,
    "large_print": _ON_PAPER,
    "level": _CHOICE,
    "harmonic_rhythm": _CHOICE,
    "texture": _CHOICE,
    "player": _CHOICE,
    "left_hand": _LEFT_HAND,
    "sections": _LEFT_HAND,
    "keep_chords": OptionRow(
        "a page with chords", _ALL - {Sheet.CONGREGATION}, needs=_no_symbols
    ),
    "transpose": OptionRow("", needs=_beside("keys", lambda request: request.keys)),
    "order": OptionRow("", needs=_not_all_keys),
    "singers_table": OptionRow("", needs=_no_singers),
    "gb": OptionRow("", needs=_no_six_flats),
    "file_ending": OptionRow("", needs=_no_pages),
    "tunes_by": OptionRow("", needs=_no_booklet),
    "title": OptionRow("", needs=_no_booklet),
    "workers": OptionRow("", needs=_no_cores),
    "cluster": OptionRow("", needs=_one_tune),
    "again": OptionRow("", needs=_one_tune),
}
"""Options by their names; one that is not here always has an effect."""

_MADE = {
    Sheet.SCORE: "a score",
    Sheet.VOCAL: "a vocal score",
    Sheet.LEAD: "a lead sheet",
    Sheet.CONGREGATION: "a congregation's page",
    Sheet.CHART: "a chart",
    Sheet.GUITAR: "a guitarist's sheet",
    Sheet.SPOKEN: "a score in words",
    Sheet.WALK: "a walk from chord to chord",
    Sheet.LETTERS: "a tune in letters",
    Sheet.NUMBERS: "a tune in numbers",
    Sheet.SOLFA: "a tune in sol-fa",
    Sheet.ABC: "a tune in ABC",
}


def without_effect(
    asked: Mapping[str, str], made: Making, called: Callable[[str], str]
) -> tuple[Remark, ...]:
    """Return what is to be told of options that change nothing on what is made.

    Args:
        asked: What was asked for, by the name of its option, in the words of the face:
            "--capo 2".
        made: What is made.
        called: Returns what the face calls an option, or a sheet, of a name.
    """
    reasons = {name: _reason(row, made) for name, row in OPTIONS.items()}
    return idle_remarks(asked, reasons, called)


def idle_remarks(
    asked: Mapping[str, str], reasons: Mapping[str, str], called: Callable[[str], str]
) -> tuple[Remark, ...]:
    """Return what is to be told of options that have reasons to change nothing.

    Args:
        asked: What was asked for, by the name of its option, in the words of the face.
        reasons: Words after "has no effect", by the names of options; "" or none where
            an option has one. Other options and sheets stand in braces.
        called: Returns what the face calls an option, or a sheet, of a name.
    """
    return tuple(
        Remark(
            "OPTION",
            f"{words} has no effect"
            + re.sub(r"\{([\w-]+)\}", lambda found: called(found[1]), reasons[name])
            + ".",
        )
        for name, words in asked.items()
        if reasons.get(name)
    )


def reaches(name: str, sheet: Sheet | None, ending: str) -> bool:
    """Whether an option may change a kind of page.

    >>> reaches("capo", Sheet.GUITAR, ".pdf"), reaches("capo", Sheet.SCORE, ".pdf")
    (True, False)
    """
    return not _elsewhere(OPTIONS[name], sheet, ending)


def _elsewhere(row: OptionRow, sheet: Sheet | None, ending: str) -> str:
    """Return what an option never changes, in words; "" if it may change it."""
    if sheet is None:
        return "" if row.told else "what is told of chords"
    if sheet not in row.sheets:
        return _MADE.get(sheet, f"the sheet “{sheet.value}”")
    return "" if ending in row.endings else f"a file that ends in {ending}"


def _reason(row: OptionRow, made: Making) -> str:
    """Return why an option has no effect; "" if it has."""
    there = _elsewhere(row, made.sheet, made.ending)
    if there:
        return f" on {there}; it is for {row.meant_for}"
    return row.needs(made) if row.needs else ""
