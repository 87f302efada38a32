"""`plan` of a whole piece: what to cut today for its home, and how each fit will stand there."""

import math
from dataclasses import asdict
from pathlib import Path

from dashboard.paper.cut_list import fit_dimensions
from deploy.cli.answer import UnitsText, display_of, give_json, give_table, say, span_given
from deploy.cli.wood_commands import read_piece_file
from deploy.wiring import open_book
from model.answers.annual_range import home_year, recorded_air
from model.records.acts.places import place_named
from model.wood.design.at_ends import at_ends
from model.wood.design.cautions import cautions, provenance
from model.wood.design.cut_list import CutRow, cut_list
from model.wood.design.part_request import HomeRange
from model.wood.errors import BadInput
from model.wood.piece import Piece
from model.words.display import Display
from model.words.limits import ends_said
from model.words.reasons import in_sentences


def plan_piece(file: Path, rh: str | None, home: str | None, units: UnitsText, as_json: bool) -> None:
    """Print the cut list of a piece file and how each fit stands at both ends of a home's year."""
    piece = read_piece_file(file)
    ends, known_from = _home(piece, rh, home)
    display = display_of(units)
    judged = {name: at_ends(fit, ends) for name, fit in piece.fits.items()}
    cuts = cut_list(piece, ends, display.steps)
    if as_json:
        give_json(
            {
                "piece": piece.name,
                "home": home,
                "known_from": known_from,
                "mc_range_pct": list(ends),
                "cuts": [asdict(row) for row in cuts],
                "fits": {
                    name: {
                        "verdict": worst.verdict,
                        "end": worst.end,
                        "limit": worst.limit.name if worst.limit else None,
                        "margin_mm": worst.margin_mm if worst.limit else None,
                    }
                    for name, worst in judged.items()
                },
                "provenance": provenance(piece.members.values()),
            }
        )
        return
    say(f"{piece.name}, for a home that brings its wood to {ends[0]:.1f} to {ends[1]:.1f} %: {known_from}.")
    for caution in cautions(piece.members.values()):
        say(in_sentences(caution, display))
    give_table(
        ["", "fit", "there"],
        [[worst.verdict, name, ends_said(worst, display)] for name, worst in judged.items()],
    )
    if cuts:
        say("")
        give_table(
            ["cut", "of", "wide", "least", "best", "most", "long", "thick"],
            [
                [
                    f"{row.role}{f' × {row.alike}' if row.alike > 1 else ''}",
                    row.species,
                    display.length(row.width_mm, "nearest", 64),
                    *_widths(row, display),
                    display.length(row.length_mm),
                    display.length(row.thickness_mm),
                ]
                for row in cuts
            ],
        )
    if piece.fits:
        say("")
        give_table(
            ["fit", "grooves, slots and gaps"],
            [[name, fit_dimensions(fit, display)] for name, fit in piece.fits.items()],
        )


def _widths(row: CutRow, display: Display) -> tuple[str, str, str]:
    """Least, best and most, each rounded toward caution; empty where no fit asks for one."""
    least, best, most = row.width_least_mm, row.width_best_mm, row.width_most_mm
    if least is None or best is None or most is None:
        return "", "", ""
    return display.length(least, "up", 64), display.length(best, finest=64), display.length(most, "down", 64)


def _home(piece: Piece, rh: str | None, home: str | None) -> tuple[tuple[float, float], str]:
    """Dry and wet end of the home, to a tenth of a per cent outward, and what they are known from."""
    if home is not None and rh is None:
        store, now = open_book()
        with store.session() as session:
            place = place_named(session, home)
            year = home_year(piece, recorded_air(session, place.id, now), place.name)
        low, high = year.ends_pct
        return (math.floor(low * 10.0) / 10.0, math.ceil(high * 10.0) / 10.0), year.says
    if rh is not None and home is None:
        given = HomeRange.of_humidity(*span_given(rh, "--rh", "humidities", "20-50"))
        return given.mc_range_pct, f"{rh} % RH as given, held long enough"
    if piece.case is not None and home is None:
        low, high = piece.case["home_mc_pct"]
        return (float(low), float(high)), "as its [case] says"
    raise BadInput("", "home", "must be one of --home and --rh", "both" if home else "neither")
