"""What a client sees of a piece's movement through the year, fit by fit, with sizes.

Sizes are those of the piece's own members at the dry and the wet end of its home's year; gaps that open are
rounded up and gaps that close down, so that what is called normal covers what comes.
"""

from collections.abc import Callable
from dataclasses import dataclass

from dashboard.display import Display, said
from model.watch.home_year import HomeYear
from model.wood.fits import Fit
from model.wood.fits.board_back import BoardBack
from model.wood.fits.breadboard_end import BreadboardEnd
from model.wood.fits.cross_grain_fixing import CrossGrainFixing
from model.wood.fits.edging_on_sheet import EdgingOnSheet
from model.wood.fits.front_in_opening import FrontInOpening
from model.wood.fits.lid_on_box import LidOnBox
from model.wood.fits.mitre import Mitre
from model.wood.fits.panel_in_groove import FREE, ONE_EDGE, PanelInGroove
from model.wood.fits.top_on_fasteners import TopOnFasteners
from model.wood.piece import Piece

NOTHING_MM = 0.2
"""Less than this nobody sees."""


@dataclass(frozen=True)
class SeenRow:
    """What is normal at one place of a piece.

    `gap_mm` are its sizes in the dry and in the damp season where it is a gap or a line that a strip can
    measure, else none. `swing_mm` is how much it changes over the year.
    """

    fit: str
    what: str
    dry: str
    damp: str
    swing_mm: float
    gap_mm: tuple[float, float] | None = None


def seen_rows(piece: Piece, year: HomeYear, display: Display, most: int = 5) -> tuple[SeenRow, ...]:
    """What a client may see of each fit, gaps first, then by how much they change."""
    found = []
    for fit in piece.fits.values():
        row = seen_of(fit, year, display)
        if row is not None:
            found.append(row)
    found.sort(key=lambda row: (row.gap_mm is None, -row.swing_mm))
    return tuple(found[:most])


def seen_of(fit: Fit, year: HomeYear, display: Display) -> SeenRow | None:
    """What a client may see of one fit; none of a fit that works out of sight."""
    for kind, tell in _TELL.items():
        if isinstance(fit, kind):
            return tell(fit, year, display)
    return None


def _up(display: Display, size_mm: float) -> str:
    return display.length(size_mm, "up", 32)


def _panel(fit: Fit, year: HomeYear, display: Display) -> SeenRow:
    assert isinstance(fit, PanelInGroove)
    # A panel held at one edge, or free to wander, shows all its movement on one side.
    sides = 1.0 if fit.held in (ONE_EDGE, FREE) else 2.0
    dry_mm = -float(fit.growth(fit.member, year.mc_low_pct)) / sides
    damp_mm = -float(fit.growth(fit.member, year.mc_high_pct)) / sides
    edge = "one edge" if sides == 1.0 else "each edge"
    line = "a line of finished wood" if fit.coverage_mm is None else "a light line"

    def told(size_mm: float) -> str:
        return "no line" if size_mm < NOTHING_MM else f"{line} at {edge}, up to {_up(display, size_mm)}"

    gaps = (max(dry_mm, 0.0), max(damp_mm, 0.0))
    damp = told(damp_mm) if damp_mm >= NOTHING_MM else "no line; the panel fills its grooves"
    return SeenRow(fit.name, said(fit.name), told(dry_mm), damp, dry_mm - damp_mm, gaps)


def _gap_words(fit_gap_mm: float, least_mm: float, display: Display, widest: bool) -> str:
    if fit_gap_mm <= 0.0:
        return "it sticks: wait, wax it, do not plane it"
    if fit_gap_mm < 2.0 * least_mm and not widest:
        return "snug, a gap of a hair"
    return f"a gap of {'up to ' if widest else 'about '}{_up(display, fit_gap_mm)}"


def _front(fit: Fit, year: HomeYear, display: Display) -> SeenRow:
    assert isinstance(fit, FrontInOpening)
    dry_mm, damp_mm = float(fit.gap_now(year.mc_low_pct)), float(fit.gap_now(year.mc_high_pct))
    return SeenRow(
        fit.name,
        said(fit.name),
        _gap_words(dry_mm, fit.least_gap_mm, display, dry_mm >= damp_mm),
        _gap_words(damp_mm, fit.least_gap_mm, display, damp_mm > dry_mm),
        abs(dry_mm - damp_mm),
        (max(dry_mm, 0.0), max(damp_mm, 0.0)),
    )


def _boards(fit: Fit, year: HomeYear, display: Display) -> SeenRow:
    assert isinstance(fit, BoardBack)
    dry_mm, damp_mm = float(fit.gap_now(year.mc_low_pct)), float(fit.gap_now(year.mc_high_pct))
    return SeenRow(
        fit.name,
        f"{said(fit.name)}, between boards",
        f"gaps of up to {_up(display, dry_mm)}",
        "closed up" if damp_mm < NOTHING_MM else f"gaps of about {_up(display, damp_mm)}",
        dry_mm - damp_mm,
        (max(dry_mm, 0.0), max(damp_mm, 0.0)),
    )


def _wider(change_mm: float, display: Display) -> str:
    if abs(change_mm) < NOTHING_MM:
        return "as it was made"
    return f"{_up(display, abs(change_mm))} {'wider' if change_mm > 0 else 'narrower'} than it was made"


def _top(fit: Fit, year: HomeYear, display: Display) -> SeenRow:
    assert isinstance(fit, TopOnFasteners)
    dry_mm, damp_mm = (float(fit.growth(fit.member, mc)) for mc in (year.mc_low_pct, year.mc_high_pct))
    name = said(fit.name)
    return SeenRow(fit.name, name, _wider(dry_mm, display), _wider(damp_mm, display), damp_mm - dry_mm)


def _breadboard(fit: Fit, year: HomeYear, display: Display) -> SeenRow:
    assert isinstance(fit, BreadboardEnd)
    sides = 2.0 if fit.fixed == "centre" else 1.0
    dry_mm, damp_mm = (
        fit.end_longer_mm - float(fit.growth(fit.member, mc)) / sides
        for mc in (year.mc_low_pct, year.mc_high_pct)
    )

    def told(size_mm: float) -> str:
        if abs(size_mm) < NOTHING_MM:
            return "flush"
        return f"the end stands {_up(display, abs(size_mm))} {'out' if size_mm > 0 else 'back'} at the edge"

    return SeenRow(fit.name, said(fit.name), told(dry_mm), told(damp_mm), dry_mm - damp_mm)


def _lid(fit: Fit, year: HomeYear, display: Display) -> SeenRow:
    assert isinstance(fit, LidOnBox)
    if fit.inset_gap_mm is not None:
        gap = [fit.gap_now(mc) for mc in (year.mc_low_pct, year.mc_high_pct)]
        dry_mm, damp_mm = (float(value) for value in gap if value is not None)
        return SeenRow(
            fit.name,
            f"{said(fit.name)}, at the front",
            _gap_words(dry_mm, fit.least_gap_mm, display, True),
            _gap_words(damp_mm, fit.least_gap_mm, display, False),
            dry_mm - damp_mm,
            (max(dry_mm, 0.0), max(damp_mm, 0.0)),
        )
    share = 1.0 if fit.held == "hinged" else 2.0
    less_mm, more_mm = (
        float(fit.growth(fit.member, mc)) / share for mc in (year.mc_low_pct, year.mc_high_pct)
    )

    def told(change_mm: float) -> str:
        if abs(change_mm) < NOTHING_MM:
            return "as it was made"
        return f"reaches {_up(display, abs(change_mm))} {'further' if change_mm > 0 else 'less far'} in front"

    return SeenRow(fit.name, said(fit.name), told(less_mm), told(more_mm), more_mm - less_mm)


def _mitre(fit: Fit, year: HomeYear, display: Display) -> SeenRow:
    assert isinstance(fit, Mitre)
    dry_mm, damp_mm = (float(fit.heel_gap(mc)) for mc in (year.mc_low_pct, year.mc_high_pct))

    def told(heel_mm: float) -> str:
        if abs(heel_mm) < NOTHING_MM:
            return "closed"
        return (
            f"opens up to {_up(display, abs(heel_mm))} at the {'inside' if heel_mm > 0 else 'outside'} corner"
        )

    gaps = (abs(dry_mm), abs(damp_mm))
    return SeenRow(fit.name, f"{said(fit.name)}, at its mitres", told(dry_mm), told(damp_mm), max(gaps), gaps)


def _fixing(fit: Fit, year: HomeYear, display: Display) -> SeenRow | None:
    assert isinstance(fit, CrossGrainFixing)
    if fit.drawer_stopped_at != "back":
        return None
    dry_mm, damp_mm = (float(fit.growth(fit.member, mc)) for mc in (year.mc_low_pct, year.mc_high_pct))

    def told(growth_mm: float) -> str:
        if abs(growth_mm) < NOTHING_MM:
            return "flush"
        return f"drawers stand {_up(display, abs(growth_mm))} {'back' if growth_mm > 0 else 'proud'}"

    return SeenRow(
        fit.name, f"{said(fit.name)}, drawer fronts", told(dry_mm), told(damp_mm), damp_mm - dry_mm
    )


def _edging(fit: Fit, year: HomeYear, display: Display) -> SeenRow:
    assert isinstance(fit, EdgingOnSheet)
    swing_mm = float(fit.growth(fit.member, year.mc_high_pct)) - float(
        fit.growth(fit.member, year.mc_low_pct)
    )
    told = "a fine step that a fingernail feels"
    return SeenRow(fit.name, f"{said(fit.name)}, at the edging", told, told, swing_mm)


_TELL: dict[type[Fit], Callable[[Fit, HomeYear, Display], SeenRow | None]] = {
    PanelInGroove: _panel,
    FrontInOpening: _front,
    BoardBack: _boards,
    TopOnFasteners: _top,
    BreadboardEnd: _breadboard,
    LidOnBox: _lid,
    Mitre: _mitre,
    CrossGrainFixing: _fixing,
    EdgingOnSheet: _edging,
}
