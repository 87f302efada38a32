"""What time it is for the book: the machine's clock, or the sample shop's faster one."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

Now = Callable[[], datetime]


def machine_now() -> datetime:
    """The machine's clock, aware UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class SampleClock:
    """A clock that starts at an instant of the sample year and runs faster than the machine's.

    Parameters
    ----------
    zero_at : datetime
        Instant of the machine's clock at which the sample clock showed `start_at`, aware UTC.
    start_at : datetime
        What it showed then, aware UTC.
    rate : float
        Sample seconds a machine second, 1 or more.
    brisk_s : float
        How many machine seconds it keeps that rate; afterwards it runs at the machine's own pace.
    """

    zero_at: datetime
    start_at: datetime
    rate: float
    brisk_s: float

    def __call__(self) -> datetime:
        elapsed_s = (machine_now() - self.zero_at).total_seconds()
        brisk_s = min(elapsed_s, self.brisk_s)
        return self.start_at + timedelta(seconds=elapsed_s + (self.rate - 1.0) * brisk_s)
