"""Commands that write and read the book: place, piece and stack, and how everything stands now."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import typer
from sqlalchemy import select
from sqlalchemy.orm import Session

from deploy.cli.answer import AsJson, UnitsText, display_of, give_json, give_table, say, temperature_given
from deploy.cli.wood_commands import read_piece_file
from deploy.settings import load_settings
from deploy.wiring import open_book
from model.answers.doubts import PieceDoubts
from model.records.acts import book
from model.records.acts.clients import client_named
from model.records.acts.places import add_place
from model.records.queries import overview as queries
from model.records.queries.answers import Ready
from model.records.schema.tables import Piece, Place
from model.wood.design.cautions import provenance
from model.wood.doubt import doubt_document
from model.wood.errors import BadInput
from model.wood.material import metering
from model.wood.material.species import named_here
from model.wood.reason import Reason
from model.wood.units import parse_thickness_mm
from model.words.display import Display, plain
from model.words.reasons import clause, in_sentences

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


def place_named(session: Session, name: str) -> Place:
    """A recorded place; an unknown name is answered with those there are."""
    found = session.scalar(select(Place).where(Place.name == name))
    if found is None:
        known = ", ".join(session.scalars(select(Place.name).order_by(Place.name))) or "none yet"
        raise BadInput("", "place", f"must be one that is recorded ({known})", name)
    return found


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
) -> None:
    """Record a place with air of its own."""
    store, _ = open_book(create=True)
    with store.session() as session:
        owner, climate = client_named(session, client), {"heating": heated} if heated else None
        add_place(session, name, kind, zone=zone, has_iron=iron, client=owner, climate=climate)
    say(f"{name} is recorded.")


@pieces.command("add")
def piece_add(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    place: PlaceName,
    since: SinceText = None,
) -> None:
    """Record a piece that stands at a place."""
    piece = read_piece_file(piece_file)
    store, now = open_book()
    with store.session() as session:
        row = place_named(session, place)
        book.add_piece(session, piece, row, instant_of(since, row.zone, now), recorded_at=now)
    say(f"{piece.name} is recorded with {len(piece.members)} parts and {len(piece.fits)} fits.")


@pieces.command("move")
def piece_move(
    name: Annotated[str, typer.Argument(help="The piece's name.")],
    place: PlaceName,
    since: SinceText = None,
) -> None:
    """Record that a piece stands at another place."""
    store, now = open_book()
    with store.session() as session:
        row = place_named(session, place)
        piece = session.scalar(select(Piece).where(Piece.name == name))
        if piece is None:
            raise BadInput("", "piece", "must be one that is recorded", name)
        book.move(session, piece, row, instant_of(since, row.zone, now))
    say(f"{name} stands at {place}.")


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
    sealed_ends: Annotated[bool, typer.Option("--sealed-ends", help="The ends are sealed.")] = False,
    prongs: Annotated[str, typer.Option("--prongs", help="Prong test: straight, in or out.")] = "",
    rest_until: Annotated[str, typer.Option("--rest-until", help="Rests until, as 2026-03-12.")] = "",
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
        "sealed_ends": sealed_ends,
        "prongs": prongs,
        "rest_until": rest_until,
    }
    store, now = open_book()
    with store.session() as session:
        row = place_named(session, place)
        destination = place_named(session, home) if home else None
        book.add_stack(session, name, document, row, instant_of(since, row.zone, now), destination)
    say(f"{name} is recorded.")


def state(units: UnitsText = None, as_json: AsJson = False) -> None:
    """How every place, stack and piece stands now, and which warnings are open."""
    store, now = open_book()
    with store.session() as session:
        found = _pieces(session, now)
        document = state_document(session, now, found, display_of(units))
    if as_json:
        give_json(document)
        return
    display = display_of(units)
    rows = [
        [f"{kind}s", entry["name"], stands_as(entry, kind), entry["reason"]]
        for kind in ("place", "stack")
        for entry in document[f"{kind}s"]
    ]
    rows += [["pieces", piece.name, *_piece_row(piece, now, display)] for piece in found]
    if not rows:
        say("Nothing is recorded yet: `paneltide sensors` shows what talks.")
        return
    give_table(["", "name", "verdict", "why"], rows)
    for warning in document["warnings"]:
        say(f"open since {warning['opened_at']:%Y-%m-%d}: {warning['reason']}")


def _pieces(session: Session, now: datetime) -> list[queries.PieceNow]:
    """Every piece with all that is known of it."""
    listed = queries.pieces(session, now, parts=False)
    found = (queries.piece(session, piece.id, now) for piece in listed)
    return [piece for piece in found if piece is not None]


def state_document(
    session: Session, now: datetime, pieces: Sequence[queries.PieceNow], display: Display
) -> dict[str, Any]:
    """Everything computed, as of now, its reasons in the units of `display`."""
    shop = queries.shop(session, now, parts=False)
    return {
        "at": now,
        "places": [
            {
                "name": place.name,
                "kind": place.kind,
                **_judged(place.judgement, display),
                "hour_at": place.air.hour_at if place.air else None,
                "temperature_c": place.air.temperature_c if place.air else None,
                "rh_pct": place.air.rh_pct if place.air else None,
                "basis": place.air.basis if place.air else None,
                "last_reading_at": place.last_reading_at,
            }
            for place in shop.places
        ],
        "stacks": [
            {
                "name": stack.name,
                "place": _name(stack.place),
                "for": _name(stack.destination),
                "ready": ready_document(stack.ready, display),
                **_judged(stack.judgement, display),
                **_moisture(stack.moisture),
                "intake": _intake(stack, display),
            }
            for stack in shop.stacks
        ],
        "pieces": [
            {
                "name": piece.name,
                "place": _name(piece.place),
                **_judged(piece.judgement, display),
                "next": None if piece.next is None else [coming_document(one) for one in piece.next],
                "next_reason": _said(piece.next_reason, display) if piece.next_reason else None,
                "since": [asdict(one) for one in piece.since],
                "provenance": _provenance(piece),
                "parts": [
                    {
                        "name": member.name,
                        **_moisture(member.moisture),
                        **_width_doubt(sure, member, display),
                    }
                    for member in piece.members
                ],
                "fits": [
                    {
                        "name": fit.name,
                        "kind": fit.kind,
                        **_judged(fit.judgement, display),
                        "limits": [
                            {
                                "name": margin.limit_name,
                                "direction": margin.direction,
                                "severity": margin.severity,
                                "margin_mm": margin.margin_mm,
                                "margin_doubt_mm": _total(sure, fit.name, margin.limit_name),
                                "play_mm": margin.play_mm,
                                "now": "unknown" if fit.judgement.verdict == "unknown" else margin.standing,
                                "clears": None
                                if margin.clears is None
                                else dict(zip(("from_at", "until_at"), margin.clears, strict=True)),
                            }
                            for margin in fit.margins
                        ],
                    }
                    for fit in piece.fits
                ],
            }
            for piece, sure in ((piece, _doubts(piece)) for piece in pieces)
        ],
        "warnings": [
            {
                "about": warning.subject_kind,
                "tier": warning.tier,
                "from": warning.from_verdict,
                "to": warning.to_verdict,
                "reason": _said(warning.reason, display),
                "reason_key": warning.reason.key,
                "opened_at": warning.opened_at,
                "acknowledged_at": warning.acknowledged_at,
                "trade_act": warning.trade_act,
            }
            for warning in shop.warnings
        ],
    }


def _intake(stack: queries.StackNow, display: Display) -> dict[str, Any] | None:
    """What was metered and seen of a stack when it was recorded; None where the record can't be read."""
    lumber = stack.lumber
    if lumber is None:
        return None
    metered = lumber.metered
    told = () if metered is None else metered.told(lumber.species)
    return {
        "mc_pct": lumber.mc_pct,
        "mc_doubt_pct": lumber.mc_doubt_pct,
        "doubt_by_pct": None if metered is None else dict(metered.doubt_by),
        "correction_pct": None if metered is None else metered.correction_pct,
        "readings_pct": None if metered is None else list(metered.readings_pct),
        **{name: getattr(lumber, name) for name in ("wood_c", "set_for_wood", "sealed_ends")},
        **{name: getattr(lumber, name) or None for name in ("how", "depth", "prongs", "rest_until")},
        "reason": plain(in_sentences([*told, *lumber.cautions], display)),
    }


def _judged(judgement: queries.Judgement, display: Display) -> dict[str, Any]:
    return {
        "verdict": judgement.verdict,
        "reason": _said(judgement.reason, display),
        "reason_key": judgement.reason.key,
        "since_at": judgement.since_at,
        "is_current": judgement.is_current,
    }


def stands_as(judged: Mapping[str, Any], kind: str) -> str:
    """How a place or stack stands, as the pages call it."""
    from dashboard.say.marks import words_for

    working = judged["verdict"] == "unknown" and not judged["is_current"]
    return "no answer yet" if working else words_for(judged["verdict"], kind)


def _said(reason: Reason, display: Display) -> str:
    return plain(in_sentences(reason, display))


def ready_document(ready: Ready, display: Display) -> dict[str, Any]:
    """Whether a stack is ready, as JSON; the same in `state` and in `ready`."""
    document = {name: getattr(ready, name) for name in ("is_ready", "never_here")}
    document |= {"reason": _said(ready.reason, display), "reason_key": ready.reason.key}
    return document | {name: getattr(ready, name) for name in ("from_at", "until_at", "target_mc_pct")}


def coming_document(one: queries.Coming) -> dict[str, Any]:
    """One entry of `next`: what is seen there is its reason."""
    document = {name: value for name, value in vars(one).items() if name not in ("lever", "seen")}
    seen = {"reason": clause(one.seen), "reason_key": one.seen.key}
    return document | seen | {"prevent": one.prevent}


def _piece_row(piece: queries.PieceNow, now: datetime, display: Display) -> list[str]:
    """How a piece stands and why, as the pages say it."""
    from dashboard.say import piece_words

    why = [
        in_sentences(piece.judgement.reason, display),
        piece_words.prospect(piece, now),
        piece_words.history(piece, now),
    ]
    return [piece_words.stands(piece, now), " ".join(filter(None, why))]


def _moisture(moisture: queries.Moisture | None) -> dict[str, Any]:
    names = (
        *("at", "mc_mean_pct", "mc_doubt_pct", "mc_face_pct", "mc_core_pct", "mc_back_pct"),
        *("width_mm", "estimated_hours"),
    )
    return {name: getattr(moisture, name) if moisture else None for name in names}


def _doubts(piece: queries.PieceNow) -> PieceDoubts | None:
    """How sure a piece's sizes are; None where its record can't be read."""
    from dashboard.say.piece_view import doubts_of

    return doubts_of(piece)


def _provenance(piece: queries.PieceNow) -> dict[str, Any] | None:
    """How the figures of its parts are known; None where its record can't be read."""
    from dashboard.say.piece_view import wood_piece

    wood = wood_piece(piece)
    return None if wood is None else dict(provenance(wood.members.values()))


def _width_doubt(sure: PieceDoubts | None, member: queries.MemberNow, display: Display) -> dict[str, Any]:
    if sure is None or member.moisture is None:
        return {"width_doubt_mm": None, "doubt": None}
    doubt, shrink = sure.widths[member.name], sure.advice.get(member.name)
    said = None if shrink is None else _said(shrink, display)
    return {"width_doubt_mm": doubt.total, "doubt": doubt_document(doubt, shrink) | {"reason": said}}


def _total(sure: PieceDoubts | None, fit: str, limit: str) -> float | None:
    doubt = None if sure is None else sure.margins.get((fit, limit))
    return None if doubt is None else doubt.total


def _name(place: queries.PlaceNow | None) -> str | None:
    return place.name if place else None
