"""Commands that ask the science and need no book: air, species, width, check, cut."""

from math import ceil, floor
from pathlib import Path
from typing import Annotated, Any

import typer

from deploy.answer import AsJson, give_json, give_table, say
from deploy.settings import load_settings
from model.wood import air as air_physics
from model.wood.cutting import cut_document
from model.wood.errors import BadInput
from model.wood.movement import movement_of, ring_angle_of_cut, width_at
from model.wood.piece import Piece, read_piece
from model.wood.sorption import equilibrium_moisture_content, relative_humidity_for
from model.wood.species import Species, all_species, find_species
from model.wood.units import parse_length_mm, parse_temperature_c
from model.words.limits import checked

TemperatureText = Annotated[str, typer.Option("--temperature", help="Air temperature, as 21C or 70F.")]


def read_piece_file(path: Path) -> Piece:
    """The piece in a TOML file; a file that can't be read is bad input."""
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise BadInput(str(path), "piece file", "must be readable UTF-8 text", reason) from error
    return read_piece(text, str(path))


def span_of(text: str, what: str, meaning: str, example: str) -> tuple[float, float]:
    """Two numbers with a dash between them, the lower first."""
    low, dash, high = text.partition("-")
    try:
        bounds = (float(low), float(high))
    except ValueError:
        dash = ""
    if not dash:
        raise BadInput("", what, f"must be two {meaning}, as {example}", text)
    return bounds


def air(
    temperature: TemperatureText,
    rh: Annotated[float | None, typer.Option("--rh", help="Relative humidity [%].")] = None,
    emc: Annotated[
        float | None, typer.Option("--emc", help="Ask for the humidity at which wood settles to this MC [%].")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """What wood tends to in this air, and the air's own moisture."""
    temperature_c = parse_temperature_c(temperature, "--temperature")
    if (rh is None) == (emc is None):
        raise BadInput(
            "paneltide air",
            "--rh or --emc",
            "must be given, one of the two",
            "both" if rh is not None else "none",
        )
    rh_pct = rh if rh is not None else float(relative_humidity_for(temperature_c, float(emc or 0.0)))
    document = {
        "temperature_c": temperature_c,
        "rh_pct": rh_pct,
        "emc_pct": float(equilibrium_moisture_content(temperature_c, rh_pct)),
        "dew_point_c": float(air_physics.dew_point(temperature_c, rh_pct)) if rh_pct > 0.0 else None,
        "vapour_pressure_pa": float(air_physics.vapour_pressure(temperature_c, rh_pct)),
        "humidity_ratio": float(air_physics.humidity_ratio(temperature_c, rh_pct)),
    }
    if as_json:
        give_json(document)
        return
    say(
        f"At {temperature_c:.1f} °C and {rh_pct:.1f} % RH "
        f"wood tends to {document['emc_pct']:.1f} % moisture content."
    )
    if document["dew_point_c"] is not None:
        say(
            f"Dew point {document['dew_point_c']:.1f} °C, "
            f"vapour pressure {document['vapour_pressure_pa']:.0f} Pa."
        )


FIGURES = (
    *("name", "handbook_name", "group", "c_radial_per_pct", "c_tangential_per_pct"),
    *("shrinkage_radial_pct", "shrinkage_tangential_pct", "specific_gravity_12pct", "specific_gravity_green"),
    *("moe_mpa", "tension_perp_kpa", "et_el", "er_el", "fibre_saturation_pct"),
)


def _species_document(wood: Species) -> dict[str, Any]:
    sources = {
        quantity: {"source": fact.source, "provenance": fact.provenance, "note": fact.note}
        for quantity, fact in wood.facts.items()
    }
    return {name: getattr(wood, name) for name in FIGURES} | {"sources": sources}


def species(
    name: Annotated[str | None, typer.Argument(help="A wood's name; none lists them all.")] = None,
    as_json: AsJson = False,
) -> None:
    """How a wood moves, how heavy and stiff it is, and where each figure comes from."""
    if name is None:
        woods = all_species()
        if as_json:
            give_json([_species_document(wood) for wood in woods])
            return
        give_table(
            ["wood", "radial /%", "tangential /%", "read"],
            [
                [
                    wood.name,
                    _figure(wood.c_radial_per_pct),
                    _figure(wood.c_tangential_per_pct),
                    wood.facts["c_tangential_per_pct"].words if "c_tangential_per_pct" in wood.facts else "",
                ]
                for wood in woods
            ],
        )
        return
    wood = find_species(name)
    if as_json:
        give_json(_species_document(wood))
        return
    say(f"{wood.name} ({wood.handbook_name}, {wood.group})")
    rows = []
    for quantity, value in _species_document(wood).items():
        if isinstance(value, (int, float)):
            fact = wood.facts.get(quantity)
            rows.append([quantity, f"{value:g}", f"{fact.source}: {fact.words}" if fact else ""])
    give_table(["figure", "value", "where from"], rows)


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.5f}"


def width(
    species_name: Annotated[str, typer.Option("--species", help="The wood.")],
    width_text: Annotated[
        str, typer.Option("--width", help='Width across the grain, as 368mm or "14 1/2in".')
    ],
    from_mc: Annotated[float, typer.Option("--from", help="MC at which it was measured [%].")],
    to_mc: Annotated[float, typer.Option("--to", help="MC to ask about [%].")],
    cut: Annotated[str | None, typer.Option("--cut", help="flat-sawn, rift or quarter-sawn.")] = None,
    ring_angle: Annotated[
        float | None,
        typer.Option("--ring-angle", help="Angle of the growth rings to the face, 0 to 90 degrees."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """How wide a part is at another moisture content."""
    wood = find_species(species_name)
    if (cut is None) == (ring_angle is None):
        got = "none" if cut is None else "both"
        raise BadInput("paneltide width", "--cut or --ring-angle", "must be given, one of the two", got)
    angle_deg = ring_angle_of_cut(cut) if cut is not None else float(ring_angle or 0.0)
    start_mm = parse_length_mm(width_text, "--width")
    end_mm = float(width_at(start_mm, from_mc, to_mc, movement_of(wood, angle_deg)))
    if as_json:
        give_json({"width_mm": end_mm, "change_mm": end_mm - start_mm})
        return
    word = "wider" if end_mm >= start_mm else "narrower"
    say(f"{end_mm:.2f} mm ({end_mm / 25.4:.3f} in), {abs(end_mm - start_mm):.2f} mm {word}.")


def check(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    temperature: Annotated[
        str, typer.Option("--temperature", help="Room temperature, as 20C or 68F.")
    ] = "20C",
    mc: Annotated[float | None, typer.Option("--mc", help="Give every margin at this MC [%].")] = None,
    as_json: AsJson = False,
) -> None:
    """The air in which every fit of a piece has something left, and which fit gives out first."""
    piece = read_piece_file(piece_file)
    document = checked(piece, parse_temperature_c(temperature, "--temperature"), mc)
    inside = all(limit["margin_mm"] >= 0 for fit in document["fits"].values() for limit in fit["limits"])
    if as_json:
        give_json(document)
    else:
        say(f"{document['piece']}: {_comfort_words(document)}")
        say(f"  design range: {_range_words(document)}")
        for end, word in (("low", "dry end"), ("high", "wet end")):
            governing = document["governing"][end]
            if governing:
                limits = document["fits"][governing["fit"]]["limits"]
                says = next(limit["says"] for limit in limits if limit["name"] == governing["limit"])
                say(f"  {word}: {says}")
        for caution in document["cautions"]:
            say(f"  {caution}")
        rows = [
            [
                name,
                limit["says"],
                limit["severity"],
                f"{limit['margin_mm']:.2f} mm",
                "none" if limit["mc_at_limit_pct"] is None else f"{limit['mc_at_limit_pct']:.1f} %",
            ]
            for name, fit in document["fits"].items()
            for limit in fit["limits"]
        ]
        give_table(["fit", "limit", "", "left", "at MC"], rows)
    if not inside:
        raise typer.Exit(1)


def _comfort_words(document: dict[str, Any]) -> str:
    reason = document["comfort_reason"]
    if reason:
        return f"{reason[0].lower()}{reason[1:]}"
    low, high = document["comfort_rh_low_pct"], document["comfort_rh_high_pct"]
    return f"comfortable at {low:.0f} to {high:.0f} % RH"


def _range_words(document: dict[str, Any]) -> str:
    """The bare range, rounded inward."""
    low, high = document["rh_low_pct"], document["rh_high_pct"]
    at = f"at {document['temperature_c']:g} °C"
    if document["empty"]:
        return "none, its fits disagree"
    if low is None and high is None:
        return f"no limit in any air {at}"
    if low is None:
        return f"up to {floor(high)} % RH {at}"
    if high is None:
        return f"{ceil(low)} % RH and up {at}"
    return f"{ceil(low)} to {floor(high)} % RH {at}"


def cut(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    fit: Annotated[str, typer.Option("--fit", help="The fit to cut for.")],
    mc: Annotated[float, typer.Option("--mc", help="MC of the stock today [%].")],
    mc_range: Annotated[str, typer.Option("--range", help="MC range of its home, as 6-11.")],
    as_json: AsJson = False,
) -> None:
    """How wide to cut a panel today, and how deep to groove for it."""
    piece = read_piece_file(piece_file)
    bounds = span_of(mc_range, "--range", "moisture contents", "6-11")
    if as_json:
        give_json(cut_document(piece, fit, mc, bounds))
        return
    from dashboard.display import Display
    from dashboard.paper.cards import plain_sentence
    from dashboard.sheet import steps_of

    display = Display(load_settings().units)
    for parts in cut_document(piece, fit, mc, bounds, steps_of(display))["parts"]:
        say(plain_sentence(parts, display).replace("\u00a0", " "))
