"""What a sensor on wood sent through time, as what it comes to; what is doubted is dotted."""

import numpy as np

from dashboard.figures import plot
from dashboard.figures.air import doubted_among
from dashboard.figures.plot import Chart, Stretch, Strip
from model.records.queries.mounted import SentOnWood
from model.words.display import Display

GAP = np.timedelta64(6, "h")
MM_PER_INCH = 25.4


def on_wood_chart(sent: SentOnWood, measures: str, display: Display, stretch: Stretch, name: str) -> Chart:
    """The chart; `sent` may be empty and may have gaps.

    Parameters
    ----------
    measures : str
        mc_pct, width_mm or gap_mm.
    """
    in_inches = measures != "mc_pct" and display.units == "inch"
    value = sent.value / MM_PER_INCH if in_inches else sent.value
    unit = "%" if measures == "mc_pct" else display.length_unit
    title = {"mc_pct": "Moisture content", "width_mm": "Width", "gap_mm": "Gap"}[measures]
    doubted = doubted_among(sent.at, sent.doubts)
    solid = {"name": name, "line": plot.line()}
    dotted = {"name": "doubted", "line": plot.line(plot.INK, 1.0, "dot")}
    traces = plot.lines(sent.at, value, doubted, GAP, stretch.zone, solid, dotted)
    pad = 0.02 if in_inches else 0.5
    # A passing load is drawn as far as it fits: what counts sets the scale.
    counts = value[~doubted] if (~doubted & ~np.isnan(value)).any() else value
    strips = [Strip(f"{title}, {unit}", *plot.reach([counts], pad, 4 * pad))]
    known = value[~np.isnan(value)]
    nothing = "" if len(known) else "It sent nothing in this span."
    told = f"from {known[0]:.2f} to {known[-1]:.2f} {unit}" if len(known) else "nothing in this span"
    message = f"What {name} sent through time: {told}."
    return Chart(plot.figure(traces, strips, stretch, nothing=nothing), message)
