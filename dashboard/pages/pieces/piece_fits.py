"""The fits and parts of a piece: those alike in one row, the worst fit opened and the others folded."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import nan
from typing import Any

from dash import html

from dashboard.figures.case_drawing import part_anchor
from dashboard.figures.section import section_drawing
from dashboard.forms.drafts import GRAINS
from dashboard.pages.frame import Child, aside, drawn, empty, fold, num, part, prose, table
from dashboard.say import piece_view as woodwork
from dashboard.say import piece_words, sentences
from dashboard.say.marks import verdict_mark
from dashboard.shell.view import View
from model.answers.doubts import PieceDoubts
from model.records.queries.overview import FitNow, MemberNow, PieceNow
from model.watch.questions import piece_wood
from model.wood.reason import Reason
from model.words import display as say
from model.words.display import Display
from model.words.limits import limit_said
from model.words.reasons import in_sentences

Ahead = Mapping[tuple[int, str], dict[str, Any]]
OWN = ("name", "role", "note")
"""What a part or fit is called; all else tells whether two are alike."""


def called_together(names: Sequence[str]) -> str:
    """Things that are alike, called once.

    >>> called_together(["top_drawer_bottom", "middle_drawer_bottom", "low_drawer_bottom"])
    'all three drawer bottoms'
    >>> called_together(["door_panel_1", "door_panel_2"])
    'both door panels'
    >>> called_together(["apron", "shelf"])
    'apron and shelf'
    """
    if len(names) == 1:
        return say.said(names[0])
    words = [[word for word in say.said(name).split() if not word.isdigit()] for name in names]
    common = _shared_end([one[::-1] for one in words])[::-1] or _shared_end(words)
    if not common:
        return say.joined([say.said(name) for name in names])
    many = "both" if len(names) == 2 else f"all {sentences.number_word(len(names))}"
    plural = "" if common[-1].endswith("s") else "s"
    return f"{many} {' '.join(common)}{plural}"


def _shared_end(words: Sequence[Sequence[str]]) -> list[str]:
    """The words with which all begin."""
    found = []
    for here in zip(*words, strict=False):
        if len(set(here)) > 1:
            break
        found.append(here[0])
    return found


def alike_parts(members: Sequence[MemberNow]) -> list[list[MemberNow]]:
    """Parts of the same wood, size and finish that hold the same moisture, in the piece's order."""

    def like(member: MemberNow) -> Any:
        return _plain(member.document), _moisture(member), repr(member.learned)

    return _grouped(members, like)


def alike_fits(piece: PieceNow) -> list[list[FitNow]]:
    """Fits of one kind and size between parts that are alike, and that stand the same; the worst first."""
    parts = {member.name: (_plain(member.document), _moisture(member)) for member in piece.members}

    def like(fit: FitNow) -> Any:
        sizes = {
            key: [parts.get(one, one) for one in (value if isinstance(value, list) else [value])]
            for key, value in fit.document.items()
            if key not in OWN
        }
        margins = sorted((margin.limit_name, round(margin.margin_mm, 1)) for margin in fit.margins)
        return fit.kind, sizes, fit.judgement.verdict, margins

    def needed(fits: list[FitNow]) -> tuple[int, float]:
        left = sentences.share_left(piece_words.of_fit(piece, fits[0]))
        return say.need(piece_words.mark_of(piece_words.of_fit(piece, fits[0]))), left

    return sorted(_grouped(piece.fits, like), key=needed)


def _plain(document: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in document.items() if key not in OWN}


def _moisture(member: MemberNow) -> float:
    return round(member.moisture.mc_mean_pct if member.moisture else member.start_mc_pct, 1)


def _grouped(things: Sequence[Any], like: Any) -> list[list[Any]]:
    found: dict[str, list[Any]] = {}
    for thing in things:
        found.setdefault(json.dumps(like(thing), sort_keys=True, default=str), []).append(thing)
    return list(found.values())


# ---------------------------------------------------------------- fits


def fits_part(piece: PieceNow, ahead: Ahead, view: View) -> html.Section:
    """Every fit: how it stands, what is left before each of its limits, and its cross-section."""
    if not piece.fits:
        return part(
            "Fits", empty("No fits are recorded. Without them its width is followed, not its limits.")
        )
    sure = piece_wood.doubts_of(piece)
    rows = [
        _fit_row(piece, fits, ahead, sure, view, is_open=index == 0)
        for index, fits in enumerate(alike_fits(piece))
    ]
    return part("Fits", *rows)


def _fit_row(
    piece: PieceNow,
    fits: Sequence[FitNow],
    ahead: Ahead,
    sure: PieceDoubts | None,
    view: View,
    is_open: bool,
) -> html.Details:
    fit = fits[0]
    alone = piece_words.of_fit(piece, fit)
    name = say.sentence(called_together([one.name for one in fits]))[:-1]
    head = html.Summary(
        html.Div(
            [
                verdict_mark(piece_words.mark_of(alone)),
                html.Div(
                    [html.B(name), ", ", html.Span(piece_words.stands(alone, view.now), className="word")]
                ),
                html.Div(_least_left(piece, fit, sure, view.display), className="right"),
            ],
            className="row",
        )
    )
    inside = _fit_block(piece, fits, ahead, sure, view)
    return html.Details([head, inside], className="fit", open=is_open, **fold(fit.name))


def _is_known(piece: PieceNow, fit: FitNow) -> bool:
    """Whether what is left is that of now: not while it is worked out, nor while nothing is heard."""
    return piece.judgement.is_current and fit.judgement.verdict != "unknown"


def _least_left(piece: PieceNow, fit: FitNow, sure: PieceDoubts | None, display: Display) -> list[Any]:
    margin_mm = fit.judgement.detail.get("margin_mm")
    if not _is_known(piece, fit) or not isinstance(margin_mm, int | float):
        return []
    doubt = sure.margins.get((fit.name, str(fit.judgement.detail.get("limit")))) if sure is not None else None
    return margin_said(margin_mm, display, None if doubt is None else doubt.total)


def margin_said(margin_mm: float, display: Display, doubt_mm: float | None = None) -> list[Any]:
    """What is left before a limit as a number and a word, or how far past it something is."""
    if margin_mm < 0:
        return [num(display.overrun(margin_mm, doubt_mm)), html.Span("too far", className="small")]
    return [num(display.margin(margin_mm, doubt_mm)), html.Span("left", className="small")]


def _fit_block(
    piece: PieceNow, fits: Sequence[FitNow], ahead: Ahead, sure: PieceDoubts | None, view: View
) -> html.Div:
    fit = fits[0]
    coming = {name: detail for (fit_id, name), detail in ahead.items() if fit_id == fit.id}
    wood = piece_wood.wood_piece(piece)
    kind = wood.fits[fit.name] if wood is not None and fit.name in wood.fits else None
    drawing: Any = None
    if kind is not None:
        section = kind.section(woodwork.moistures(piece))
        drawing = drawn(
            *(
                section_drawing(section, view.display, width, uid=f"section-{fit.id}-{width}")
                for width in (620, 360)
            )
        )
    title = kind.title if kind else say.said(fit.kind)
    # Of the fit that governs, the head of the page has said it.
    governs = piece.judgement.detail.get("fit") == fit.name
    why = "" if governs else sentences.reason(fit.judgement, view.display)
    alike = f" What is said of {say.said(fit.name)} holds for each of them." if len(fits) > 1 else ""
    return html.Div(
        [
            html.Div(
                [
                    html.P([f"{title}. ", *prose(why), alike]),
                    html.P(prose(sentences.ahead(coming)), className="soft") if coming else None,
                    _limits_table(piece, fit, coming, sure, view.display),
                ]
            ),
            html.Div(drawing),
        ],
        className="fit-inside",
    )


def _limits_table(
    piece: PieceNow,
    fit: FitNow,
    ahead: dict[str, dict[str, Any]],
    sure: PieceDoubts | None,
    display: Display,
) -> html.Div | None:
    """What is left before each limit: as built, now, and the moisture at which it would be reached."""
    limits = woodwork.limits_now(piece, fit)
    if not limits:
        return None
    heads = ["What would be seen", "End", "Built with", "Left now", "At MC"]
    heads += ["In a year"] if ahead else []
    rows = [
        [
            limit_said(now.limit),
            "wet" if now.limit.direction == "swelling" else "dry",
            num(display.margin(now.limit.play_mm)),
            _left(now.margin_mm, sure, (fit.name, now.limit.name), display)
            if _is_known(piece, fit)
            else say.NOTHING,
            num(say.mc(now.mc_at_limit_pct)) if now.mc_at_limit_pct is not None else "never",
            *([_chance_of(ahead.get(now.limit.name))] if ahead else []),
        ]
        for now in limits
    ]
    label = f"What is left at {say.said(fit.name)}"
    return table(label, heads, rows, right=("Built with", "Left now"), className="limits seen")


def _chance_of(detail: dict[str, Any] | None) -> Any:
    share = (detail or {}).get("chance")
    return num(sentences.chance(share)) if isinstance(share, int | float) else say.NOTHING


def _left(margin_mm: float, sure: PieceDoubts | None, limit: tuple[str, str], display: Display) -> Any:
    doubt = sure.margins.get(limit) if sure is not None else None
    doubt_mm = None if doubt is None else doubt.total
    if margin_mm < 0:
        return html.B([num(display.overrun(margin_mm, doubt_mm)), " past"])
    return num(display.margin(margin_mm, doubt_mm))


# ---------------------------------------------------------------- parts


RIGHT = ("Width now", "Since built", "MC mean", "face", "core")


def parts_part(piece: PieceNow, display: Display) -> html.Section:
    """Every part: what it is, how wide it is now, and the moisture through it."""
    members = piece.members
    if not piece.judgement.is_current:
        members = tuple(replace(member, moisture=None, start_mc_pct=nan) for member in members)
    sure = piece_wood.doubts_of(piece)
    groups = alike_parts(members)
    rows = [_part_row(alike, sure, display) for alike in groups]
    known = sure is not None and piece.judgement.is_current
    shrink = _what_shrinks(groups, sure.advice, display) if sure is not None and known else None
    return part("Parts", table("Parts", ("Part", "Wood", *RIGHT), rows, right=RIGHT), shrink)


def _what_shrinks(
    groups: Sequence[Sequence[MemberNow]], advice: Mapping[str, Reason], display: Display
) -> html.P | None:
    """What is least sure of the parts, and what measuring it brings."""
    found = [(group, advice[group[0].name]) for group in groups if group[0].name in advice]
    if not found:
        return None
    group, worst = max(found, key=lambda one: float(one[1].values["doubt_mm"]))
    about = say.sentence(called_together([one.name for one in group]))[:-1]
    least_sure = f"Least sure: {about[:1].lower()}{about[1:]}. {in_sentences(worst, display)}"
    return aside(*prose(least_sure))


def _learned(member: MemberNow, display: Display) -> list[Child]:
    """What was learned of a part by what was measured on it."""
    if member.learned is None:
        return []
    told = in_sentences(member.learned.told("it"), display)
    return [html.Div(prose(told), className="soft small")]


def _part_row(alike: Sequence[MemberNow], sure: PieceDoubts | None, display: Display) -> list[Child]:
    member = alike[0]
    moisture = member.moisture
    width_mm = member.document.get("width")
    change: Any = say.NOTHING
    if moisture and moisture.width_mm is not None and isinstance(width_mm, int | float):
        change = num(display.length(moisture.width_mm - width_mm, finest=64))
    doubt = sure.widths.get(member.name) if sure is not None else None
    wide = say.NOTHING
    if moisture is not None and moisture.width_mm is not None:
        wide = (
            display.length(moisture.width_mm)
            if doubt is None
            else display.with_doubt(moisture.width_mm, doubt.total)
        )
    contents = (
        (
            say.mc_with_doubt(moisture.mc_mean_pct, moisture.mc_doubt_pct),
            say.mc(moisture.mc_face_pct),
            say.mc(moisture.mc_core_pct),
        )
        if moisture
        else (say.mc(member.start_mc_pct), say.NOTHING, say.NOTHING)
    )
    cut = member.document.get("cut") or (
        f"rings at {member.document['ring_angle_deg']:g}°" if "ring_angle_deg" in member.document else ""
    )
    grain = next((words for key, words in GRAINS.items() if key and member.document.get(key)), "")
    count = sum(int(one.document.get("alike", 1)) for one in alike)
    many = f" × {count}" if count > len(alike) else ""
    # Each part of the row can be led to: a drawing of the case does.
    anchors = [html.Span(id=part_anchor(one.name)) for one in alike]
    return [
        [*anchors, called_together([one.name for one in alike]) + many, *_learned(member, display)],
        ", ".join(str(word) for word in (member.document.get("species"), grain or cut) if word),
        num(wide),
        change,
        *map(num, contents),
    ]
