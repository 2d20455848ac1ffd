"""`python -m harmonise` and the command `harmonise`."""

import atexit
import gc

RARELY = 200_000
"""New objects between two searches for garbage cycles; Python's own figure is 2,000.

One call makes many lasting objects in a short life, so searching often is lost time: a
quarter of a cold call on a short tune.
"""


def main() -> None:
    """Run the command line."""
    gc.set_threshold(RARELY)
    # The memory goes back with the process. Searching everything that was loaded for
    # cycles once more before that takes an eighth of a cold call on a short tune.
    atexit.register(gc.freeze)
    from harmonise.cli import main as command  # noqa: PLC0415 (loaded after the above)

    command()


if __name__ == "__main__":
    main()
