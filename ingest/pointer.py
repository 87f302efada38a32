"""JSON Pointer (RFC 6901): which value inside a message is meant."""

from collections.abc import Iterable
from typing import Any

MISSING: Any = type("Missing", (), {"__repr__": lambda self: "nothing", "__bool__": lambda self: False})()

_LONGEST_POINTER = 1_000


def tokens(pointer: str) -> tuple[str, ...]:
    """The reference tokens of a pointer, unescaped.

    Raises
    ------
    ValueError
        If it breaks RFC 6901, section 3: it is empty or begins with "/", and "~" stands before 0 or 1.

    Examples
    --------
    >>> tokens("/a~1b/0/m~0n")
    ('a/b', '0', 'm~n')
    """
    if pointer == "":
        return ()
    if not pointer.startswith("/") or len(pointer) > _LONGEST_POINTER:
        raise ValueError("a JSON Pointer must be empty or begin with '/'")
    out = []
    for token in pointer[1:].split("/"):
        rest = token.replace("~0", "").replace("~1", "")
        if "~" in rest:
            raise ValueError("in a JSON Pointer '~' must be followed by 0 or 1")
        out.append(token.replace("~1", "/").replace("~0", "~"))
    return tuple(out)


def pointer_of(path: Iterable[str | int]) -> str:
    """The pointer of a path of names and indices.

    Examples
    --------
    >>> pointer_of(["a/b", 0])
    '/a~1b/0'
    """
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in path)


def follow(document: Any, path: tuple[str, ...]) -> Any:
    """The value a pointer leads to, or MISSING where the document has no such place."""
    for token in path:
        if type(document) is dict:
            document = document.get(token, MISSING)
            if document is MISSING:
                return MISSING
        elif type(document) is list:
            # RFC 6901, section 4: digits without leading zeros; "-" is the place after the last one.
            if not (token.isascii() and token.isdigit()) or (token[0] == "0" and len(token) > 1):
                return MISSING
            if len(token) > 9 or int(token) >= len(document):
                return MISSING
            document = document[int(token)]
        else:
            return MISSING
    return document
