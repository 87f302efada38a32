"""The geometry of a panel in grooves: what is given of it, and which of it contradicts itself."""

from dataclasses import dataclass

from model.wood.fits.base import Fit
from model.wood.fits.fields import choice, length, number, one_member
from model.wood.fits.limit import INCH
from model.wood.material.member import Amount, Member
from model.wood.piece_table import NOTHING

CENTRE, ONE_EDGE, FREE = "centre", "one-edge", "free"
BEFORE, AFTER = "before assembly", "after assembly"
# Bare wood is seen once it is this wide on one side (common practice, no source).
SEEN_MM = INCH / 64.0
# Half-thousandths lost in inches are no contradiction.
SLACK_MM = 0.02


@dataclass(frozen=True, kw_only=True)
class PanelGeometry(Fit):
    """The fields of a panel in grooves, and their check."""

    member: Member = one_member("the panel")  # noqa: RUF009
    sight_width_mm: float = length("width seen between the frame's edges, across the panel's grain")
    groove_depth_mm: float = length("depth of each groove", usual="3/8 in for panels to about 15 in")
    held: str = choice(
        "where the panel is pinned or spaced so that it can't wander", (CENTRE, ONE_EDGE, FREE), CENTRE
    )
    finished: str = choice(
        "whether the panel had its finish, tongue and all, before it went into the frame",
        (BEFORE, AFTER),
        BEFORE,
    )
    finish_onto_tongue_mm: float | None = length(
        "width of tongue that carries finish beyond the sight line, each side",
        None,
        zero=True,
        usual="the whole tongue when finished before assembly, none when after",
    )
    profile: str = choice("the panel's edge", ("flat", "raised"), "flat")
    shoulder_gap_mm: float | None = length(
        "gap between the raised field's shoulder and each stile",
        None,
        zero=True,
        usual="1/32 to 1/16 in",
        only_when=("profile", ("raised",)),
    )
    bevel_deg: float = number(
        "slope of a bevelled tongue where it enters the groove", (0.0, 45.0), "degrees", 0.0
    )
    groove_slack_mm: float = length(
        "how much wider the groove is than the bevelled tongue at its lip",
        0.0,
        zero=True,
        only_when=("profile", ("raised",)),
    )
    tongue_thickness_mm: float | None = length(
        "thickness of the tongue", None, usual="1/4 in, or the panel's own"
    )
    least_engagement_mm: float = length(
        "tongue that has to stay in each groove",
        INCH / 16.0,
        zero=True,
        usual="1/16 in at the least, 1/8 in for 3/4 in work",
    )
    held_engagement_mm: float | None = length(
        "tongue in the groove at the held edge",
        None,
        usual="as much as at the other",
        only_when=("held", (ONE_EDGE,)),
    )
    spacer_mm: float = length("crushed thickness of the spacer in each groove", 0.0, zero=True)
    rattle_mm: float | None = length(
        "play in both grooves together from which the panel rattles",
        None,
        usual="left out: it does not matter",
    )
    stile_width_mm: float | None = length("width of each stile", None)

    # -------------------------------------------------------- as built

    @property
    def built_width_mm(self) -> float:
        """Width of the panel when the frame was closed."""
        return self.built_width(self.member)

    @property
    def coverage_mm(self) -> float | None:
        """Tongue finished beyond the sight line, each side; None when there is no bare wood to show."""
        if self.finish_onto_tongue_mm is not None:
            return self.finish_onto_tongue_mm
        return None if self.finished == BEFORE else 0.0

    @property
    def held_mm(self) -> float:
        """Tongue at the edge where the panel is held, as built; half of what both grooves take if unsaid."""
        if self.held_engagement_mm is not None:
            return self.held_engagement_mm
        return (self.built_width_mm - self.sight_width_mm) / 2.0

    def check(self) -> None:
        self._check_fill()
        self._check_held_edge()
        self._check_edge()

    def _check_fill(self) -> None:
        built_mm, groove_mm, sight_mm = self.built_width_mm, self.groove_depth_mm, self.sight_width_mm
        panel = f"the panel {self.member.name}"
        if self.stile_width_mm is not None and groove_mm >= self.stile_width_mm:
            rule = f"must be less than the stile is wide ({self.stile_width_mm:.4g} mm)"
            raise self.bad("groove_depth_mm", rule, groove_mm)
        if built_mm <= sight_mm:
            rule = f"must be less, or the panel can't reach its grooves: {panel} is {built_mm:.4g} mm wide"
            raise self.bad("sight_width_mm", rule, sight_mm)
        room_mm = sight_mm + 2.0 * groove_mm
        if built_mm > room_mm + SLACK_MM:
            rule = (
                f"must be more, or the panel is too wide for its grooves: {panel} is {built_mm:.4g} mm wide"
            )
            raise self.bad("groove_depth_mm", f"{rule} and has {room_mm:.4g} mm", groove_mm)
        if self.spacer_mm >= groove_mm:
            raise self.bad(
                "spacer_mm", f"must be less than the groove is deep ({groove_mm:.4g} mm)", self.spacer_mm
            )

    def _check_held_edge(self) -> None:
        held_mm = self.held_engagement_mm
        if held_mm is None:
            return
        if self.held != ONE_EDGE:
            raise self.bad("held_engagement_mm", "must be left out unless held is one-edge", held_mm)
        if held_mm > self.groove_depth_mm:
            rule = f"must not be more than the groove is deep ({self.groove_depth_mm:.4g} mm)"
            raise self.bad("held_engagement_mm", rule, held_mm)
        free_mm = self.built_width_mm - self.sight_width_mm - held_mm
        if not 0.0 < free_mm <= self.groove_depth_mm + SLACK_MM:
            rule = (
                f"must leave a tongue at the free edge of 0 to {self.groove_depth_mm:.4g} mm, "
                f"the groove's depth (it leaves {free_mm:.4g} mm)"
            )
            raise self.bad("held_engagement_mm", rule, held_mm)

    def _check_edge(self) -> None:
        shoulder_mm, onto_mm = self.shoulder_gap_mm, self.finish_onto_tongue_mm
        if self.profile == "raised" and shoulder_mm is None:
            raise self.bad("shoulder_gap_mm", "must be given for a raised panel (0 or more)", NOTHING)
        if self.profile == "flat" and shoulder_mm is not None:
            raise self.bad("shoulder_gap_mm", "must be left out unless profile is raised", shoulder_mm)
        tongue_mm = self.tongue(self.built_width_mm)
        if onto_mm is not None and onto_mm > float(tongue_mm) + SLACK_MM:
            rule = f"must not be more than the tongue in the groove ({float(tongue_mm):.4g} mm)"
            raise self.bad("finish_onto_tongue_mm", rule, onto_mm)
        thick_mm = self.tongue_thickness_mm
        if thick_mm is not None and thick_mm > self.member.thickness_mm:
            rule = f"must not be more than the panel is thick ({self.member.thickness_mm:.4g} mm)"
            raise self.bad("tongue_thickness_mm", rule, thick_mm)

    def tongue(self, width_mm: Amount) -> Amount:
        """Engagement where it changes: at the free edge, or at either edge of a centred panel."""
        spare = width_mm - self.sight_width_mm
        return spare - self.held_mm if self.held == ONE_EDGE else spare / 2.0
