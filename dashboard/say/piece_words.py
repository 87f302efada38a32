"""How a piece is spoken of: how it stands today, what the coming year may bring, what it went through.

Every surface that speaks of a piece asks here: first page, lists, its own page, the client's page and sheet,
the command line. Nothing is called well that will more likely than not be passed within the year, nor what
isn't known.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from dashboard.say import sentences
from dashboard.say.marks import words_for
from model.records.queries.overview import Coming, FitNow, PassedSpan, PieceNow
from model.wood.reason import Reason
from model.words import display as say
from model.words import times
from model.words.reasons import clause, in_sentences

LIKELY_PCT = 50.0
"""From this chance on, a limit will more likely than not be passed."""
REMEMBERED = timedelta(days=365)


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
    """In what time a limit is passed: `in 1 to 6 weeks`."""
    return times.lead_time(*_days_to(coming, now))


def prospect(piece: PieceNow, now: datetime) -> str:
    """What the coming year is likely to bring, as sentences; empty where that is nothing."""
    if sentences.piece_verdict(piece) == "unknown" and not piece.judgement.is_current:
        return ""
    if piece.next is None:
        return in_sentences(piece.next_reason) if piece.next_reason else ""
    coming = likely(piece)
    return said_of(coming, now) if coming else ""


def said_of(coming: Coming, now: datetime) -> str:
    """One limit that the coming year is likely to pass, as a sentence."""
    return in_sentences(_ahead("coming", coming, now))


def _ahead(key: str, coming: Coming, now: datetime) -> Reason:
    low_days, high_days = _days_to(coming, now)
    values = {"seen": coming.seen, "chance_pct": coming.chance_pct}
    return Reason(key, values | {"low_days": low_days, "high_days": high_days})


def _days_to(coming: Coming, now: datetime) -> tuple[float, float]:
    return (coming.from_at - now) / timedelta(days=1), (coming.until_at - now) / timedelta(days=1)


def history(piece: PieceNow, now: datetime, harms_only: bool = False) -> str:
    """What a piece went through in the year behind it, as sentences with what to look for; mostly empty."""
    spans: dict[tuple[str, str], list[PassedSpan]] = {}
    for span in piece.since:
        is_told = span.severity == "harms" or not harms_only
        if is_told and span.until_at is not None and now - span.until_at <= REMEMBERED:
            spans.setdefault((span.fit, span.limit), []).append(span)
    spent = sorted(spans.values(), key=lambda some: (some[0].severity != "harms", -_days(some)))
    return in_sentences(_went_through(piece, some) for some in spent)


def _days(spans: Sequence[PassedSpan]) -> int:
    return sum(max(((span.until_at or span.from_at) - span.from_at).days, 1) for span in spans)


def _went_through(piece: PieceNow, spans: Sequence[PassedSpan]) -> Reason:
    longest = max(spans, key=lambda span: _days([span]))
    zone = piece.place.zone if piece.place else "UTC"
    latitude = (piece.place.climate or {}).get("latitude_deg") if piece.place else None
    return Reason(
        f"went-through-{longest.severity}",
        {
            "how": longest.direction,
            "fit": say.said(longest.fit),
            "day_count": _days(spans),
            "season": times.season(longest.worst_at, zone, latitude),
        },
    )


def headline(pieces: Sequence[PieceNow], now: datetime) -> str:
    """All pieces in one sentence: what is wrong today, and what will be within the year."""
    if not pieces:
        return "No piece is recorded yet."
    working = [piece for piece in pieces if stands(piece, now) == "no answer yet"]
    others = [piece for piece in pieces if piece not in working]
    verdicts = [sentences.piece_verdict(piece) for piece in others]
    lines: list[str] = []
    for words, number in (
        ("past a limit", verdicts.count("past")),
        ("near a limit", verdicts.count("near")),
        ("not known", verdicts.count("unknown")),
        ("being worked out", len(working)),
    ):
        if number:
            who = sentences.counted(number, "piece") if not lines else sentences.number_word(number)
            lines.append(f"{who} {'is' if number == 1 else 'are'} {words}")
    today = say.joined(lines) or "nothing is wrong today"
    return say.sentence("; ".join([today, *_year(others, now, bool(lines))]))


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
    past = [
        (clause(Reason.of(one["seen"])), str(one["direction"]))
        for one in details
        if one.get("severity") == "harms"
    ]
    coming = [(clause(one.seen), one.direction) for one in all_likely(piece) or () if one.severity == "harms"]
    return tuple(past + coming)


def to_client(piece: PieceNow, now: datetime) -> list[str]:
    """The same for a client, a few sentences each its own line."""
    coming, verdict = likely(piece), sentences.piece_verdict(piece)
    lines = [Reason(f"client-{_client_key(piece, now)}")]
    if coming and verdict in ("clear", "near"):
        lines.append(_ahead(f"client-coming-{coming.severity}", coming, now))
    elif piece.next is None and verdict == "clear":
        lines.append(Reason("client-year-unknown"))
    strained = history(piece, now, harms_only=True)
    tell = [f"{strained} {in_sentences(Reason('client-tell'))}"] if strained else []
    return [*map(in_sentences, lines), *tell]


def _client_key(piece: PieceNow, now: datetime) -> str:
    verdict = sentences.piece_verdict(piece)
    if verdict != "clear":
        return "working" if stands(piece, now) == "no answer yet" else verdict
    return "clear" if piece.next is not None and likely(piece) is None else "clear-today"
