"""The records that commands which ask the science print with `--json`: SI units, unit last in the name."""

from typing import Any, Literal

from pydantic import ConfigDict, Field

from model.answers.document import Instant, JsonDocument
from model.answers.records import Direction, ProvenanceRecord, Severity


class OpenDocument(JsonDocument):
    """A record with further names that depend on what is asked about."""

    model_config = ConfigDict(extra="allow")


class AirAnswerRecord(JsonDocument):
    """Of `air`."""

    temperature_c: float
    rh_pct: float
    emc_pct: float
    """Moisture content that wood settles to."""
    dew_point_c: float | None
    """Null of air without any moisture."""
    vapour_pressure_pa: float
    humidity_ratio: float
    """Mass of vapour per mass of dry air."""


class FigureSourceRecord(JsonDocument):
    """Where a figure of a wood comes from."""

    source: str
    provenance: str
    """`read` on the printed page, `read_secondary` elsewhere, `derived`, or from `memory`."""
    note: str


class SpeciesRecord(JsonDocument):
    """Of `species`; a figure that nobody printed is null."""

    name: str
    handbook_name: str
    group: str
    c_radial_per_pct: float | None
    """Change of width, per width, per point of moisture content."""
    c_tangential_per_pct: float | None
    shrinkage_radial_pct: float | None
    shrinkage_tangential_pct: float | None
    specific_gravity_12pct: float | None
    specific_gravity_green: float | None
    moe_mpa: float | None
    tension_perp_kpa: float | None
    et_el: float | None
    er_el: float | None
    fibre_saturation_pct: float | None
    sources: dict[str, FigureSourceRecord] = Field(validation_alias="facts")


class DoubtOfWidthRecord(JsonDocument):
    """Where the ± of a width comes from."""

    largest: str
    by_source_mm: dict[str, float]
    measured_better_mm: float | None
    """What it would be after the measurement that helps most."""


class WoodSourceRecord(JsonDocument):
    """How the figures of a wood are known."""

    wood: str
    movement: str
    source: str


class WidthRecord(JsonDocument):
    """Of `width`."""

    width_mm: float
    change_mm: float
    width_doubt_mm: float
    mc_doubt_pct: float
    doubt: DoubtOfWidthRecord
    provenance: WoodSourceRecord


class LimitOfFitRecord(JsonDocument):
    """A limit, by its fit and its name."""

    fit: str
    limit: str


class GoverningRecord(LimitOfFitRecord):
    """The limit at which a range ends, and those that end it with it."""

    tied: list[LimitOfFitRecord]


class GoverningEndsRecord(JsonDocument):
    """What ends a range; null where no limit does."""

    low: GoverningRecord | None
    high: GoverningRecord | None


class RangeRecord(JsonDocument):
    """Moisture contents, and humidities at the temperature asked for, in which every limit is kept."""

    mc_low_pct: float | None
    """Null where no limit is met above 0 %."""
    mc_high_pct: float | None
    """Null where no limit is met below fibre saturation."""
    rh_low_pct: float | None
    rh_high_pct: float | None
    governing: GoverningEndsRecord
    empty: bool
    """Whether its fits disagree, so that no air suits all."""


class CheckedLimitRecord(JsonDocument):
    """One way that a fit runs out."""

    name: str
    direction: Direction
    severity: Severity
    mc_at_limit_pct: float | None
    mc_at_limit_doubt_pct: float | None
    margin_mm: float
    margin_doubt_mm: float | None
    play_mm: float
    says: str


class CheckedFitRecord(RangeRecord):
    """A fit with its own range."""

    kind: str
    shows: RangeRecord
    """Within it nothing shows."""
    harms: RangeRecord
    """Within it nothing is harmed."""
    limits: list[CheckedLimitRecord]


class McEndsRecord(JsonDocument):
    """Two ends of a range of moisture content."""

    mc_low_pct: float | None
    mc_high_pct: float | None


class MovementBandRecord(JsonDocument):
    """The range, should this wood move a fifth more or less than the tables say."""

    moves_most: McEndsRecord
    moves_least: McEndsRecord


class CheckRecord(RangeRecord):
    """Of `check`."""

    piece: str
    temperature_c: float
    mc_low_doubt_pct: float | None
    """Half of p10 to p90 of the end, as of each that follows."""
    mc_high_doubt_pct: float | None
    rh_low_doubt_pct: float | None
    rh_high_doubt_pct: float | None
    comfort_rh_low_pct: float | None
    """What may be said to anyone: within 25 to 60 %."""
    comfort_rh_high_pct: float | None
    comfort_reason: str | None
    """Why there is no such range."""
    cautions: list[str]
    provenance: dict[str, ProvenanceRecord]
    shows: RangeRecord
    harms: RangeRecord
    band: MovementBandRecord
    fits: dict[str, CheckedFitRecord]


class CutRecord(OpenDocument):
    """Of `cut`; further names are those of the kind of fit, each with its unit."""

    piece: str
    fit: str
    kind: str
    stock_mc_pct: float
    mc_doubt_pct: float
    range_mc_pct: list[float]
    sentences: list[str]
    cautions: list[str]
    provenance: dict[str, ProvenanceRecord]


class GapRowRecord(JsonDocument):
    """An opening: the gap to leave in each month, and how far it opens."""

    height_mm: float
    gaps_mm: list[float]
    opens_mm: list[float]
    gap_doubt_mm: float


class GapsRecord(JsonDocument):
    """Of `gaps`."""

    range_mc_pct: list[float]
    assumed_mc_pct: list[float]
    """Of stock that nobody metered, by month."""
    rows: list[GapRowRecord]
    provenance: WoodSourceRecord


class RehearsedPartRecord(JsonDocument):
    """The figures that a part was computed with; a permeance of null is a bare face."""

    species: str
    ring_angle_deg: float
    reference_width_mm: float
    reference_mc_pct: float
    specific_gravity: float
    oven_dry_density_kg_m3: float
    thickness_mm: float
    diffusion_scale: float
    coefficient_per_pct: float
    shrinkage_slope_per_pct: float
    fibre_saturation_pct: float
    face_permeance_kg_m2_s_pa: float | None
    back_permeance_kg_m2_s_pa: float | None


class RehearsalFiguresRecord(JsonDocument):
    """All that an outsider needs to repeat the computation."""

    air_permeance_kg_m2_s_pa: float
    filled_hours: int
    air_holds: str
    parts: dict[str, RehearsedPartRecord]


class RehearsedStateRecord(JsonDocument):
    """A part at an instant."""

    at: Instant
    mc_mean_pct: float
    mc_face_pct: float
    mc_core_pct: float
    mc_back_pct: float
    width_mm: float


class SmallestMarginRecord(JsonDocument):
    """The least that was left before a limit, and when."""

    name: str
    direction: Direction
    severity: Severity
    margin_mm_min: float
    at: Instant


class RehearsedFitRecord(JsonDocument):
    """A fit over the whole run."""

    limits: list[SmallestMarginRecord]


class RehearsalRecord(JsonDocument):
    """Of `rehearse`."""

    piece: str
    parameters: RehearsalFiguresRecord
    parts: dict[str, list[RehearsedStateRecord]]
    fits: dict[str, RehearsedFitRecord]
    provenance: dict[str, ProvenanceRecord]


class PlanChoiceRecord(JsonDocument):
    """One way to build a part."""

    kind: str
    title: str
    verdict: str
    reasons: list[str]
    reason_keys: list[str]
    fixed_across: list[str]
    split_if_held: str | None
    outside_movement_mm: float
    outside_movement_doubt_mm: float
    panel_movement_mm: float | None
    mc_low_pct: float | None
    mc_high_pct: float | None
    rh_low_pct: float | None
    rh_high_pct: float | None
    governing_low: str | None
    governing_high: str | None
    groove_depth_mm: float | None
    panels: int
    weight_kg: float
    net_m3: float
    net_board_feet: float
    rough_board_feet: float
    buy_board_feet: float
    sheet_m2: float
    leaves_from_a_board: int | None
    leaf_width_needed_mm: float | None
    boards_to_resaw: int | None
    document: dict[str, Any]
    """Its piece file, as tables."""


class PartPlanRecord(JsonDocument):
    """Of `plan` for a part."""

    role: str
    home: str | None
    known_from: str
    mc_range_pct: list[float]
    advised: str | None
    says: str
    provenance: WoodSourceRecord
    choices: list[PlanChoiceRecord]


class PlannedFitRecord(JsonDocument):
    """A fit at the end of its home's year that leaves least."""

    verdict: Literal["past", "near", "clear"]
    end: Literal["driest", "dampest"]
    limit: str | None
    margin_mm: float


class PiecePlanRecord(JsonDocument):
    """Of `plan` for a piece file."""

    piece: str
    home: str | None
    known_from: str
    mc_range_pct: list[float]
    cuts: list[dict[str, Any]]
    """What to cut; empty of a piece that is no drawn case."""
    fits: dict[str, PlannedFitRecord]
    provenance: dict[str, ProvenanceRecord]
