"""The cut list in words: widths, grooves, slots and gaps, the wood it takes; shared by page and job sheet."""

from model.wood.design.cut_list import CutRow, board_feet_in_all, litres_in_all
from model.wood.design.gap_table import GapRow
from model.wood.fits import Fit
from model.words.display import Display, said


def widths_that_work(row: CutRow, display: Display) -> str:
    """Least, most and best of today, `14-7/8 to 15 in, best 14-15/16`; empty where no fit asks for one."""
    least, best, most = row.width_least_mm, row.width_best_mm, row.width_most_mm
    if least is None or best is None or most is None:
        return ""
    span = f"{display.bare_length(least, 'up')} to {display.length(most, 'down')}"
    return f"{span}, best {display.bare_length(best)}"


def wood_in_all(rows: tuple[CutRow, ...], display: Display) -> str:
    """How much solid wood it takes."""
    takes = (
        f"{board_feet_in_all(rows):.1f} board feet"
        if display.units == "inch"
        else f"{litres_in_all(rows):.0f} litres"
    )
    return f"In all {takes} of solid wood, as cut; buy a third more."


def fit_dimensions(fit: Fit, display: Display) -> str:
    """The clearances a fit was recorded with: `sight width 14 in, groove depth 3/8 in, held centre`."""
    told = []
    recorded = fit.document()
    for field in fit.fields():
        value = recorded.get(field.key)
        if value is None or field.unit in ("member", "members", "text", "count"):
            continue
        name = said(field.key)
        if field.unit == "mm":
            told.append(f"{name} {display.length(value, 'nearest', 64)}")
        elif field.unit == "flag":
            told.append(name if value else f"not {name}")
        else:
            told.append(f"{name} {value:g}" if isinstance(value, float) else f"{name} {said(str(value))}")
    return ", ".join(told)


def gaps_by_month(row: GapRow, display: Display) -> tuple[str, ...]:
    """A height of opening, and the gap above its front from January to December."""
    return display.length(row.height_mm), *(display.bare_length(gap, finest=64) for gap in row.gaps_mm)
