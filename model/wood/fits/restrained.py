"""Wood held fast across its grain: what it takes before it is crushed or splits."""

from model.wood.fits.base import RESTRAINED_STRAIN, Way
from model.wood.material.member import Amount


def restrained_ways(held_mm: float, growth: Amount, part: str) -> list[Way]:
    """The two ways of a width held fast, for the growth it would make if it were free [mm]."""
    takes = RESTRAINED_STRAIN * held_mm
    return [
        Way("crushes", "swelling", "harms", takes - growth, (part,)),
        Way("splits", "shrinking", "harms", takes + growth, (part,)),
    ]
