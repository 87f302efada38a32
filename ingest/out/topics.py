"""Names of the topics that are published, by kind and id: an id stays when a thing is given another name."""

import re
from collections.abc import Callable

from model.records.schema.tables import Preference
from model.records.store import Store

AVAILABILITY = "availability"
KEPT_AS = "published topics"
"""Name of the preference that lists the topics which hold something."""
KINDS = ("places", "stacks", "pieces")


def topic_of(prefix: str, kind: str, number: int) -> str:
    """Where one thing is published: `shop/pieces/3`."""
    return f"{prefix}/{kind}/{number}"


def published_under(prefix: str) -> Callable[[str], bool]:
    """Says of a topic whether it is one of those published under a prefix; none is under an empty one."""
    if not prefix:
        return lambda _topic: False
    ours = re.compile(rf"{re.escape(prefix)}/(?:{AVAILABILITY}|(?:{'|'.join(KINDS)})/\d+)")
    return lambda topic: ours.fullmatch(topic) is not None


def held_topics(store: Store) -> set[str]:
    """The topics that hold something of ours at the broker, or may."""
    with store.session() as session:
        row = session.get(Preference, KEPT_AS)
        return set() if row is None else set(row.value["topics"])
