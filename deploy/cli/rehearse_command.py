"""The command `rehearse`: runs a piece through recorded air from a file."""

import re
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import pandas as pd
import typer

from deploy.cli.answer import AsJson, UnitsText, display_of, give_json, give_table, say
from deploy.cli.wood_commands import read_piece_file
from model.wood.design.cautions import cautions, provenance
from model.wood.design.rehearsal import Rehearsal
from model.wood.design.rehearsal import rehearse as run_rehearsal
from model.wood.errors import BadInput
from model.wood.moisture import solver as moisture
from model.wood.piece import Piece
from model.words.limits import limits_said
from model.words.reasons import in_sentences

COLUMNS = ("timestamp_utc", "temperature_c", "rh_pct")


def every_hours(text: str) -> int:
    """Whole hours from a span such as 1h, 12h, 1d or 1w."""
    match = re.fullmatch(r"\s*(\d+)\s*(h|d|w)\s*", text)
    if not match or int(match[1]) == 0:
        raise BadInput("paneltide rehearse", "--every", "must be a span such as 1h, 1d or 1w", text)
    return int(match[1]) * {"h": 1, "d": 24, "w": 168}[match[2]]


def rehearse(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    air_file: Annotated[Path, typer.Argument(help="Air: CSV with timestamp_utc, temperature_c, rh_pct.")],
    start_mc: Annotated[
        float | None, typer.Option("--start-mc", help="MC of every part at the first instant [%].")
    ] = None,
    every: Annotated[str, typer.Option("--every", help="Spacing of the rows, as 1h or 1d.")] = "1h",
    sensor: Annotated[
        str | None, typer.Option("--sensor", help="Which sensor, where the file holds several.")
    ] = None,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """Run a piece through recorded air: how wide each member was, and how little was ever left."""
    piece = read_piece_file(piece_file)
    run = run_rehearsal(piece, read_air_file(air_file, sensor), start_mc, every_hours(every))
    document = rehearsal_document(piece, run) | {"provenance": provenance(piece.members.values())}
    if as_json:
        give_json(document)
        return
    display = display_of(units)
    first, last = run.at[0], run.at[-1]
    say(f"{piece.name}, {first:%d %b %Y} to {last:%d %b %Y}, {run.filled_hours} hours filled")
    rows = [
        [
            name,
            f"{table['mc_mean_pct'].min():.1f}–{table['mc_mean_pct'].max():.1f} %",
            f"{display.bare_length(table['width_mm'].min(), finest=64)} to "
            f"{display.length(table['width_mm'].max(), finest=64)}",
        ]
        for name, table in run.members.items()
    ]
    give_table(["part", "moisture content", "width"], rows)
    for caution in cautions(piece.members.values()):
        say(in_sentences(caution, display))
    said = {name: limits_said(fit) for name, fit in piece.fits.items()}
    give_table(
        ["fit", "limit", "", "least left", "when"],
        [
            [
                name,
                said[name][limit["name"]],
                limit["severity"],
                display.margin(limit["margin_mm_min"]),
                limit["at"][:10],
            ]
            for name, fit in document["fits"].items()
            for limit in fit["limits"]
        ],
    )


def read_air_file(path: Path, sensor: str | None = None) -> pd.DataFrame:
    """Air from a CSV file with the columns timestamp_utc, temperature_c, rh_pct (and sensor, if several).

    Returns
    -------
    DataFrame
        Index of aware UTC instants, rising and unique; columns temperature_c, rh_pct.

    Raises
    ------
    BadInput
        Naming the file, the line and column, the rule and what was got.
    """
    where = str(path)
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
    except (OSError, UnicodeDecodeError, EOFError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise BadInput(where, "air file", "must be a readable CSV file", reason) from error
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise BadInput(where, "air file", "must be a CSV file with a header", str(error).strip()) from error
    missing = [name for name in COLUMNS if name not in table.columns]
    if missing:
        raise BadInput(where, "header", f"must hold {', '.join(COLUMNS)}", ", ".join(table.columns))
    if "sensor" in table.columns:
        names = sorted(table["sensor"].unique())
        if sensor is not None:
            if sensor not in names:
                raise BadInput(where, "--sensor", f"must be one of {', '.join(names)}", sensor)
            table = table[table["sensor"] == sensor]
        elif len(names) > 1:
            raise BadInput(
                where, "file", f"holds {len(names)} sensors: choose one with --sensor", ", ".join(names)
            )
    elif sensor is not None:
        raise BadInput(where, "--sensor", "needs a sensor column in the file", sensor)
    instants = pd.to_datetime(table["timestamp_utc"], utc=True, errors="coerce", format="ISO8601")
    _refuse_first(where, table, "timestamp_utc", instants.isna(), "must be an ISO 8601 instant")
    values = {}
    for name, low, high in (("temperature_c", -40.0, 60.0), ("rh_pct", 0.0, 100.0)):
        column = table[name].str.strip()
        numbers = pd.to_numeric(column, errors="coerce")
        _refuse_first(where, table, name, numbers.isna() & (column != ""), "must be a number")
        outside = (numbers < low) | (numbers > high)
        _refuse_first(where, table, name, outside, f"must lie in {low:g}..{high:g}")
        values[name] = numbers.to_numpy()
    air = pd.DataFrame(values, index=pd.DatetimeIndex(instants)).dropna()
    if air.empty:
        raise BadInput(where, "air file", "must hold at least one reading", "none")
    return air[~air.index.duplicated(keep="last")].sort_index()


def _refuse_first(where: str, table: pd.DataFrame, column: str, bad: Any, rule: str) -> None:
    positions = np.flatnonzero(np.asarray(bad))
    if len(positions):
        row = table.index[positions[0]]
        raise BadInput(f"{where} line {row + 2}", column, rule, table.loc[row, column])


def rehearsal_document(piece: Piece, run: Rehearsal) -> dict[str, Any]:
    """A rehearsal as its JSON document: the figures used, the traces and the smallest margins."""
    batch = run.batch
    members = {}
    for position, (name, member) in enumerate(piece.members.items()):
        members[name] = {
            "species": member.species.name,
            "ring_angle_deg": member.ring_angle_deg,
            "reference_width_mm": member.width_mm,
            "reference_mc_pct": member.mc_pct,
            "specific_gravity": float(batch.specific_gravity[position]),
            "oven_dry_density_kg_m3": float(batch.oven_dry_density_kg_m3[position]),
            "thickness_mm": float(batch.thickness_mm[position]),
            "diffusion_scale": float(batch.diffusion_scale[position]),
            "coefficient_per_pct": member.movement.coefficient_per_pct,
            "shrinkage_slope_per_pct": member.movement.shrinkage_slope_per_pct,
            "fibre_saturation_pct": member.movement.fibre_saturation_pct,
            "face_permeance_kg_m2_s_pa": _bare_is_none(batch.face_permeance[position]),
            "back_permeance_kg_m2_s_pa": _bare_is_none(batch.back_permeance[position]),
        }
    stamps = [at.strftime("%Y-%m-%dT%H:%M:%SZ") for at in run.at]
    return {
        "piece": piece.name,
        "parameters": {
            "air_permeance_kg_m2_s_pa": moisture.AIR_PERMEANCE_KG_M2_S_PA,
            "filled_hours": run.filled_hours,
            "air_holds": "each row of air holds until the next; a state is given at the instant of its row",
            "parts": members,
        },
        "parts": {
            name: [
                {"at": stamp, **{key: round(float(value), 6) for key, value in row.items()}}
                for stamp, row in zip(stamps, table.to_dict("records"), strict=True)
            ]
            for name, table in run.members.items()
        },
        "fits": {
            name: {
                "limits": [
                    {
                        "name": one.limit.name,
                        "direction": one.limit.direction,
                        "severity": one.limit.severity,
                        "margin_mm_min": round(one.margin_mm, 6),
                        "at": one.at.strftime("%Y-%m-%dT%H:%M:%SZ"),
                    }
                    for one in smallest
                ]
            }
            for name, smallest in run.smallest.items()
        },
    }


def _bare_is_none(permeance: float) -> float | None:
    return None if np.isnan(permeance) else float(permeance)
