"""What a user asks of one tune: its key, chords and singers; and the tune made ready.

Faces parse what was typed or clicked into an `Asked`; everything after that is the
same for all of them.
"""

import re
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from harmonise.errors import NotationError
from harmonise.theory.arrangement import PLAIN, Arrangement, Player, Style
from harmonise.theory.key import Key
from harmonise.theory.tune import KeyChange, Tune

if TYPE_CHECKING:
    from harmonise.form.plan import SongForm
    from harmonise.theory.singing import KeyFit, Voices

_SEMITONES = r"([+-])\s*(\d+)$"
_FARTHEST = 24


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
        order: Order of "all" keys, the name of a `KeyOrder`.
        flat: Whether the key of six flats is taken for that of six sharps.
        voices: Singers that the key must suit; None for none.
        player: Whom the page is for; None for nobody in particular.
        form: Introduction, verses and ending; None for the tune as it is.
    """

    style: Style = PLAIN
    key: Key | None = None
    chords: str = ""
    keep_chords: bool = False
    transpose: str = ""
    keys: str = ""
    order: str = "fifths"
    flat: bool = False
    voices: "Voices | None" = None
    player: Player | None = None
    form: "SongForm | None" = None


def made_ready(asked: Request, tune: Tune) -> Tune:
    """Return a tune in the key it is in, with every locked chord, not moved yet.

    Raises:
        NotationError: If the chords cannot be read.
    """
    if asked.key:
        keys = (KeyChange(tune.keys[0].onset, asked.key),)
        tune = tune._replace(keys=keys, key_guessed=False)
    locks = tune.symbols if asked.keep_chords else ()
    if asked.chords:
        from harmonise.notation.tune_text.typed_chords import (  # noqa: PLC0415
            parse_chords,
        )

        locks = (*locks, *parse_chords(asked.chords, tune))
    return tune._replace(locks=(*tune.locks, *locks)) if locks else tune


def ranking(asked: Request, tune: Tune) -> "tuple[KeyFit, ...]":
    """Return the keys that suit the singers, the best first; () if none are named."""
    if asked.voices is None or not tune.sounding:
        return ()
    from harmonise.theory.singing import rank_keys  # noqa: PLC0415 (few ask for it)

    return rank_keys(tune, asked.voices, flat=asked.flat)


def moved(asked: Request, tune: Tune) -> tuple[Tune, ...]:
    """Return a tune where it was asked for: in one key, or in several.

    Args:
        asked: What the user asks for.
        tune: The tune, made ready.

    Raises:
        NotationError: If a key is none, or is of another mode than the tune.
    """
    stays = not (asked.keys or asked.transpose or asked.voices)
    if stays or not tune.sounding:
        return (tune,)
    # Most tunes stay where they are, and their pages come sooner without these.
    from harmonise.theory.key import KeyOrder, named_keys  # noqa: PLC0415
    from harmonise.theory.transposing import transposed  # noqa: PLC0415

    if asked.keys:
        order, mode = KeyOrder(asked.order), tune.key.mode
        keys = named_keys([asked.keys], order, mode=mode, flat=asked.flat)
        return tuple(_to_key(tune, key) for key in keys)
    if asked.transpose:
        return (_moved_to(asked, tune),)
    best = ranking(asked, tune)[0]
    # Deep voices sing lower than the piano plays.
    near = best.semitones if abs(best.semitones) < 12 else None
    return (transposed(tune, best.key, near),)


def _moved_to(asked: Request, tune: Tune) -> Tune:
    from harmonise.theory.key import named_keys  # noqa: PLC0415
    from harmonise.theory.transposing import key_moved, transposed  # noqa: PLC0415

    typed = asked.transpose.strip()
    found = re.match(_SEMITONES, typed)
    if not found:
        keys = named_keys([typed], mode=tune.key.mode)
        if len(keys) != 1:
            raise NotationError(f'"{typed}" is not one key.', None, "Name one.")
        return _to_key(tune, keys[0])
    semitones = int(found[1] + found[2])
    if abs(semitones) > _FARTHEST:
        raise NotationError(
            f"{abs(semitones)} semitones are too far.",
            None,
            "Move the tune by two octaves, 24 semitones, at most.",
        )
    return transposed(tune, key_moved(tune.key, semitones, flat=asked.flat), semitones)


def _to_key(tune: Tune, key: Key) -> Tune:
    from harmonise.theory.transposing import transposed  # noqa: PLC0415

    if key.mode is not tune.key.mode:
        raise NotationError(
            f"The tune is in {tune.key}, and transposing keeps its mode; {key} is of "
            "another.",
            None,
            f"Write {key.tonic} alone, or say with --key what key the tune is in.",
        )
    return transposed(tune, key)


def arranged(asked: Request, tune: Tune, *, explained: bool) -> tuple[Arrangement, ...]:
    """Return a tune arranged as asked, once for each key.

    Raises:
        HarmoniseError: If what was asked cannot be read, or no chord fits.
    """
    from harmonise.arranging.job import arrange  # noqa: PLC0415 (numpy is slow to load)

    ready = made_ready(asked, tune)
    done = tuple(
        arrange(own, style_for(asked, own), explained=explained)
        for own in moved(asked, ready)
    )
    if asked.form is None:
        return done
    from harmonise.form.forming import with_form  # noqa: PLC0415 (few ask for it)

    plainly = partial(arrange, explained=False)
    return tuple(with_form(own, asked.form, plainly) for own in done)


def style_for(asked: Request, tune: Tune) -> Style:
    """Return the style of a tune, made for the player if there is one."""
    if asked.player is None:
        return asked.style
    from harmonise.rules.players import with_player  # noqa: PLC0415 (few ask for it)

    return with_player(asked.style, asked.player, tune)
