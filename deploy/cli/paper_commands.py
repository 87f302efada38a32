"""Commands before the saw and after the van: plan, deliver, sheet, foretold, contact."""

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from deploy.cli import NO
from deploy.cli.answer import (
    AsJson,
    OutPdf,
    UnitsText,
    display_of,
    give_done,
    give_json,
    give_table,
    length_given,
    say,
    say_wood,
    span_given,
    wood_given,
    write_file,
)
from deploy.cli.wood_commands import read_piece_file
from deploy.settings import load_settings
from deploy.wiring import clock_of, open_book
from model.records.acts.places import place_named
from model.records.store import Store
from model.wood.design.cautions import wood_provenance
from model.wood.errors import BadInput
from model.words.display import Display, plain
from model.words.reasons import in_sentences

if TYPE_CHECKING:
    from model.wood.design.construction import PatternChoice

PieceText = Annotated[str, typer.Argument(help="A recorded piece's name, or a piece file (.toml).")]
PieceName = Annotated[str, typer.Argument(help="A recorded piece's name.")]


def sheet(
    piece: PieceText,
    out: OutPdf,
    paper: Annotated[
        Literal["a4", "letter"] | None,
        typer.Option("--paper", case_sensitive=False, help="Size of the page."),
    ] = None,
    units: UnitsText = None,
    rh: Annotated[
        str | None,
        typer.Option(
            "--rh", help="Humidities of the home over its year, as 20-50, instead of those recorded."
        ),
    ] = None,
    job: Annotated[
        bool, typer.Option("--job", help="The maker's job sheet instead of the client's.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Write a piece's client sheet, or its job sheet, as a PDF."""
    from dataclasses import replace

    from dashboard.paper.job import JobFacts, job_sheet
    from dashboard.paper.sheet import (
        ClientFacts,
        Contact,
        client_facts,
        client_sheet,
        contact_of,
        piece_row,
    )
    from model.answers.annual_range import given_year, usual_year
    from model.wood.design.design_range import design_range

    display = display_of(units)
    if piece.lower().endswith(".toml"):
        wood, now, contact = read_piece_file(Path(piece)), clock_of(load_settings())(), Contact()
        if Store(load_settings().database).exists():
            with open_book()[0].session() as session:
                contact = contact_of(session)
        facts = ClientFacts(wood, design_range(wood), usual_year(wood), contact=contact, made_at=now)
        recorded_at = now
    else:
        store, now = open_book()
        with store.session() as session:
            row = piece_row(session, piece)
            facts, recorded_at = client_facts(session, row.id, now), row.recorded_at
    if rh is not None:
        low, high = span_given(rh, "--rh", "humidities", "20-50")
        facts = replace(facts, year=given_year(facts.piece, low, high, place=facts.place))
    if job:
        written = JobFacts(facts.piece, facts.year, facts.place, recorded_at, facts.zone, now)
        content = job_sheet(written, display, paper)
    else:
        content = client_sheet(facts, display, paper)
    write_file(out, content, ".pdf", as_json=as_json)


def plan(
    what: Annotated[
        str, typer.Argument(help="side, door, top, back or bottom; or a piece file, a drawn case among them.")
    ],
    species: Annotated[str | None, typer.Option("--species", help="The wood.")] = None,
    width: Annotated[
        str | None, typer.Option("--width", help='Across the grain, as 500mm or "19 1/2in".')
    ] = None,
    length: Annotated[str | None, typer.Option("--length", help="Along the grain.")] = None,
    thickness: Annotated[str | None, typer.Option("--thickness", help="Of the part.")] = None,
    rh: Annotated[
        str | None, typer.Option("--rh", help="Humidities of its home over the year, as 20-50.")
    ] = None,
    home: Annotated[
        str | None, typer.Option("--home", help="Or its home, a recorded place, by its recorded year.")
    ] = None,
    cut: Annotated[str, typer.Option("--cut", help="flat-sawn, rift or quarter-sawn.")] = "flat-sawn",
    mc: Annotated[float, typer.Option("--mc", help="MC of the stock when it is fitted [%].")] = 8.0,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """A part as slab, in a frame and of sheet goods side by side for a home; or a whole piece for it."""
    if what.endswith(".toml"):
        from deploy.cli.plan_piece import plan_piece

        plan_piece(Path(what), rh, home, units, as_json)
        return
    needed = {"--species": species, "--width": width, "--length": length, "--thickness": thickness}
    for option, given in needed.items():
        if given is None:
            raise BadInput("", option, "must be given to plan a part", "nothing")
    wood, across, along, thick = (str(given) for given in needed.values())
    _plan_part(what, (wood, across, along, thick), rh, home, cut, mc, units, as_json)


def _plan_part(
    role: str,
    sizes: tuple[str, str, str, str],
    rh: str | None,
    home: str | None,
    cut: str,
    mc: float,
    units: UnitsText,
    as_json: bool,
) -> None:
    from model.answers.annual_range import home_of_part
    from model.wood.design.construction import HomeRange, PartWanted, compare
    from model.wood.design.part_request import ROLES
    from model.wood.material.movement import ring_angle_of_cut

    species, width, length, thickness = sizes
    known = {name: name for name in ROLES}
    if role not in known:
        raise BadInput("", "part", f"must be one of {', '.join(ROLES)}", role)
    part = PartWanted(
        known[role],
        length_given(width, "--width"),
        length_given(length, "--length"),
        length_given(thickness, "--thickness"),
        wood_given(species, "--species"),
        ring_angle_of_cut(cut, "", "--cut"),
        mc,
    )
    if home is not None and rh is None:
        store, now = open_book()
        with store.session() as session:
            place = place_named(session, home)
            year, known_from = home_of_part(session, part, place.id, place.name, now)
    elif rh is not None and home is None:
        year = HomeRange.of_humidity(*span_given(rh, "--rh", "humidities", "20-50"))
        known_from = f"{rh} % RH as given, held long enough"
    else:
        raise BadInput("", "home", "must be one of --home and --rh", "both" if home else "neither")
    display = display_of(units)
    found = compare(part, year, display.steps)
    if as_json:
        give_json(
            {
                "role": role,
                "home": home,
                "known_from": known_from,
                "mc_range_pct": list(found.home.mc_range_pct),
                "advised": found.advised,
                "says": plain(in_sentences(found.reason, display)),
                "provenance": wood_provenance(part.species),
                "choices": [_spoken(choice, display) for choice in found.choices],
            }
        )
        return
    say(in_sentences(found.reason, display))
    say_wood(part.species, species)
    if home is not None:
        say(f"Of {home}: {known_from}.")
    rows = [
        [
            choice.title,
            choice.verdict,
            display.with_doubt(choice.outside_movement_mm, choice.movement_doubt_mm, finest=64),
            display.weight(choice.layout.weight_kg),
            display.lumber(choice.layout.stock.buy_board_feet),
            in_sentences(choice.reasons, display),
        ]
        for choice in found.choices
    ]
    give_table(["", "verdict", "moves", "weighs", "buy", "why"], rows)


def _spoken(choice: "PatternChoice", display: Display) -> dict[str, Any]:
    """A choice as one row with its document, its reasons in sentences."""
    told = {
        name: [plain(in_sentences(reason, display)) for reason in getattr(choice, name)]
        for name in ("reasons", "fixed_across")
    }
    keys = [reason.key for reason in choice.reasons]
    return choice.row() | told | {"reason_keys": keys, "document": choice.document}


def deliver(
    piece: PieceName,
    to: Annotated[str, typer.Option("--to", help="The place it is to go to.")],
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """Hold a piece or deliver it, from the air recorded where it is to go."""
    from dashboard.paper.sheet import piece_row
    from model.answers.annual_range import moisture_now, recorded_air
    from model.answers.delivery import delivery_note
    from model.records.acts.book import load_piece

    store, now = open_book()
    with store.session() as session:
        row, place = piece_row(session, piece), place_named(session, to)
        note = delivery_note(
            load_piece(session, row),
            moisture_now(session, row.id, now),
            recorded_air(session, place.id, now),
            place.name,
            now,
        )
    line = partial(in_sentences, display=display_of(units))
    if as_json:
        told = {name: [plain(line(one)) for one in getattr(note, name)] for name in ("reasons", "advice")}
        keys = [reason.key for reason in note.reasons]
        give_json({"piece": piece, "place": to, **note.document(), **told, "reason_keys": keys})
    else:
        say(line(note.headline))
        for reason in (*note.reasons, *note.advice):
            say(f"  {line(reason)}")
    if note.answer != "deliver":
        raise typer.Exit(NO)


def foretold(
    piece: Annotated[str | None, typer.Argument(help="A recorded piece's name; none means all.")] = None,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """What was foretold against what was measured: how many lay in their band, bias and spread."""
    from dashboard.paper.sheet import piece_row
    from model.answers.record_of_fact import agreement_document
    from model.answers.validation import agreement
    from model.words.record_text import coverage_sentences, difference_said, spread_sentence

    store, now = open_book()
    with store.session() as session:
        found = agreement(session, now, piece_row(session, piece).id if piece else None)
    if as_json:
        give_json(agreement_document(found))
        return
    if not found.compared:
        say("Nothing has been measured since it was built.")
        return
    display = display_of(units)

    def told(value: float | None, quantity: str) -> str:
        if value is None:
            return "-"
        return display.length(value, finest=64) if quantity.endswith("_mm") else f"{value:.1f} %"

    rows = [
        [
            f"{one.at:%Y-%m-%d}",
            one.piece,
            one.fit or one.member,
            one.quantity,
            told(one.predicted, one.quantity),
            "-" if one.doubt is None else f"± {difference_said(one.quantity, one.doubt, display)}",
            told(one.measured, one.quantity),
            {None: "-", True: "yes", False: "no"}[one.is_within],
        ]
        for one in found.compared
    ]
    give_table(["when", "piece", "where", "what", "foretold", "doubt", "measured", "in its band"], rows)
    for sentence in coverage_sentences(vars(found.coverage)):
        say(sentence)
    for spread in found.overall:
        say(spread_sentence(vars(spread), display))


def contact(
    name: Annotated[str, typer.Argument(help="Who to call, as it stands on the client's sheet.")],
    line: Annotated[str, typer.Option("--line", help="How: a telephone number, an address.")] = "",
    link: Annotated[str, typer.Option("--link", help="An address that becomes a QR code.")] = "",
    as_json: AsJson = False,
) -> None:
    """Set who the client calls, as printed on every client sheet."""
    from dashboard.paper.sheet import keep_contact

    store, _ = open_book()
    with store.session() as session:
        keep_contact(session, name, line, link)
    give_done(as_json, "contact", name, f"{name} stands on the client sheets from now on.")
