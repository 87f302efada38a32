"""Lists the notification addresses without their secrets, and sends a test message to one."""

from collections.abc import Sequence

from model.records.store import Store
from model.watch.tell.notice_times import read_hours
from model.watch.tell.notices import Send, masked, send_by_apprise, send_test
from model.wood.errors import BadInput


class Addresses:
    """The addresses of the settings and of the book; they themselves never leave this object.

    Parameters
    ----------
    store : Store
    addresses : sequence of str
        Of the settings.
    """

    def __init__(self, store: Store, addresses: Sequence[str], send: Send = send_by_apprise) -> None:
        self._store, self._addresses, self._send = store, tuple(addresses), send

    def masked(self) -> list[str]:
        """Every address that can be notified, masked."""
        return list(self._by_mask())

    def test(self, mask: str) -> str | None:
        """Send a test message; returns what went wrong, None when it went out.

        Raises
        ------
        BadInput
            If no address is masked so.
        """
        known = self._by_mask()
        if mask not in known:
            raise BadInput("notify", "address", "must be one of the settings", mask)
        return send_test(known[mask], self._send)

    def _by_mask(self) -> dict[str, str]:
        with self._store.session() as session:
            every = [*self._addresses, *read_hours(session).addresses]
        found = {}
        for address in every:
            try:
                found[masked(address)] = address
            except BadInput:
                continue  # the watch's log says so when it starts to notify
        return found
