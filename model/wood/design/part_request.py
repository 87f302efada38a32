"""What a part to be built is asked for: its size and wood, and the home it will live in."""

from dataclasses import dataclass, field
from typing import Literal

from model.wood.air.sorption import equilibrium_moisture_content, relative_humidity_for
from model.wood.errors import BadInput
from model.wood.fits.limit import INCH
from model.wood.material.member import Finish, Member
from model.wood.material.movement import movement_of
from model.wood.material.ring_angle import RING_ANGLE
from model.wood.material.species import Species

Role = Literal["side", "door", "top", "back", "bottom"]
ROLES: tuple[Role, ...] = ("side", "door", "top", "back", "bottom")


@dataclass(frozen=True)
class HomeRange:
    """What wood comes to in a home over its year.

    Attributes
    ----------
    mc_low_pct, mc_high_pct : float
        At the driest and at the wettest, lag counted where it is known [%].
    temperature_c : float
        Of the room, for humidities [°C].
    name : str
    """

    mc_low_pct: float
    mc_high_pct: float
    temperature_c: float = 20.0
    name: str = ""

    def __post_init__(self) -> None:
        if not 0.0 <= self.mc_low_pct < self.mc_high_pct <= 28.0:
            rule = "must run from a dry to a wetter moisture content, 0 to 28 %"
            raise BadInput(self.name, "range", rule, f"{self.mc_low_pct:g}-{self.mc_high_pct:g}")

    @classmethod
    def of_humidity(
        cls, rh_low_pct: float, rh_high_pct: float, temperature_c: float = 20.0, name: str = ""
    ) -> "HomeRange":
        """The range to which humidities held long enough would bring wood [%]."""
        return cls(
            float(equilibrium_moisture_content(temperature_c, rh_low_pct)),
            float(equilibrium_moisture_content(temperature_c, rh_high_pct)),
            temperature_c,
            name,
        )

    @property
    def mc_range_pct(self) -> tuple[float, float]:
        return self.mc_low_pct, self.mc_high_pct

    @property
    def rh_range_pct(self) -> tuple[float, float]:
        """The humidities that would hold wood at both ends [%]."""
        low, high = (float(relative_humidity_for(self.temperature_c, mc)) for mc in self.mc_range_pct)
        return low, high

    @property
    def middle_pct(self) -> float:
        return (self.mc_low_pct + self.mc_high_pct) / 2.0


@dataclass(frozen=True)
class PartWanted:
    """A part to be built.

    Attributes
    ----------
    role : str
        side (of a case), door, top, back, or bottom (of a drawer: its width is its depth).
    width_mm, length_mm, thickness_mm : float
        Finished size across the grain, along it, and thick.
    species : Species
    ring_angle_deg : float
        Of the stock, 0 flat-sawn to 90 quarter-sawn.
    mc_pct : float
        Moisture content of the stock when it is fitted [%].
    mc_doubt_pct : float, optional
        The ± of that, where more is known of it than that a meter said so [points].
    finish : Finish
    panel_thickness_mm : float
        Of the panel, if it is framed.
    stile_mm : float
        Width of stiles, rails and muntins, if it is framed.
    board_width_mm : float
        Of the boards at hand, for leaves and for how many it takes.
    """

    role: Role
    width_mm: float
    length_mm: float
    thickness_mm: float
    species: Species
    ring_angle_deg: float = 0.0
    mc_pct: float = 8.0
    finish: Finish = field(default_factory=Finish)
    panel_thickness_mm: float = 3.0 * INCH / 8.0
    stile_mm: float = 2.25 * INCH
    board_width_mm: float = 6.0 * INCH
    mc_doubt_pct: float | None = None

    def __post_init__(self) -> None:
        if self.role not in ROLES:
            raise BadInput("", "role", f"must be one of {', '.join(ROLES)}", self.role)
        RING_ANGLE.check(self.ring_angle_deg)
        sizes = (
            ("width", self.width_mm, 20.0, 2000.0), ("length", self.length_mm, 20.0, 4000.0),
            ("thickness", self.thickness_mm, 3.0, 100.0),
            ("panel_thickness", self.panel_thickness_mm, 2.0, 50.0),
            ("stile", self.stile_mm, 15.0, 300.0), ("board_width", self.board_width_mm, 30.0, 1000.0),
        )  # fmt: skip
        for what, value, low, high in sizes:
            if not low <= value <= high:
                raise BadInput("", what, f"must lie in {low:g} to {high:g} mm", value)
        if not 0.0 <= self.mc_pct <= movement_of(self.species, self.ring_angle_deg).fibre_saturation_pct:
            raise BadInput("", "mc_pct", "must lie in 0 % to fibre saturation", self.mc_pct)

    def member(self, name: str, width_mm: float, thickness_mm: float | None = None, role: str = "") -> Member:
        """A member of this part's wood as it is today."""
        return Member(
            name=name,
            species=self.species,
            ring_angle_deg=self.ring_angle_deg,
            # To a nanometre, as a document reads it back.
            width_mm=round(width_mm, 6),
            mc_pct=self.mc_pct,
            mc_doubt_pct=self.mc_doubt_pct,
            thickness_mm=round(self.thickness_mm if thickness_mm is None else thickness_mm, 6),
            finish=self.finish,
            role=role,
        )
