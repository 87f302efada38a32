"""The maker's questions: glue up today, is this stack ready, what will this piece do, what to measure."""

from datetime import datetime
from typing import Annotated, Any

import typer

from deploy.cli import NO
from deploy.cli.answer import AsJson, UnitsText, display_of, give_json, give_table, say, temperature_given
from deploy.cli.book_commands import stands_as
from deploy.wiring import open_book
from model.records.queries import overview as queries
from model.records.store import Store
from model.wood.air.sorption import SETTLES_SD_PCT
from model.wood.errors import BadInput
from model.wood.reason import Reason
from model.words.display import Display, plain
from model.words.limits import limits_said
from model.words.reasons import in_sentences


def glue_up(
    place: Annotated[str, typer.Argument(help="The place's name.")],
    adhesive: Annotated[str | None, typer.Option("--adhesive", help="By name; else the usual one.")] = None,
    stack: Annotated[
        list[str] | None, typer.Option("--stack", help="Glued together; else each stack here by itself.")
    ] = None,
    wood: Annotated[
        str | None, typer.Option("--wood", help="The wood's temperature, as 18C or 64F; else from the air.")
    ] = None,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """Glue up here today? Answers go, wait or not today, and why."""
    from model.watch.questions.glue_up import glue_up as ask
    from model.watch.questions.glue_up import is_against

    store, now = open_book()
    wood_c = temperature_given(wood, "--wood") if wood else None
    answer = ask(store, place, now, adhesive, tuple(stack or ()), wood_c)
    display, lines = display_of(units), answer.detail["stacks"]
    if as_json:
        give_json(_spoken(answer.document(), display))
    else:
        told = {line["name"] for line in lines}
        waiting = [line["name"] for line in lines if line["verdict"] != "go"] if answer.yes else []
        say(f"{answer.subject}: {answer.verdict}{', but not with ' if waiting else ''}{', '.join(waiting)}.")
        for reason in answer.reasons:
            if reason.values.get("stack") not in told:
                say(f"  {'✗' if is_against(reason) else '·'} {in_sentences(reason, display)}")
        for line in lines:
            say(f"  {line['name']}: {line['verdict']}. {in_sentences(Reason.of(line['ready']), display)}")
    if not answer.yes:
        raise typer.Exit(NO)


def _spoken(document: dict[str, Any], display: Display) -> dict[str, Any]:
    """The answer with a sentence beside each reason."""

    def says(reason: dict[str, Any]) -> str:
        return plain(in_sentences(Reason.of(reason), display))

    lines = [
        {**line, "why": [says(one) for one in line["why"]], "says": says(line["ready"]),
         "reasons": [says(one) for one in line["reasons"]]}
        for line in document["stacks"]
    ]  # fmt: skip
    for line in lines:
        del line["ready"]
    reasons = [{"against": False, **one, "says": says(one)} for one in document["reasons"]]
    return document | {"reasons": reasons, "stacks": lines}


def ready(
    stack: Annotated[str, typer.Argument(help="The stack's name.")],
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """Has this stack settled for the home it is meant for? If not, when. The answer that `state` has too."""
    store, now = open_book()
    display = display_of(units)
    with store.session() as session:
        found = queries.stack_named(session, now, stack)
        answer = found.ready
        if as_json:
            from model.watch.questions.standings import Standings

            give_json(Standings(session, now, display).stack_ready(found))
    place, home = (None if one is None else one.name for one in (found.place, found.destination))
    if not as_json:
        stands = (f" at {place}" if place else "") + (f", for {home}" if home else "")
        say(f"{found.name}{stands}: {stands_as(found.judgement, 'stack')}.")
        say(f"  {in_sentences(answer.reason, display)}")
    if not answer.is_ready:
        raise typer.Exit(NO)


def measure(units: UnitsText = None, as_json: AsJson = False) -> None:
    """What to measure next, what matters most first: what it would settle, and from when to when it helps."""
    from model.answers.records import MeasuresRecord
    from model.watch.questions.standings import Standings

    store, now = open_book()
    with store.session() as session:
        found = Standings(session, now, display_of(units)).measure()
    if as_json:
        give_json(MeasuresRecord(at=now, measure=found).json_data())
        return
    if not found:
        say("Nothing that could be measured today would decide anything.")
    for one in found:
        mark = "→" if one.is_asked else "·"
        useful = f"{one.from_at:%Y-%m-%d} to {one.until_at:%Y-%m-%d}"
        say(f"{mark} {one.name}: {one.reason} Useful {useful}.")


def outlook(
    piece: Annotated[str, typer.Argument(help="The piece's name.")],
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """The coming year of a piece: every margin by month, and how likely each limit is crossed."""
    from model.records.queries.outlooks import UNHEARD, outlook_document

    store, now = open_book()
    found = _piece_now(store, piece, now)
    if found is not None and found.next is None:
        is_silent = found.judgement.is_current and found.judgement.verdict == "unknown"
        raise BadInput("outlook", "piece", UNHEARD if is_silent else WORKING, piece)
    document = outlook_document(store, piece)
    display = display_of(units)
    if as_json:
        from model.watch.questions.standings import Standings

        with store.session() as session:
            told = Standings(session, now, display)
            document["next"] = [told.next(one).json_data() for one in (found and found.next) or ()]
        give_json(document)
        return
    if found is not None:
        _say_how_it_stands(found, now)
    said = {} if found is None else _limits_of(store, found.id, now)
    rows = []
    for limit in document["limits"]:
        margins = [
            (month["month"], month["fits"][limit["fit"]][limit["limit"]]["margin_mm"])
            for month in document["months"]
        ]
        month, least = min(margins, key=lambda one: one[1]["p50"])
        spread = " / ".join(display.bare_length(least[name], "down", 64) for name in ("p10", "p50", "p90"))
        left = f"{spread} {display.length_unit}"
        seen = said.get(limit["fit"], {}).get(limit["limit"], "not known")
        rows.append([limit["fit"], seen, f"{100 * limit['chance']:.0f} %", left, month])
    give_table(["fit", "limit", "chance", "least left: p10 / p50 / p90", "in"], rows)
    say(in_sentences(Reason("settles-off", {"settles_pct": SETTLES_SD_PCT}), display))


WORKING = "must be worked out first: ask again in a few minutes"


def _piece_now(store: Store, name: str, now: datetime) -> queries.PieceNow | None:
    """A piece as it stands; none when there is no such piece."""
    with store.session() as session:
        known = queries.pieces(session, now, retired=True, parts=False)
    return next((one for one in known if one.name == name), None)


def _limits_of(store: Store, piece_id: int, now: datetime) -> dict[str, dict[str, str]]:
    """What is seen at each limit of each fit, by their names; empty where the record can't be read."""
    from model.watch.questions.piece_wood import wood_piece

    with store.session() as session:
        found = queries.piece(session, piece_id, now)
    wood = None if found is None else wood_piece(found)
    return {} if wood is None else {name: limits_said(fit) for name, fit in wood.fits.items()}


def _say_how_it_stands(found: queries.PieceNow, now: datetime) -> None:
    """How the piece stands and what the year is likely to bring, as the pages say it."""
    from dashboard.say import piece_words

    say(f"{found.name}: {piece_words.stands(found, now)}. {piece_words.prospect(found, now)}".strip())
