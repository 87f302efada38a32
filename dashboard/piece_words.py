"""How a piece is spoken of: how it stands today, what the coming year may bring, what it went through.

Every surface that speaks of a piece asks here: first page, lists, its own page, the client's page and sheet,
the command line. Nothing is called well that will more likely than not be passed within the year, nor what
isn't known.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from dashboard import display as say
from dashboard import sentences
from dashboard.marks import words_for
from model.records.queries import Coming, FitNow, PassedSpan, PieceNow

LIKELY_PCT = 50.0
"""From this chance on, a limit will more likely than not be passed."""
REMEMBERED = timedelta(days=365)
LOOK_FOR = {
    "shrinking": "look for a split or an opened joint",
    "swelling": "look for a joint pushed apart",
}


def likely(piece: PieceNow) -> Coming | None:
    """The limit that the coming year will more likely than not pass; none without one, or where not known."""
    return next(iter(all_likely(piece) or ()), None)


def all_likely(piece: PieceNow) -> tuple[Coming, ...] | None:
    """All of them; none where that isn't known."""
    return None if piece.next is None else tuple(one for one in piece.next if one.chance_pct >= LIKELY_PCT)


def of_fit(piece: PieceNow, fit: FitNow) -> PieceNow:
    """A piece as it would be with one of its fits only, so that a fit is spoken of in the same words."""
    coming = None if piece.next is None else tuple(one for one in piece.next if one.fit == fit.name)
    since = tuple(one for one in piece.since if one.fit == fit.name)
    return replace(piece, fits=(fit,), judgement=fit.judgement, next=coming, since=since)


def mark_of(piece: PieceNow) -> str:
    """The shape a piece is shown by: only what is clear and likely to stay so has the open ring."""
    verdict = sentences.piece_verdict(piece)
    if verdict != "clear":
        return verdict
    if piece.next is None:
        return "unknown"
    return "near" if likely(piece) else "clear"


def stands(piece: PieceNow, now: datetime) -> str:
    """How a piece stands, in a few words that follow its name."""
    verdict = sentences.piece_verdict(piece)
    if not piece.judgement.is_current and verdict == "unknown":
        return "no answer yet"
    if verdict != "clear":
        return words_for(verdict)
    if piece.next is None:
        return "clear today, no answer yet on the coming year"
    coming = likely(piece)
    return f"clear today, reaches a limit {when(coming, now)}" if coming else words_for(verdict)


def when(coming: Coming, now: datetime) -> str:
    """In what time a limit is passed: `in 1–6 weeks`."""
    return say.lead_time(*((at - now) / timedelta(days=1) for at in (coming.from_at, coming.until_at)))


def prospect(piece: PieceNow, now: datetime) -> str:
    """What the coming year is likely to bring, as sentences; empty where that is nothing."""
    if sentences.piece_verdict(piece) == "unknown" and not piece.judgement.is_current:
        return ""
    if piece.next is None:
        return say.sentence(piece.next_reason)
    coming = likely(piece)
    return said_of(coming, now) if coming else ""


def said_of(coming: Coming, now: datetime) -> str:
    """One limit that the coming year is likely to pass, as a sentence."""
    years = sentences.chance(coming.chance_pct / 100.0).replace(" in ", " of ")
    seen = sentences.what_is_seen(coming.says)
    return say.sentence(f"{say.said(coming.fit)}: {seen} {when(coming, now)}, in {years} years that may come")


def history(piece: PieceNow, now: datetime, harms_only: bool = False) -> str:
    """What a piece went through in the year behind it, as sentences with what to look for; mostly empty."""
    spans: dict[tuple[str, str], list[PassedSpan]] = {}
    for span in piece.since:
        is_told = span.severity == "harms" or not harms_only
        if is_told and span.until_at is not None and now - span.until_at <= REMEMBERED:
            spans.setdefault((span.fit, span.limit), []).append(span)
    told = sorted(spans.values(), key=lambda some: (some[0].severity != "harms", -_days(some)))
    return " ".join(_went_through(piece, some) for some in told)


def _days(spans: Sequence[PassedSpan]) -> int:
    return sum(max(((span.until_at or span.from_at) - span.from_at).days, 1) for span in spans)


def _went_through(piece: PieceNow, spans: Sequence[PassedSpan]) -> str:
    longest = max(spans, key=lambda span: _days([span]))
    zone = piece.place.zone if piece.place else "UTC"
    latitude = (piece.place.climate or {}).get("latitude_deg") if piece.place else None
    days = sentences.counted(_days(spans), "day")
    season = say.season(longest.worst_at, zone, latitude)
    look = f": {LOOK_FOR[longest.direction]}" if longest.severity == "harms" else ", which harms nothing"
    end = "in dry air" if longest.direction == "shrinking" else "in damp air"
    return say.sentence(f"{say.said(longest.fit)} was past its limit {end} for {days} in {season}{look}")


def headline(pieces: Sequence[PieceNow], now: datetime) -> str:
    """All pieces in one sentence: what is wrong today, and what will be within the year."""
    if not pieces:
        return "No piece is recorded yet."
    working = [piece for piece in pieces if stands(piece, now) == "no answer yet"]
    others = [piece for piece in pieces if piece not in working]
    verdicts = [sentences.piece_verdict(piece) for piece in others]
    told: list[str] = []
    for words, number in (
        ("past a limit", verdicts.count("past")),
        ("near a limit", verdicts.count("near")),
        ("not known", verdicts.count("unknown")),
        ("being worked out", len(working)),
    ):
        if number:
            who = sentences.counted(number, "piece") if not told else sentences.number_word(number)
            told.append(f"{who} {'is' if number == 1 else 'are'} {words}")
    today = say.joined(told) or "nothing is wrong today"
    return say.sentence("; ".join([today, *_year(others, now, bool(told))]))


def _year(pieces: Sequence[PieceNow], now: datetime, is_told: bool) -> list[str]:
    """Clauses on the coming year of the pieces with which nothing is wrong today."""
    clear = [piece for piece in pieces if sentences.piece_verdict(piece) == "clear"]
    coming = sorted(
        ((found, piece.name) for piece in clear if (found := likely(piece))), key=lambda one: one[0].from_at
    )
    clauses = []
    if len(coming) == 1:
        clauses.append(f"{coming[0][1]} reaches a limit {when(coming[0][0], now)}")
    elif coming:
        who = sentences.counted(len(coming), "piece")
        first = f"{coming[0][1]} first, {when(coming[0][0], now)}"
        clauses.append(f"{who} reach a limit within the year, {first}")
    dark = sum(piece.next is None for piece in clear)
    if dark and dark == len(pieces):
        clauses.append("what the coming year brings isn't known yet")
    elif dark:
        clauses.append(f"for {sentences.counted(dark, 'piece')} the coming year isn't known yet")
    if not clauses and not is_told and clear:
        clauses.append("nothing is likely to be within the year")
    return clauses


# ---------------------------------------------------------------- to a client


def harms(piece: PieceNow) -> tuple[tuple[str, str], ...] | None:
    """What harms it now or is likely to within the year, each with its direction; none where not known."""
    if piece.next is None:
        return None
    details = [fit.judgement.detail for fit in piece.fits if fit.judgement.verdict == "past"]
    past = [(str(one["says"]), str(one["direction"])) for one in details if one.get("severity") == "harms"]
    coming = [(one.says, one.direction) for one in all_likely(piece) or () if one.severity == "harms"]
    return tuple(past + coming)


def to_client(piece: PieceNow, now: datetime) -> list[str]:
    """The same for a client, a few sentences each its own line."""
    coming = likely(piece)
    told = {
        "no answer yet": "How it stands is being worked out. Look again in a few minutes.",
        "near a limit": "It is near what it was built for. Your maker knows.",
        "past a limit": "It is past what it was built for. Your maker knows, and will tell you what to do.",
        "not known": "Nothing was heard from the room lately, so how it is isn't known.",
        "clear": "It is all right where it stands.",
    }.get(stands(piece, now), "Nothing is wrong with it today.")
    lines = [told]
    if coming and sentences.piece_verdict(piece) in ("clear", "near"):
        seen = sentences.what_is_seen(coming.says)
        act = "Ask your maker what to do." if coming.severity == "harms" else "It harms nothing."
        lines.append(f"More likely than not, {when(coming, now)}: {seen}. {act}")
    elif piece.next is None and sentences.piece_verdict(piece) == "clear":
        lines.append("How it will take the coming year isn't known yet.")
    strained = history(piece, now, harms_only=True)
    if strained:
        lines.append(f"{strained} Tell your maker if you find one.")
    return lines
