"""How to build a part for a home not yet lived in: as a solid slab, in a frame, or of sheet goods.

Each choice is laid out for that home's dry and wet end with this project's own cutting advice, then judged by
the same design range as a built piece, so that the answer can be recorded as the piece's record as it stands.
Rules of thumb say so where they stand: grain conflict up to 3 to 4 in is ignored, a panel to about 15 in
suits a 3/8 in groove, one of 18 in and more is better two (common practice, no source).
"""

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

from model.wood.design.design_range import DesignRange, design_range
from model.wood.design.layouts import Layout, framed_layout, sheet_layout, slab_layout
from model.wood.design.part_request import HomeRange as HomeRange
from model.wood.design.part_request import PartWanted as PartWanted
from model.wood.design.setting_out import INCH_STEPS, Increments
from model.wood.errors import BadInput
from model.wood.fits.front_in_opening import WIDEST_GAP_MM
from model.wood.fits.limit import IGNORED_WIDTH_MM, INCH
from model.wood.material.member import Member
from model.wood.material.restraint import SplitRisk, split_risk
from model.wood.piece import Piece, document_of
from model.wood.reason import Reason

Kind = Literal["slab", "framed", "sheet"]
Verdict = Literal["suits", "with care", "does not suit"]
DEEP_GROOVE_MM = INCH / 2.0
DEEPEST_GROOVE_MM = 3.0 * INCH / 4.0
WIDE_PANEL_MM = 18.0 * INCH
WIDE_SLAB_DOOR_MM = 8.0 * INCH
LONG_SLOT_MM = INCH / 2.0
"""A groove deeper than 1/2 in needs care and than 3/4 in a wider frame; a slab door of more than 8 in has
nothing to keep it flat; a slot longer than 1/2 in weakens a runner (common practice, no source)."""
SHEET_STRAIN_PER_RH = (0.0018 / 60.0, 0.0027 / 60.0)
"""Least and most strain of plywood by percent of humidity: 0.18 to 0.27 % from 30 to 90 % RH (trade
handbook, not re-read)."""


@dataclass(frozen=True)
class PatternChoice:
    """One way to build a part.

    Attributes
    ----------
    kind, title : str
    verdict : str
        "suits", "with care", "does not suit".
    reasons : tuple of Reason
        The first decides.
    outside_movement_mm, movement_doubt_mm : float
        How much the part's outside width changes between the home's dry and wet end, and its ±: how far
        boards of one wood differ.
    panel_movement_mm : float or None
        The same of each panel in its frame.
    fixed_across : tuple of Reason
        What may be fixed across it, and how.
    if_held : SplitRisk or None
        What comes of fixing something fast across all of it, dried from today to the home's dry end.
    design : DesignRange or None
        Of the layout's piece, at the home's temperature.
    layout : Layout
        The part as a piece with its fits set out for this home, its cuts, stock and weight.
    """

    kind: Kind
    title: str
    verdict: Verdict
    reasons: tuple[Reason, ...]
    outside_movement_mm: float
    movement_doubt_mm: float
    panel_movement_mm: float | None
    fixed_across: tuple[Reason, ...]
    if_held: SplitRisk | None
    design: DesignRange | None
    layout: Layout

    @property
    def piece(self) -> Piece | None:
        return self.layout.piece

    @property
    def document(self) -> dict[str, Any] | None:
        """The document of `piece`, to record it as built."""
        return None if self.layout.piece is None else document_of(self.layout.piece)

    def row(self) -> dict[str, Any]:
        """The choice as one flat row: SI numbers and words, None where there is nothing."""
        span = self.design.span if self.design else None
        stock = asdict(self.layout.stock)
        del stock["board_thickness_mm"]
        return {
            "kind": self.kind,
            "title": self.title,
            "verdict": self.verdict,
            "reasons": [reason.document() for reason in self.reasons],
            "outside_movement_mm": self.outside_movement_mm,
            "outside_movement_doubt_mm": self.movement_doubt_mm,
            "panel_movement_mm": self.panel_movement_mm,
            "mc_low_pct": span.mc_low_pct if span else None,
            "mc_high_pct": span.mc_high_pct if span else None,
            "rh_low_pct": span.rh_low_pct if span else None,
            "rh_high_pct": span.rh_high_pct if span else None,
            "governing_low": span.low.fit if span and span.low else None,
            "governing_high": span.high.fit if span and span.high else None,
            "groove_depth_mm": self.layout.groove_depth_mm,
            "panels": self.layout.panels,
            "fixed_across": [reason.document() for reason in self.fixed_across],
            "split_if_held": self.if_held.likelihood if self.if_held else None,
            "weight_kg": self.layout.weight_kg,
            **stock,
        }


@dataclass(frozen=True)
class Comparison:
    """The three choices side by side, and the one to take."""

    part: PartWanted
    home: HomeRange
    choices: tuple[PatternChoice, ...]
    advised: Kind
    reason: Reason

    def choice(self, kind: str) -> PatternChoice:
        for found in self.choices:
            if found.kind == kind:
                return found
        raise BadInput("", "choice", "must be one of slab, framed, sheet", kind)


def compare(part: PartWanted, home: HomeRange, steps: Increments = INCH_STEPS) -> Comparison:
    """A part built three ways for a home, with what speaks for and against each.

    Parameters
    ----------
    part : PartWanted
    home : HomeRange
    steps : Increments
        What widths, grooves and slots are rounded to.

    Raises
    ------
    BadInput
        For sizes that make no part.
    """
    choices = (_slab(part, home, steps), _framed(part, home, steps), _sheet(part, home, steps))
    # Solid wood in its simplest form first; what needs care only when nothing suits without.
    order: tuple[Verdict, ...] = ("suits", "with care", "does not suit")
    best = min(choices, key=lambda choice: order.index(choice.verdict))
    reason = Reason("build", {"how": best.kind, "why": best.reasons[0]})
    return Comparison(part, home, choices, best.kind, reason)


def _moves(member: Member, home: HomeRange) -> float:
    return float(member.width_at(home.mc_high_pct)) - float(member.width_at(home.mc_low_pct))


def _scatter(member: Member) -> float:
    """The ± of a board's movement, as a share of it."""
    low, high = member.movement_band()
    return (high - low) / 2.0


def _design(layout: Layout, home: HomeRange) -> DesignRange | None:
    return None if layout.piece is None else design_range(layout.piece, home.temperature_c)


def _held(part: PartWanted, home: HomeRange) -> SplitRisk:
    return split_risk(part.species, part.ring_angle_deg, part.mc_pct, min(home.mc_low_pct, part.mc_pct))


def _lacks(design: DesignRange | None, home: HomeRange) -> list[Reason]:
    """Where the design range falls short of the home's year."""
    if design is None:
        return []
    span, found = design.harms, []
    for key, end_pct, governing, home_pct in (
        ("runs-out-wet", span.mc_high_pct, span.high, home.mc_high_pct),
        ("runs-out-dry", span.mc_low_pct, span.low, home.mc_low_pct),
    ):
        wet = key == "runs-out-wet"
        if (
            end_pct is None
            or governing is None
            or (home_pct - end_pct if wet else end_pct - home_pct) <= 1e-6
        ):
            continue
        fit = governing.fit.replace("_", " ")
        found.append(Reason(key, {"end_pct": end_pct, "fit": fit, "home_pct": home_pct}))
    return found


# ---------------------------------------------------------------- the three


def _slab(part: PartWanted, home: HomeRange, steps: Increments) -> PatternChoice:
    layout = slab_layout(part, home.mc_range_pct, home.middle_pct, steps)
    design = _design(layout, home)
    board = part.member(part.role, part.width_mm)
    moved = _moves(board, home)
    sure = moved * _scatter(board)
    held = _held(part, home)
    narrow = part.width_mm <= IGNORED_WIDTH_MM
    verdict: Verdict = "suits"
    sizes = {"width_mm": part.width_mm, "moved_mm": moved, "ignored_mm": IGNORED_WIDTH_MM}
    reasons, against = [Reason("slab-moves", sizes)], _lacks(design, home)
    fixed: tuple[Reason, ...] = (Reason("across-slab-narrow", sizes),)
    if not narrow:
        splits = held.likelihood != "none"
        fast = Reason("held-splits" if splits else "held-crushed", {"likelihood": held.likelihood})
        fixed = Reason("across-slab", sizes), fast
    if against or not layout.enough:
        verdict = "does not suit"
        reasons = [*against, *layout.notes, *reasons]
    elif part.role == "side" and not narrow:
        verdict = "with care"
        reasons.append(Reason("side-needs-slots"))
    elif part.role == "door" and part.width_mm > WIDE_SLAB_DOOR_MM:
        verdict = "with care"
        reasons.append(Reason("door-not-flat"))
    elif part.role == "back" and part.width_mm > WIDE_PANEL_MM:
        verdict = "with care"
        reasons.append(Reason("back-opens-far"))
    elif (layout.groove_depth_mm or 0.0) > DEEP_GROOVE_MM or (layout.slot_length_mm or 0.0) > LONG_SLOT_MM:
        verdict = "with care"
        reasons.append(Reason("more-than-usual"))
    if verdict != "does not suit":
        reasons += layout.notes
    held_fast = None if narrow else held
    return PatternChoice(
        "slab", "Solid slab", verdict, tuple(reasons), moved, sure, None, fixed, held_fast, design, layout
    )  # fmt: skip


def _framed(part: PartWanted, home: HomeRange, steps: Increments) -> PatternChoice:
    layout = framed_layout(part, home.mc_range_pct, home.middle_pct, steps)
    design = _design(layout, home)
    piece = layout.piece
    if piece is None:
        return PatternChoice(
            "framed", "Frame and panel", "does not suit", layout.notes, 0.0, 0.0, None, (), None, None, layout
        )  # fmt: skip
    outside, panel = 2.0 * _moves(piece.members["stile"], home), _moves(piece.members["panel"], home)
    sure = outside * _scatter(piece.members["stile"]) / math.sqrt(2.0)  # two boards, each by itself
    groove = layout.groove_depth_mm or 0.0
    verdict: Verdict = "suits"
    sizes = {"outside_mm": outside, "panel_mm": panel, "panel_count": layout.panels, "groove_mm": groove}
    reasons = [Reason("frame-moves", sizes)]
    against = _lacks(design, home)
    if groove > DEEPEST_GROOVE_MM or not layout.cuts[0]["enough"]:
        against.append(Reason("too-deep-a-groove", sizes))
    if against:
        verdict = "does not suit"
        reasons = [*against, *reasons]
    elif groove > DEEP_GROOVE_MM:
        verdict = "with care"
        reasons.append(Reason("deep-groove", sizes))
    for cut in layout.cuts[1:]:
        # A gap that is too wide to look right harms nothing, and any other way to build it gapes more.
        widest = max(cut["gap_rounded_mm"], cut["gap_dry_mm"], cut["gap_wet_mm"])
        if not cut["enough"] or widest > WIDEST_GAP_MM:
            verdict = verdict if against else "with care"
            reasons.append(Reason("gap-opens", {"gap_mm": widest}))
    reasons += layout.notes
    fixed = Reason("across-frame"), Reason("across-panel")
    # What is held fast in a frame is the panel, when glue or finish catches it.
    held = _held(part, home) if piece.members["panel"].width_mm > IGNORED_WIDTH_MM else None
    moved = outside, sure, panel
    return PatternChoice(
        "framed", "Frame and panel", verdict, tuple(reasons), *moved, fixed, held, design, layout
    )  # fmt: skip


def _sheet(part: PartWanted, home: HomeRange, steps: Increments) -> PatternChoice:
    layout = sheet_layout(part, home.mc_range_pct, home.middle_pct, steps)
    low_rh, high_rh = home.rh_range_pct
    least, most = (part.width_mm * rate * (high_rh - low_rh) for rate in SHEET_STRAIN_PER_RH)
    verdict: Verdict = "suits"
    reasons = [Reason("sheet-moves", {"most_mm": most})]
    if part.role in ("top", "door"):
        verdict = "with care"
        reasons.append(Reason("edging-steps"))
    reasons += layout.notes
    fixed = Reason("across-sheet"), Reason("no-wide-edging")
    design = _design(layout, home)
    return PatternChoice(
        "sheet",
        "Sheet goods",
        verdict,
        tuple(reasons),
        most,
        (most - least) / 2.0,
        None,
        fixed,
        None,
        design,
        layout,
    )
