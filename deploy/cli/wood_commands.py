"""Commands that ask the science and need no book: species, width, check, cut, gaps, cut-card."""

import re
from pathlib import Path
from typing import Annotated, Any

import typer

from deploy.cli.answer import (
    AsJson,
    McRange,
    MeterDoubt,
    MetersMc,
    OutPdf,
    RhRange,
    StockDoubt,
    UnitsText,
    display_of,
    give_json,
    give_table,
    home_given,
    length_given,
    say,
    say_wood,
    temperature_given,
    wood_given,
    write_file,
)
from deploy.settings import load_settings
from model.wood.design.cautions import wood_provenance
from model.wood.design.cutting import cut_document, doubt_given
from model.wood.doubt import ASSUMED_DOUBT_PCT, Knowledge, advice_at_the_saw, doubt_document, width_doubt
from model.wood.errors import BadInput
from model.wood.material.instruments import METER_UNCERTAINTY_PCT
from model.wood.material.member import Member
from model.wood.material.movement import movement_of, ring_angle_of_cut, width_at
from model.wood.material.species import all_species
from model.wood.piece import Piece, read_piece
from model.words.display import humidity_range, mc_with_doubt, plain
from model.words.limits import checked, cut_said
from model.words.reasons import in_sentences


def read_piece_file(path: Path) -> Piece:
    """The piece in a TOML file; a file that can't be read is bad input."""
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise BadInput(str(path), "piece file", "must be readable UTF-8 text", reason) from error
    piece = read_piece(text, str(path), load_settings().wood_region)
    if re.search(r"^\s*\[member\.", text, re.MULTILINE):
        typer.echo(f"{path}: parts are called [part.name] now; [member.name] is read as the same.", err=True)
    return piece


def species(
    name: Annotated[str | None, typer.Argument(help="A wood's name; none lists them all.")] = None,
    as_json: AsJson = False,
) -> None:
    """How a wood moves, how heavy and stiff it is, and where each figure comes from."""
    from deploy.cli.wood_records import SpeciesRecord

    if name is None:
        woods = all_species()
        if as_json:
            give_json([SpeciesRecord.model_validate(wood).json_data() for wood in woods])
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
    wood = wood_given(name, "wood")
    record = SpeciesRecord.model_validate(wood)
    if as_json:
        give_json(record)
        return
    say(f"{wood.name} ({wood.handbook_name}, {wood.group})")
    say_wood(wood, name)
    rows = []
    for quantity, value in record:
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
    mc_doubt: MeterDoubt = METER_UNCERTAINTY_PCT,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """How wide a part is at another moisture content, and how sure that is."""
    wood = wood_given(species_name, "--species")
    if (cut is None) == (ring_angle is None):
        got = "none" if cut is None else "both"
        raise BadInput("paneltide width", "--cut or --ring-angle", "must be given, one of the two", got)
    angle_deg = ring_angle_of_cut(cut) if cut is not None else float(ring_angle or 0.0)
    start_mm = length_given(width_text, "--width")
    end_mm = float(width_at(start_mm, from_mc, to_mc, movement_of(wood, angle_deg)))
    part = Member("part", wood, angle_deg, start_mm, from_mc, 20.0)
    known = Knowledge(to_mc, doubt_given(mc_doubt), shared=1.0 if to_mc == from_mc else 0.0)
    doubt = width_doubt(part, known)
    shrink = advice_at_the_saw(doubt, known)
    if as_json:
        sure = {
            "width_doubt_mm": doubt.total,
            "mc_doubt_pct": mc_doubt,
            "doubt": doubt_document(doubt, shrink),
        }
        change_mm = end_mm - start_mm
        known_from = {"provenance": wood_provenance(wood)}
        give_json({"width_mm": end_mm, "change_mm": change_mm, **sure, **known_from})
        return
    display = display_of(units)
    word = "wider" if end_mm >= start_mm else "narrower"
    change = display.length(abs(end_mm - start_mm), finest=64)
    wide = display.with_doubt(end_mm, doubt.total, finest=64)
    say(f"{wide} at {to_mc:g} %, {change} {word} than at {from_mc:g} %.")
    if shrink is not None:
        say(in_sentences(shrink, display))
    say_wood(wood, species_name)


def check(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    temperature: Annotated[
        str, typer.Option("--temperature", help="Room temperature, as 20C or 68F.")
    ] = "20C",
    mc: Annotated[float | None, typer.Option("--mc", help="Give every margin at this MC [%].")] = None,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """The air in which every fit of a piece has something left, and which fit gives out first."""
    piece = read_piece_file(piece_file)
    display = display_of(units)
    document = checked(piece, temperature_given(temperature, "--temperature"), mc, display)
    inside = all(limit["margin_mm"] >= 0 for fit in document["fits"].values() for limit in fit["limits"])
    if as_json:
        give_json(document)
    else:
        say(f"{document['piece']}: {_comfort_words(document)}")
        say(f"  design range: {_range_words(document, display.temperature(document['temperature_c']))}")
        for end, word in (("low", "dry end"), ("high", "wet end")):
            governing = document["governing"][end]
            if governing:
                limits = document["fits"][governing["fit"]]["limits"]
                says = next(limit["says"] for limit in limits if limit["name"] == governing["limit"])
                say(f"  {word}: {says}")
        for caution in document["cautions"]:
            say(f"  {plain(caution)}")
        rows = [
            [
                name,
                limit["says"],
                limit["severity"],
                display.margin(limit["margin_mm"], limit["margin_doubt_mm"]),
                "none"
                if limit["mc_at_limit_pct"] is None
                else mc_with_doubt(limit["mc_at_limit_pct"], limit["mc_at_limit_doubt_pct"]),
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


def _range_words(document: dict[str, Any], temperature: str) -> str:
    """The bare range, rounded inward, with how far its ends may be out."""
    ends = [document[name] for name in ("rh_low_pct", "rh_high_pct", "rh_low_doubt_pct", "rh_high_doubt_pct")]
    if document["empty"]:
        return "none, its fits disagree"
    if ends[:2] == [None, None]:
        return f"no limit in any air at {temperature}"
    return plain(f"{humidity_range(*ends)} RH at {temperature}")


def cut(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    fit: Annotated[str, typer.Option("--fit", help="The fit to cut for.")],
    mc: MetersMc,
    mc_range: McRange = None,
    rh_range: RhRange = None,
    mc_doubt: StockDoubt = None,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """How to cut, groove or slot for a fit today: three widths, and what will not work."""
    display = display_of(units)
    year = home_given(mc_range, rh_range)
    document = cut_document(read_piece_file(piece_file), fit, mc, year, display.steps, mc_doubt)
    said = [plain(one) for one in cut_said(document, display)]
    if as_json:
        number = len(document.pop("reasons"))
        give_json(document | {"sentences": said[:number], "cautions": said[number:]})
        return
    for told in said:
        say(told)


def cut_card(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    fit: Annotated[str, typer.Option("--fit", help="The fit to cut for.")],
    mc: MetersMc,
    out: OutPdf,
    mc_range: McRange = None,
    rh_range: RhRange = None,
    mc_doubt: StockDoubt = None,
    home: Annotated[str, typer.Option("--for", help="What the home is called.")] = "",
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """Write one card for the saw as a PDF: width to cut, groove, gap or slot, for today and a home."""
    from dashboard.paper.sheet import cut_card as card
    from deploy.wiring import clock_of
    from model.wood.design.cutting import cut_document

    display = display_of(units)
    year = home_given(mc_range, rh_range)
    document = cut_document(read_piece_file(piece_file), fit, mc, year, display.steps, mc_doubt)
    write_file(out, card(document, display, clock_of(load_settings())(), home), ".pdf", as_json=as_json)


def gaps(
    species_name: Annotated[str, typer.Option("--species", help="The wood of the fronts.")],
    height: Annotated[list[str], typer.Option("--height", help="Height of an opening; once for each.")],
    cut_name: Annotated[str, typer.Option("--cut", help="flat-sawn, rift or quarter-sawn.")] = "flat-sawn",
    mc_range: McRange = None,
    rh_range: RhRange = None,
    south: Annotated[bool, typer.Option("--south", help="The shop lies south of the equator.")] = False,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """The gaps of a bank of drawers, by their height and the month they are fitted."""
    from model.wood.design.gap_table import MONTHS, gap_table, shop_mc_pct

    display = display_of(units)
    wood = wood_given(species_name, "--species")
    angle_deg = ring_angle_of_cut(cut_name, "", "--cut")
    year = home_given(mc_range, rh_range)
    rows = gap_table(
        movement_of(wood, angle_deg),
        [length_given(one, "--height") for one in height],
        year,
        south,
        display.steps,
    )
    middle_pct = sum(shop_mc_pct(south)) / 12.0

    def doubt_mm(height_mm: float, start_doubt_pct: float) -> float:
        front = Member("front", wood, angle_deg, height_mm, middle_pct, 20.0)
        return max(width_doubt(front, Knowledge(end_pct, start_doubt_pct)).total for end_pct in year)

    doubts = [doubt_mm(row.height_mm, ASSUMED_DOUBT_PCT) for row in rows]
    if as_json:
        found = [vars(row) | {"gap_doubt_mm": doubt} for row, doubt in zip(rows, doubts, strict=True)]
        known = {"provenance": wood_provenance(wood)}
        give_json({"range_mc_pct": year, "assumed_mc_pct": shop_mc_pct(south), "rows": found, **known})
        return
    say(
        f"Leave this gap above each front [{display.length_unit}], "
        f"for a home of {year[0]:.1f} to {year[1]:.1f} %."
    )
    table = [
        [
            display.length(row.height_mm, finest=64),
            *(
                display.bare_length(gap, "up", 64) + ("" if right else "*")
                for gap, right in zip(row.gaps_mm, row.looks_right, strict=True)
            ),
            display.bare_doubt(doubt),
        ]
        for row, doubt in zip(rows, doubts, strict=True)
    ]
    give_table(["height", *MONTHS, "±"], table)
    if any(not right for row in rows for right in row.looks_right):
        say("* opens wider than looks right by the dry end: fit it in winter, or use quartered stock.")
    say_wood(wood, species_name)
    say("The month stands for stock that nobody metered, in a heated shop. Metered stock: paneltide cut.")
    widest = max(row.height_mm for row in rows)
    before, then = (
        display.doubt(doubt_mm(widest, pct)) for pct in (ASSUMED_DOUBT_PCT, METER_UNCERTAINTY_PCT)
    )
    if then != before:
        say(f"Meter the stock, and ± {before} at the highest becomes ± {then}.")
