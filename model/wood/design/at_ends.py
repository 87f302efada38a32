"""How a fit stands at the dry and at the wet end of a home's year: the limit that leaves least, and where."""

from dataclasses import dataclass, replace
from typing import Literal

from model.wood.design.design_range import settled
from model.wood.doubt import as_measured, margin_doubts
from model.wood.fits import Fit, Limit

End = Literal["driest", "dampest"]
ENDS: tuple[End, End] = ("driest", "dampest")


@dataclass(frozen=True)
class AtEnds:
    """The worst a fit comes to over a home's year, its parts settled at each end.

    `verdict` is past where something would be harmed, near where it would only show. `limit` is None of a fit
    that has none; `limit.margin_mm` is what is left there, `doubt_mm` its ±.
    """

    verdict: Literal["past", "near", "clear"]
    end: End
    limit: Limit | None

    doubt_mm: float = 0.0

    @property
    def margin_mm(self) -> float:
        return 0.0 if self.limit is None else float(self.limit.margin_mm)


def at_ends(fit: Fit, home_mc_pct: tuple[float, float]) -> AtEnds:
    """The worst of a fit at both ends of a home's year; what harms comes before what shows.

    Parameters
    ----------
    fit : Fit
    home_mc_pct : (float, float)
        Dry and wet end [%].
    """
    found = [
        AtEnds("clear", end, limit)
        for end, mc_pct in zip(ENDS, home_mc_pct, strict=True)
        for limit in fit.limits(settled(fit.members, mc_pct))
    ]
    if not found:
        return AtEnds("clear", "driest", None)
    worst = {
        severity: min(those, key=lambda one: one.margin_mm)
        for severity in ("harms", "shows")
        if (those := [one for one in found if one.limit is not None and one.limit.severity == severity])
    }
    harm, show = worst.get("harms"), worst.get("shows")
    if harm is not None and harm.margin_mm < 0.0:
        one = replace(harm, verdict="past")
    elif show is not None and show.margin_mm < 0.0:
        one = replace(show, verdict="near")
    else:
        one = harm or show or found[0]
    if one.limit is None:
        return one
    mc_pct = home_mc_pct[ENDS.index(one.end)]
    sure = margin_doubts(fit, {member.name: as_measured(member, mc_pct) for member in fit.members})
    return replace(one, doubt_mm=sure[one.limit.name].total)
