"""A stack metered as a yard does it: several boards, pins or surface, cold wood, and how sure that is."""

import math

import pytest

from model.wood.errors import BadInput
from model.wood.material.metering import OVEN, PIN, PINLESS, PINS_IN, SURFACE, Metered
from model.wood.units import parse_thickness_mm
from model.words.reasons import in_sentences


def test_a_yards_quarters_are_quarters_of_an_inch_in_any_units():
    assert [parse_thickness_mm(said) for said in ("4/4", "5/4", " 8 / 4 ")] == [25.4, 31.75, 50.8]
    assert parse_thickness_mm("27", bare="mm") == 27.0
    assert parse_thickness_mm("5/8in") == pytest.approx(15.875)
    with pytest.raises(BadInput, match="must say its unit"):
        parse_thickness_mm("3/4", bare=None)  # rough lumber is an inch at the least


@pytest.mark.parametrize("mm", [12.0, 25.4, 80.0])
def test_one_reading_with_the_pins_in_is_as_sure_as_a_meter(mm):
    # Wood Handbook ch. 13: about one point on the right species setting.
    assert Metered((8.4,), mm, PIN, PINS_IN).doubt_pct == 1.0
    assert Metered((8.4,), mm, OVEN, SURFACE).doubt_pct == 0.1


def test_several_boards_give_their_mean_and_their_spread_counts():
    # JCGM 100:2008, 4.2.3 and table G.2: s = 0.4583, s / √3 = 0.2646, t(0.90, 2) = 1.886.
    found = Metered((8.1, 8.4, 9.0), 25.4, PIN, PINS_IN)
    assert found.mc_pct == pytest.approx(8.5)
    assert found.doubt_by["boards"] == pytest.approx(1.886 * 0.2646, abs=1e-3)
    assert found.doubt_pct == pytest.approx(math.hypot(1.0, 0.499), abs=1e-3)
    assert Metered((6.0, 8.5, 11.0), 25.4).doubt_pct > 2.5


@pytest.mark.parametrize(("wood_f", "added_pct"), [(70.0, 0.0), (60.0, 0.5), (50.0, 1.0), (90.0, -1.0)])
def test_cold_wood_reads_dry_by_half_a_point_for_each_ten_degrees(wood_f, added_pct):
    # Wood Handbook ch. 13, for pin meters.
    found = Metered((8.0,), 25.4, PIN, PINS_IN, wood_c=(wood_f - 32.0) / 1.8)
    assert found.mc_pct == pytest.approx(8.0 + added_pct)
    assert found.doubt_by["temperature"] == pytest.approx(abs(added_pct) / 2.0)


@pytest.mark.parametrize(
    ("reading", "wood_c", "fit_pct"), [(12.0, 0.0, 14.264), (12.0, 10.0, 13.216), (8.0, 10.0, 8.922)]
)
def test_the_correction_agrees_with_a_published_fit_within_its_own_doubt(reading, wood_c, fit_pct):
    # Pfaff and Garrahan (1986), from memory, unverified; it is neutral at 22.7 °C.
    found = Metered((reading,), 25.4, PIN, PINS_IN, wood_c=wood_c)
    assert found.mc_pct == pytest.approx(fit_pct, abs=found.doubt_by["temperature"])


def test_no_correction_is_invented_where_none_is_printed():
    pinless = Metered((8.0,), 25.4, PINLESS, wood_c=4.0)
    assert pinless.mc_pct == 8.0
    assert pinless.doubt_pct > Metered((8.0,), 25.4, PIN, wood_c=4.0).doubt_pct
    assert "no correction is printed for its meter" in in_sentences(pinless.told())
    unset = Metered((8.0,), 25.4, PIN, set_for_wood=False, wood="white oak")
    # Readings seldom are more than 2 points off the oven's: Wengert and Bois (1997), as quoted in `metering`.
    assert (unset.mc_pct, unset.doubt_pct) == (8.0, 2.0)
    assert "was not set for white oak, and nothing corrects" in in_sentences(unset.told())


def test_the_booklet_of_a_meter_or_the_wood_it_was_set_for_corrects_its_readings():
    """What a maker knows of a meter is used, and what is from memory is said to be."""
    asked = {"thickness_mm": 25.4, "how": PIN, "depth": PINS_IN}
    booklet = Metered((8.0, 9.0), set_for_wood=False, wood="black cherry", booklet_pct=-0.5, **asked)
    assert booklet.boards_pct == (7.5, 8.5)
    assert booklet.doubt_by["meter"] == 1.0
    assert "taken off each reading, by the meter's booklet" in in_sentences(booklet.told())
    # FPL-GTR-6 table 1, from memory, unverified: Douglas-fir has 4780 MΩ at 8 %, hard maple 13,800 at 8 % and
    # 3160 at 9 %: ln(13800 / 4780) / ln(13800 / 3160) = 0.719 of the way.
    maple = Metered((8.0,), set_for="Douglas-fir (coast)", wood="sugar maple", **asked)
    assert maple.mc_pct == pytest.approx(8.719, abs=0.001)
    assert maple.doubt_pct == pytest.approx(math.hypot(1.0, 0.5))
    assert "from memory, unverified" in in_sentences(maple.told())
    # The wood's temperature comes first, as it changes what the meter shows of any wood.
    cold = Metered((7.0,), set_for="Douglas-fir (coast)", wood="sugar maple", wood_c=10.0, **asked)
    assert cold.mc_pct == pytest.approx(8.719, abs=0.05)
    # Outside the table, and of a wood that isn't in it, nothing is invented: the doubt is the wider one.
    for wood, reading in (("black cherry", 8.0), ("sugar maple", 6.0)):
        found = Metered((reading,), set_for="Douglas-fir (coast)", wood=wood, **asked)
        assert (found.mc_pct, found.doubt_pct) == (reading, 2.0)
    with pytest.raises(BadInput, match="-5 to 5 points"):
        Metered((8.0,), booklet_pct=70.0, **asked)


def test_a_surface_reading_says_less_of_thick_stock():
    # A point for each inch: common practice, no source.
    thin, thick = (Metered((8.5,), mm, PIN, SURFACE) for mm in (25.4, 76.2))
    assert thin.doubt_pct == pytest.approx(math.hypot(1.0, 1.0))
    assert thick.doubt_pct == pytest.approx(math.hypot(1.0, 3.0))
    assert "surface and not the inside" in in_sentences(thick.unsure())
