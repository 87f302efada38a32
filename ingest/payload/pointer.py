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
    if "~" in pointer.replace("~0", "").replace("~1", ""):
        raise ValueError("in a JSON Pointer '~' must be followed by 0 or 1")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in pointer[1:].split("/"))


def pointer_of(path: Iterable[str | int]) -> str:
    """The pointer of a path of names and indices.

    Examples
    --------
    >>> pointer_of(["a/b", 0])
    '/a~1b/0'
    """
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in path)


def follow(document: Any, path: Iterable[str | int]) -> Any:
    """The value at a pointer's tokens, or at a path of names and indices; MISSING where there is none.

    Examples
    --------
    >>> follow({"air": [20.5, 21.5]}, tokens("/air/1")), follow({"air": [20.5]}, ["air", 1])
    (21.5, nothing)
    """
    for token in path:
        if type(document) is dict:
            document = document.get(token, MISSING)
            if document is MISSING:
                return MISSING
        elif type(document) is list:
            # RFC 6901, section 4: digits without leading zeros; "-" is the place after the last one.
            if isinstance(token, str):
                if not (token.isascii() and token.isdigit()) or (token[0] == "0" and len(token) > 1):
                    return MISSING
                token = int(token[:10])
            if token >= len(document):
                return MISSING
            document = document[token]
        else:
            return MISSING
    return document
