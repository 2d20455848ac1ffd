"""The printed lead sheet: the tune on one staff, words below, chord symbols above."""

from harmonise.notation.paper.blocks import (
    A4_PAGE,
    Block,
    Look,
    Music,
    Page,
    System,
    Title,
    music_look,
)
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.paper.score_sheet import told_systems
from harmonise.notation.paper.typesetting import (
    PPI,
    tall_svg,
    typeset,
    typeset_pictures,
)
from harmonise.notation.score.score_plan import plan_lead_sheet
from harmonise.theory.arrangement import Arrangement

_STAFF = 8
"""Height of the staff in millimetres: it is read from a stand, at arm's length."""
_TEXT = 1.15
"""Size of symbols and words, as a multiple of what suits the staff."""
_BOLD_SYMBOLS = "<style>.page-margin .harm{font-weight:bold}"


def lead_sheet_blocks(
    arrangement: Arrangement, page: Page = A4_PAGE
) -> tuple[Block, ...]:
    """Return the lead sheet of an arrangement as blocks.

    Args:
        arrangement: What was arranged.
        page: The page that the blocks will be set on.
    """
    tune = arrangement.tune
    systems = engrave_plan(plan_lead_sheet(arrangement), _look(page))
    told = told_systems(arrangement, systems)
    music = (Music(_with_bold_symbols(system), words) for system, words in told)
    return (Title(tune.title or "Tune", tune.origin), *music)


def _with_bold_symbols(system: System) -> System:
    return system._replace(svg=system.svg.replace("<style>", _BOLD_SYMBOLS, 1))


def _look(page: Page) -> Look:
    look = music_look(page, staff=_STAFF)
    return look if page.large_print else look._replace(text=_TEXT)


def format_lead_sheet_pdf(arrangement: Arrangement, page: Page = A4_PAGE) -> bytes:
    """Return the lead sheet of an arrangement as a PDF."""
    return typeset(lead_sheet_blocks(arrangement, page), page)


def format_lead_sheet_pngs(
    arrangement: Arrangement, page: Page = A4_PAGE
) -> tuple[bytes, ...]:
    """Return the lead sheet of an arrangement as one PNG a page."""
    return typeset_pictures(lead_sheet_blocks(arrangement, page), page, PPI)


def format_lead_sheet_svg(arrangement: Arrangement, page: Page = A4_PAGE) -> bytes:
    """Return the lead sheet of an arrangement as one SVG, as tall as it needs to be."""
    return tall_svg(lead_sheet_blocks(arrangement, page), page).encode()
