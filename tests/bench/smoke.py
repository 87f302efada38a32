"""The one option all measurements share: a short run that shows the command works."""

import argparse
from collections.abc import Sequence
from typing import Any


def parsed(
    parser: argparse.ArgumentParser, arguments: Sequence[str] | None = None, **smoke: Any
) -> argparse.Namespace:
    """The arguments given, with `--smoke` replacing those named by small ones."""
    parser.add_argument("--smoke", action="store_true", help="run in seconds; the figures then mean nothing")
    given = parser.parse_args(arguments)
    if given.smoke:
        vars(given).update(smoke)
    return given
