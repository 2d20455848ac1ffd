"""What a user asks of one tune: its key, chords and singers; and the tune made ready.

Faces parse what was typed or clicked into a `Request`; everything after that is the
same for all of them. What was typed is stronger than what a choice of player or of
singers would set, and a promise that is broken by it is told.
"""

import re
from enum import Enum
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from harmonise.errors import NotationError, Remark
from harmonise.notation.tune_text.typed_chords import parse_chords
from harmonise.rules.players import with_player
from harmonise.theory.arrangement import PLAIN, Arrangement, Player, Style
from harmonise.theory.key import Key, KeyOrder, named_keys
from harmonise.theory.transposing import key_moved, transposed
from harmonise.theory.tune import KeyChange, Tune, assert_on_keyboard

if TYPE_CHECKING:
    from harmonise.form.plan import SongForm
    from harmonise.theory.singing import KeyFit, Voices

_SEMITONES = r"([+-])\s*(\d{1,9})$"
_FARTHEST = 24


class TuneOrder(Enum):
    """The order of the tunes in a booklet."""

    FOLDER = "folder"
    TITLE = "title"
    KEY = "key"


class Request(NamedTuple):
    """What a user asks for.

    Attributes:
        style: How the tune is arranged.
        key: The key that the tune is really in, against what its page says; None for
            what the page says. No note moves.
        chords: Chords that are locked, bar by bar, as typed.
        keep_chords: Whether the chord symbols of the page are locked.
        transpose: Where the tune moves, as typed: a key, or semitones such as "+2".
        keys: Keys that the tune moves to one after the other, as typed; may be "all".
        order: Order of "all" keys.
        flat: Whether the key of six flats is taken for that of six sharps.
        voices: Singers that the key must suit, unless another key was typed; None for
            none.
        player: Whom the page is for; None for nobody in particular.
        form: Introduction, verses and ending; None for the tune as it is.
        keeps_level: Whether the level was typed, and so is stronger than the player's.
    """

    style: Style = PLAIN
    key: Key | None = None
    chords: str = ""
    keep_chords: bool = False
    transpose: str = ""
    keys: str = ""
    order: KeyOrder = KeyOrder.FIFTHS
    flat: bool = False
    voices: "Voices | None" = None
    player: Player | None = None
    form: "SongForm | None" = None
    keeps_level: bool = False


def made_ready(request: Request, tune: Tune) -> Tune:
    """Return a tune in the key it is in, with every locked chord, not moved yet.

    Raises:
        NotationError: If the chords cannot be read.
    """
    if request.key:
        keys = (KeyChange(tune.keys[0].onset, request.key),)
        tune = tune._replace(keys=keys, key_guessed=False)
    locks = tune.symbols if request.keep_chords else ()
    if request.chords:
        locks = (*locks, *parse_chords(request.chords, tune))
    return tune._replace(locks=(*tune.locks, *locks)) if locks else tune


def ranking(request: Request, tune: Tune) -> "tuple[KeyFit, ...]":
    """Return the keys that suit the singers, the best first; () if none are named."""
    if request.voices is None or not tune.sounding:
        return ()
    from harmonise.theory.singing import rank_keys  # noqa: PLC0415 (few ask for it)

    return rank_keys(tune, request.voices, flat=request.flat)


def moved(request: Request, tune: Tune) -> tuple[Tune, ...]:
    """Return a tune where it was asked for: in one key, or in several.

    Args:
        request: What the user asks for.
        tune: The tune, made ready.

    Raises:
        NotationError: If a key is none, or is of another mode than the tune.
    """
    stays = not (request.keys or request.transpose or request.voices)
    if stays or not tune.sounding:
        return (tune,)
    if request.keys:
        keys = named_keys(
            [request.keys], request.order, mode=tune.key.mode, flat=request.flat
        )
        if not keys:
            what = f'"{request.keys}" names no key.'
            raise NotationError(what, None, 'Name keys such as "C, Bb", or all.')
        # A key that is named twice is one page: two would have one name.
        return tuple(_to_key(tune, key) for key in dict.fromkeys(keys))
    if request.transpose:
        return (_moved_to(request, tune),)
    best = ranking(request, tune)[0]
    # Deep voices sing lower than the piano plays.
    near = best.semitones if abs(best.semitones) < 12 else None
    return (transposed(tune, best.key, near),)


def _moved_to(request: Request, tune: Tune) -> Tune:
    typed = request.transpose.strip()
    shift = re.match(_SEMITONES, typed)
    if not shift:
        keys = named_keys([typed], mode=tune.key.mode)
        if len(keys) != 1:
            raise NotationError(f'"{typed}" is not one key.', None, "Name one.")
        return _to_key(tune, keys[0])
    semitones = int(shift[1] + shift[2])
    if abs(semitones) > _FARTHEST:
        raise NotationError(
            f"{abs(semitones)} semitones are too far.",
            None,
            "Move the tune by two octaves, 24 semitones, at most.",
        )
    key = key_moved(tune.key, semitones, flat=request.flat)
    there = transposed(tune, key, semitones)
    assert_on_keyboard(there)
    return there


def _to_key(tune: Tune, key: Key) -> Tune:
    if key.mode is not tune.key.mode:
        raise NotationError(
            f"The tune is in {tune.key}, and transposing keeps its mode; {key} is of "
            "another.",
            None,
            f"Write {key.tonic} alone, or say with --key what key the tune is in.",
        )
    return transposed(tune, key)


def arranged(
    request: Request, tune: Tune, *, explained: bool
) -> tuple[Arrangement, ...]:
    """Return a tune arranged as asked, once for each key.

    Raises:
        HarmoniseError: If what was asked cannot be read, or no chord fits.
    """
    ready = made_ready(request, tune)
    return tuple(
        arranged_there(request, ready, there, explained=explained)
        for there in moved(request, ready)
    )


def arranged_there(
    request: Request, ready: Tune, there: Tune, *, explained: bool
) -> Arrangement:
    """Return a tune arranged as asked, in one key.

    Args:
        request: What the user asks for.
        ready: The tune, made ready.
        there: The same, moved to the key.
        explained: Whether each slot gets its reason and the other good chords.

    Raises:
        HarmoniseError: If no chord fits, or the form cannot be had.
    """
    from harmonise.arranging.job import arrange  # noqa: PLC0415 (numpy is slow to load)

    arrangement = arrange(there, style_for(request, there), explained=explained)
    remarks = (*_not_best(request, ready, there), *arrangement.remarks)
    arrangement = arrangement._replace(remarks=remarks)
    if request.form is None:
        return arrangement
    from harmonise.form.forming import with_form  # noqa: PLC0415 (few ask for it)

    return with_form(arrangement, request.form, partial(arrange, explained=explained))


def style_for(request: Request, tune: Tune) -> Style:
    """Return the style of a tune, made for the player if there is one."""
    if request.player is None:
        return request.style
    style = with_player(request.style, request.player, tune)
    return style._replace(level=request.style.level) if request.keeps_level else style


def _not_best(request: Request, ready: Tune, there: Tune) -> tuple[Remark, ...]:
    """Return what is to be said of a typed key that is not the singers' best one."""
    if request.voices is None or not (request.transpose or request.keys):
        return ()
    from harmonise.theory.singing import fit_there  # noqa: PLC0415 (few ask for it)

    best = ranking(request, ready)[0]
    if best.key == there.key:
        return ()
    fit = fit_there(ready, there, request.voices)
    better = f"For {request.voices.singers} the best is {best.key}."
    return (
        Remark("VOICES", f"In the key that you asked for: {fit.reason}", None, better),
    )
