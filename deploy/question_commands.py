"""The maker's three questions: glue up today, is this stack ready, what will this piece do."""

from typing import Annotated, Any

import typer

from deploy.answer import NO, AsJson, give_json, give_table, say
from deploy.wiring import open_book
from model.records import queries
from model.wood.units import parse_temperature_c


def glue_up(
    place: Annotated[str, typer.Argument(help="The place's name.")],
    adhesive: Annotated[str | None, typer.Option("--adhesive", help="By name; else the usual one.")] = None,
    stack: Annotated[
        list[str] | None, typer.Option("--stack", help="Glued together; else each stack here by itself.")
    ] = None,
    wood: Annotated[
        str | None, typer.Option("--wood", help="The wood's temperature, as 18C or 64F; else from the air.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Glue up here today? Answers go, wait or not today, and why."""
    from model.watch.questions import glue_up as ask

    store, now = open_book()
    wood_c = parse_temperature_c(wood, "--wood") if wood else None
    answer = ask(store, place, now, adhesive, tuple(stack or ()), wood_c)
    lines = answer.detail["stacks"]
    if as_json:
        give_json(answer.document())
    else:
        told = {line["name"] for line in lines}
        waiting = [line["name"] for line in lines if line["verdict"] != "go"] if answer.yes else []
        say(f"{answer.subject}: {answer.verdict}{', but not with ' if waiting else ''}{', '.join(waiting)}.")
        for reason in answer.reasons:
            if reason.numbers.get("stack") not in told:
                say(f"  {'✗' if reason.against else '·'} {reason.says}.")
        for line in lines:
            say(f"  {line['name']}: {line['verdict']}. {line['says']}.")
    if not answer.yes:
        raise typer.Exit(NO)


def ready(
    stack: Annotated[str, typer.Argument(help="The stack's name.")],
    as_json: AsJson = False,
) -> None:
    """Has this stack settled for the home it is meant for? If not, when. The answer that `state` has too."""
    store, now = open_book()
    with store.session() as session:
        found = queries.stack_named(session, now, stack)
    answer = found.ready
    place, home = (None if one is None else one.name for one in (found.place, found.destination))
    if as_json:
        give_json({"stack": found.name, "place": place, "for": home, "ready": answer.document()})
    else:
        stands = (f" at {place}" if place else "") + (f", for {home}" if home else "")
        say(f"{found.name}{stands}: {'ready' if answer.is_ready else 'not ready'}.")
        say(f"  {answer.reason}.")
    if not answer.is_ready:
        raise typer.Exit(NO)


def outlook(
    piece: Annotated[str, typer.Argument(help="The piece's name.")],
    as_json: AsJson = False,
) -> None:
    """The coming year of a piece: every margin by month, and how likely each limit is crossed."""
    from model.watch.questions import outlook_document

    store, now = open_book()
    document = outlook_document(store, piece)
    if as_json:
        give_json(document)
        return
    _say_how_it_stands(store, piece, now)
    rows = []
    for limit in document["limits"]:
        margins = [
            (month["month"], month["fits"][limit["fit"]][limit["limit"]]["margin_mm"])
            for month in document["months"]
        ]
        month, least = min(margins, key=lambda one: one[1]["p50"])
        spread = " / ".join(f"{least[name]:.1f}" for name in ("p10", "p50", "p90"))
        rows.append([limit["fit"], limit["limit"], f"{100 * limit['chance']:.0f} %", f"{spread} mm", month])
    give_table(["fit", "limit", "chance", "least left: p10 / p50 / p90", "in"], rows)


def _say_how_it_stands(store: Any, name: str, now: Any) -> None:
    """How the piece stands and what the year is likely to bring, as the pages say it."""
    from dashboard import piece_words
    from model.records import queries

    with store.session() as session:
        found = next(
            one for one in queries.pieces(session, now, retired=True, parts=False) if one.name == name
        )
    say(f"{name}: {piece_words.stands(found, now)}. {piece_words.prospect(found, now)}".strip())
