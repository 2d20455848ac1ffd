"""`python -m harmonise.page`: the local page without the command line around it."""

import argparse
import sys

from harmonise.errors import HarmoniseError
from harmonise.page.serving import serve


def main() -> None:
    """Serve the page until Ctrl-C."""
    parser = argparse.ArgumentParser(prog="python -m harmonise.page")
    parser.add_argument("--port", type=int, default=0, help="Default: a free one.")
    parser.add_argument(
        "--no-browser", action="store_true", help="Prints the address, no more."
    )
    given = parser.parse_args()
    try:
        serve(given.port, browser=not given.no_browser)
    except HarmoniseError as error:
        sys.exit(f"harmonise page: {error}")


if __name__ == "__main__":
    main()
