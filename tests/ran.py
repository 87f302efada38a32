"""What a run of the command line came to."""

import json
from typing import Any

Ran = tuple[int, str, str]
"""Exit status, what it printed, what it complained."""


def answer(ran: Ran) -> Any:
    """The JSON document of a command that answered."""
    status, out, err = ran
    assert (status, err) == (0, ""), err
    return json.loads(out)
