"""Lists the notification addresses without their secrets, and sends a test message to one."""

from collections.abc import Sequence
from contextlib import suppress

from dashboard.shell.ports import NoticeDoor
from model.records.store import Store
from model.watch.tell.notice_times import read_hours
from model.watch.tell.notices import Send, masked, send_by_apprise, send_test
from model.wood.errors import BadInput


def notice_door(store: Store, addresses: Sequence[str], send: Send = send_by_apprise) -> NoticeDoor:
    """What the Settings page asks of the addresses in settings and book; they leave it masked only."""

    def by_mask() -> dict[str, str]:
        with store.session() as session:
            every = [*addresses, *read_hours(session).addresses]
        found = {}
        for address in every:
            with suppress(BadInput):  # the watch's log says so when it starts to notify
                found[masked(address)] = address
        return found

    def test(mask: str) -> str | None:
        known = by_mask()
        if mask not in known:
            raise BadInput("notify", "address", "must be one of the settings", mask)
        return send_test(known[mask], send)

    return NoticeDoor(lambda: list(by_mask()), test)
