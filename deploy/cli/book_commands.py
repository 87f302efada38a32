"""Commands that write and read the book: place, piece and stack, and how everything stands now."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import typer
from sqlalchemy import select

from deploy.cli.answer import (
    AsJson,
    UnitsText,
    display_of,
    give_done,
    give_json,
    give_table,
    say,
    temperature_given,
)
from deploy.cli.list_command import Keep, ListFile, take_list
from deploy.cli.wood_commands import read_piece_file
from deploy.settings import load_settings
from deploy.wiring import open_book
from model.records.acts import book
from model.records.acts.clients import client_named
from model.records.acts.places import add_place, place_named
from model.records.queries import overview as queries
from model.records.schema.tables import PieceRow
from model.wood.errors import BadInput
from model.wood.material import metering
from model.wood.material.species import named_here
from model.wood.units import parse_thickness_mm
from model.words.display import Display, plain
from model.words.reasons import in_sentences

SinceText = Annotated[
    str | None, typer.Option("--since", help="Since when, as 2026-01-31 or with a time; none means now.")
]
places = typer.Typer(help="Places with air of their own.")
pieces = typer.Typer(help="Built pieces.")
stacks = typer.Typer(help="Stacks of lumber.")

PlaceName = Annotated[str, typer.Option("--place", help="The place's name.")]


def instant_of(text: str | None, zone: str, now: datetime) -> datetime:
    """An aware UTC instant from a date or date and time, in the place's zone unless it has an offset."""
    if text is None:
        return now
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        rule = "must be a date such as 2026-01-31, with or without a time"
        raise BadInput("", "instant", rule, text) from None
    if at.tzinfo is None:
        at = at.replace(tzinfo=ZoneInfo(zone))
    return at.astimezone(UTC)


PlaceKind = Annotated[
    Literal["shop", "storage", "home"] | None,
    typer.Option("--kind", help="Of a place not recorded yet."),
]


@places.command("add")
def place_add(
    name: Annotated[str, typer.Argument(help="What you call it.")],
    kind: Annotated[str, typer.Option("--kind", help="shop, storage or home.")],
    zone: Annotated[str, typer.Option("--zone", help="Its time zone, as Europe/Vienna.")] = "UTC",
    iron: Annotated[
        bool, typer.Option("--iron", help="Cast iron stands there: warn when water comes on it.")
    ] = False,
    client: Annotated[str, typer.Option("--client", help="Whose home it is, by name.")] = "",
    heated: Annotated[
        Literal["steadily", "by day", "not at all"] | None,
        typer.Option("--heated", help="If not as usual: a home steadily, a shop by day, a store not at all."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Record a place with air of its own."""
    store, _ = open_book(create=True)
    with store.session() as session:
        owner, climate = client_named(session, client), {"heating": heated} if heated else None
        add_place(session, name, kind, zone=zone, has_iron=iron, client=owner, climate=climate)
    give_done(as_json, "place", name.strip(), f"{name} is recorded.")


@pieces.command("add")
def piece_add(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    place: PlaceName,
    since: SinceText = None,
    as_json: AsJson = False,
) -> None:
    """Record a piece that stands at a place."""
    piece = read_piece_file(piece_file)
    store, now = open_book()
    with store.session() as session:
        row = place_named(session, place)
        book.add_piece(session, piece, row, instant_of(since, row.zone, now), recorded_at=now)
    said = f"{piece.name} is recorded with {len(piece.members)} parts and {len(piece.fits)} fits."
    give_done(as_json, "piece", piece.name, said)


@pieces.command("move")
def piece_move(
    name: Annotated[str, typer.Argument(help="The piece's name.")],
    place: PlaceName,
    since: SinceText = None,
    as_json: AsJson = False,
) -> None:
    """Record that a piece stands at another place."""
    store, now = open_book()
    with store.session() as session:
        row = place_named(session, place)
        piece = session.scalar(select(PieceRow).where(PieceRow.name == name))
        if piece is None:
            raise BadInput("", "piece", "must be one that is recorded", name)
        book.move(session, piece, row, instant_of(since, row.zone, now))
    give_done(as_json, "piece", name, f"{name} stands at {place}.")


@pieces.command("import")
def piece_import(
    file: ListFile, keep: Keep = False, units: UnitsText = None, as_json: AsJson = False
) -> None:
    """Record pieces from a spreadsheet, a drawn case a line."""
    from dashboard.pages.pieces.piece_list import PIECES

    take_list(PIECES, file, keep, units, as_json)


@stacks.command("import")
def stack_import(
    file: ListFile, keep: Keep = False, units: UnitsText = None, as_json: AsJson = False
) -> None:
    """Record stacks from a spreadsheet, one a line."""
    from dashboard.pages.lumber.stack_list import STACKS

    take_list(STACKS, file, keep, units, as_json)


@stacks.command("add")
def stack_add(
    name: Annotated[str, typer.Argument(help="What you call it.")],
    species: Annotated[str, typer.Option("--species", help="The wood.")],
    thickness: Annotated[str, typer.Option("--thickness", help="Of a board, as 4/4, 1in or 27mm.")],
    mc: Annotated[str, typer.Option("--mc", help="What the meter showed, one a board: 8.1, 8.4, 9 [%].")],
    place: PlaceName,
    since: SinceText = None,
    assumed: Annotated[bool, typer.Option("--assumed", help="The MC is assumed, not measured.")] = False,
    dead_piled: Annotated[bool, typer.Option("--dead-piled", help="No stickers between the boards.")] = False,
    home: Annotated[str | None, typer.Option("--for", help="The place it is meant for.")] = None,
    how: Annotated[str, typer.Option("--how", help=f"{', '.join(metering.HOW)}.")] = "",
    depth: Annotated[str, typer.Option("--depth", help='"pins in", a quarter deep, or surface.')] = "",
    wood_temperature: Annotated[
        str | None, typer.Option("--wood-temperature", help="If you left its correction to us, as 50F.")
    ] = None,
    set_for_wood: Annotated[
        bool | None, typer.Option("--set-for-wood/--not-set-for-wood", help="Was the meter?")
    ] = None,
    set_for: Annotated[str, typer.Option("--set-for", help="Which wood it was set for instead.")] = "",
    booklet: Annotated[
        float | None, typer.Option("--booklet", help="The correction its booklet gives [points].")
    ] = None,
    sealed_ends: Annotated[bool, typer.Option("--sealed-ends", help="The ends are sealed.")] = False,
    prongs: Annotated[str, typer.Option("--prongs", help="Prong test: straight, in or out.")] = "",
    rest_until: Annotated[str, typer.Option("--rest-until", help="Rests until, as 2026-03-12.")] = "",
    as_json: AsJson = False,
) -> None:
    """Record a stack of lumber."""
    from dashboard.forms.fields import numbers_typed

    wood_c = None if wood_temperature is None else temperature_given(wood_temperature, "--wood-temperature")
    document: dict[str, Any] = {
        "species": named_here(species, load_settings().wood_region),
        "thickness_mm": parse_thickness_mm(thickness, what="--thickness", bare=None),
        "readings_pct": numbers_typed(mc, "--mc"),
        "mc_basis": "assumed" if assumed else "measured",
        "stickered": not dead_piled,
        "how": how,
        "depth": depth,
        "wood_c": wood_c,
        "set_for_wood": set_for_wood,
        "set_for": set_for,
        "booklet_pct": booklet,
        "sealed_ends": sealed_ends,
        "prongs": prongs,
        "rest_until": rest_until,
    }
    store, now = open_book()
    with store.session() as session:
        row = place_named(session, place)
        destination = place_named(session, home) if home else None
        book.add_stack(session, name, document, row, instant_of(since, row.zone, now), destination)
    give_done(as_json, "stack", name.strip(), f"{name} is recorded.")


def state(units: UnitsText = None, as_json: AsJson = False) -> None:
    """How every place, stack and piece stands now, and which warnings are open."""
    from model.watch.questions.standings import Standings

    store, now = open_book()
    display = display_of(units)
    if as_json:
        with store.session() as session:
            give_json(Standings(session, now, display).state())
        return
    with store.session() as session:
        shop = queries.shop(session, now, parts=False)
        listed = (queries.piece(session, piece.id, now) for piece in shop.pieces)
        found = [piece for piece in listed if piece is not None]
    rows = [
        [f"{kind}s", one.name, stands_as(one.judgement, kind), plain(in_sentences(reason, display))]
        for kind, known in (("place", shop.places), ("stack", shop.stacks))
        for one in known
        for reason in [one.judgement.reason]
    ]
    rows += [["pieces", piece.name, *_piece_row(piece, now, display)] for piece in found]
    if not rows:
        say("Nothing is recorded yet: `paneltide sensors` shows what talks.")
        return
    give_table(["", "name", "verdict", "why"], rows)
    for warning in shop.warnings:
        say(f"open since {warning.opened_at:%Y-%m-%d}: {in_sentences(warning.reason, display)}")


def stands_as(judged: queries.Judgement, kind: str) -> str:
    """How a place or stack stands, as the pages call it."""
    from dashboard.say.marks import words_for

    working = judged.verdict == "unknown" and not judged.is_current
    return "no answer yet" if working else words_for(judged.verdict, kind)


def _piece_row(piece: queries.PieceNow, now: datetime, display: Display) -> list[str]:
    """How a piece stands and why, as the pages say it."""
    from dashboard.say import piece_words

    why = [
        in_sentences(piece.judgement.reason, display),
        piece_words.prospect(piece, now),
        piece_words.history(piece, now),
    ]
    return [piece_words.stands(piece, now), " ".join(filter(None, why))]
