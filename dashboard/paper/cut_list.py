"""The cut list in words: the widths that will work, the wood it takes; shared by page and job sheet."""

from model.wood.design.cut_list import CutRow, board_feet_in_all, litres_in_all
from model.words.display import Display


def widths_that_work(row: CutRow, display: Display) -> str:
    """The least and the most that will work today, `14-7/8 to 15 in`; empty where no fit asks for one."""
    if row.width_least_mm is None or row.width_most_mm is None:
        return ""
    least, most = row.width_least_mm, row.width_most_mm
    return f"{display.bare_length(least, finest=32)} to {display.length(most, 'down', 32)}"


def wood_in_all(rows: tuple[CutRow, ...], display: Display) -> str:
    """How much solid wood it takes."""
    takes = (
        f"{board_feet_in_all(rows):.1f} board feet"
        if display.units == "inch"
        else f"{litres_in_all(rows):.0f} litres"
    )
    return f"In all {takes} of solid wood, as cut; buy a third more."
