"""The fields of a piece as it is written down, and what the draft comes to while it is typed."""

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from dashboard.figures.section import section_drawing
from dashboard.forms import drafts
from dashboard.forms import fields as forms
from dashboard.forms.drafts import Checked, Draft
from dashboard.forms.fields import Line, choice_field, field, text_field
from dashboard.pages.frame import aside, drawn, folded, num, part, prose, table
from dashboard.pages.pieces.piece import comfortable
from dashboard.say import sentences
from dashboard.shell.view import View
from model.records.queries.overview import PlaceNow
from model.wood.design.cautions import cautions
from model.wood.design.comfort import comfort_of
from model.wood.design.design_range import design_range, settled
from model.wood.fits import Field, Fit, kinds
from model.wood.material.finish import finish_names
from model.wood.material.ring_angle import RING_ANGLE_OF_CUT
from model.words import display as say
from model.words.limits import limit_said
from model.words.reasons import in_sentences


def form_of(draft: Draft, places: tuple[PlaceNow, ...], view: View, is_new: bool) -> list[Any]:
    """The fields of a draft."""
    members = [str(row.get("name") or "") for row in draft["members"]]
    return [
        part("The piece", fields_of(_piece_fields(draft["piece"], places, view, is_new))),
        part(
            "Its parts",
            aside("The parts whose width across the grain matters: panels, fronts, tops."),
            *[_member_fields(index, row, view) for index, row in enumerate(draft["members"])],
            html.Button("Another part", id={"shape": "add member", "row": 0}),
        ),
        part(
            "Its fits",
            aside("Where their movement has to go somewhere."),
            *[_fit_fields(index, row, members, view) for index, row in enumerate(draft["fits"])],
            html.Div(
                [
                    choice_field(
                        "A fit of this kind",
                        {"pick": "kind"},
                        [(word, kind.title) for word, kind in kinds().items()],
                        drafts.USUAL_KIND,
                    ),
                    html.Div(html.Button("Add the fit", id={"shape": "add fit", "row": 0}), className="low"),
                ],
                className="fields",
            ),
        ),
    ]


def _id(section: str, row: int, key: str, chosen: bool = False) -> dict[str, Any]:
    return {"chosen" if chosen else "typed": section, "row": row, "key": key}


def fields_of(fields: list[html.Div]) -> html.Div:
    """Fields side by side, each with room for what is wrong there."""
    for one in fields:
        id = one.children[1].id
        forms.with_fault(one, {"fault": id.get("typed") or id["chosen"], "row": id["row"], "key": id["key"]})
    return html.Div(fields, className="fields")


def faults_said(checked: Checked, at: Sequence[Mapping[str, Any]], typed: Draft | None = None) -> list[str]:
    """What is wrong at each of some fields; of what was `typed` so far, nothing of a field still empty."""
    said = []
    for id in at:
        section, row, key = id["fault"], id["row"], id["key"]
        error = checked.faults.get((section, row, key))
        if error is not None and typed is not None:
            rows = [typed["piece"]] if section == "piece" else typed[section]
            error = error if row < len(rows) and str(rows[row].get(key) or "").strip() else None
        said.append("" if error is None else say.sentence(forms.in_words(error)))
    return said


def _piece_fields(
    row: dict[str, Any], places: tuple[PlaceNow, ...], view: View, is_new: bool
) -> list[html.Div]:
    found = [
        text_field("Name", _id("piece", 0, "name"), row.get("name", ""), placeholder="Hall bench"),
        text_field("Client", _id("piece", 0, "client"), row.get("client", ""), list="client-names"),
    ]
    if is_new and places:
        named = [(str(place.id), place.name) for place in places]
        place = row.get("place") or named[0][0]
        zone = next((place_now.zone for place_now in places if str(place_now.id) == place), places[0].zone)
        found.append(choice_field("It stands at", _id("piece", 0, "place"), named, place))
        since = row.get("since") or forms.day_value(view.now, zone)
        found.append(field("Since", Line(_id("piece", 0, "since"), since, kind="date")))
    found.append(text_field("Note", _id("piece", 0, "note"), row.get("note", ""), className="wide"))
    return found


def _member_fields(index: int, row: dict[str, Any], view: View) -> html.Fieldset:
    unit = "in, as 14-1/2" if view.units == "inch" else "mm"
    cuts = [(cut, cut) for cut in RING_ANGLE_OF_CUT]
    if "ring_angle_deg" in row:
        cuts.insert(0, ("", f"rings at {row['ring_angle_deg']:g}°"))
    films = [(name, "bare" if name == "none" else name) for name in finish_names()]
    if row.get("face") and row["face"] not in dict(films):
        films.append((row["face"], row["face"]))
    fields = [
        text_field("Part", _id("members", index, "name"), row.get("name", "")),
        text_field("Wood", _id("members", index, "species"), row.get("species", ""), list="species-names"),
        choice_field("Cut", _id("members", index, "cut"), cuts, row.get("cut") or cuts[0][0]),
        choice_field(
            "Grain",
            _id("members", index, "grain"),
            list(drafts.GRAINS.items()),
            row.get("grain", ""),
            "crotch and burl move unevenly, veneer on plywood not at all",
        ),
        text_field("Width across the grain", _id("members", index, "width"), row.get("width", ""), hint=unit),
        text_field(
            "at a moisture content of", _id("members", index, "mc_pct"), row.get("mc_pct", ""), hint="%"
        ),
        text_field("Thickness", _id("members", index, "thickness"), row.get("thickness", ""), hint=unit),
        choice_field("Finish of the face", _id("members", index, "face"), films, row.get("face") or "none"),
        text_field("Coats", _id("members", index, "coats"), row.get("coats", ""), mode="decimal"),
        choice_field(
            "Finish of the back",
            _id("members", index, "back"),
            [("", "as the face"), *films],
            row.get("back", ""),
        ),
        text_field(
            "Coats on the back",
            _id("members", index, "back_coats"),
            row.get("back_coats", ""),
            mode="decimal",
        ),
        field(
            "Rests until",
            Line(_id("members", index, "rest_until"), row.get("rest_until", ""), kind="date"),
            "of a resawn leaf, before it is milled again",
        ),
    ]
    return html.Fieldset(
        [
            html.Legend(f"Part {index + 1}"),
            fields_of(fields),
            html.Button("Remove this part", id={"shape": "drop member", "row": index}, className="plain"),
        ]
    )


def _fit_fields(index: int, row: dict[str, Any], members: list[str], view: View) -> html.Fieldset:
    kind = kinds()[row["kind"]]
    asked, more = drafts.shown_fields(row)
    open_already = any(str(row.get(own.key) or "") for own in more)
    return html.Fieldset(
        [
            html.Legend(kind.title),
            html.P(kind.what, className="small soft"),
            fields_of(
                [
                    text_field("Name of the fit", _id("fits", index, "name"), row.get("name", "")),
                    *[_fit_field(index, own, row, members, view) for own in asked],
                ]
            ),
            folded(
                "Optional details",
                fields_of([_fit_field(index, own, row, members, view) for own in more]),
                is_open=open_already,
            ),
            html.Button("Remove this fit", id={"shape": "drop fit", "row": index}, className="plain"),
        ]
    )


def _fit_field(index: int, own: Field, row: dict[str, Any], members: list[str], view: View) -> html.Div:
    value = row.get(own.key)
    text = "" if value is None else str(value)
    label = say.sentence(say.said(own.key)).rstrip(".")
    if own.unit == "choice":
        options = [(word, word.replace("-", " ")) for word in own.choices]
        return choice_field(
            label, _id("fits", index, own.key, True), options, text or options[0][0], own.meaning
        )
    if own.unit == "flag":
        options = [("yes", "yes"), ("no", "no")]
        return choice_field(label, _id("fits", index, own.key, True), options, text or "no", own.meaning)
    if own.unit == "member":
        options = [(name, name) for name in members]
        if not own.required:
            options.insert(0, ("", "none"))
        return choice_field(label, _id("fits", index, own.key), options, text, own.meaning)
    hint = own.meaning
    if own.unit == "members":
        hint += "; names with commas between"
    if own.usual:
        hint += f" (usual: {own.usual})"
    elif own.unit == "mm" and isinstance(own.default, float) and own.default > 0:
        hint += f" (usual: {view.display.length(own.default, finest=64)})"
    return text_field(label, _id("fits", index, own.key), text, hint=hint)


# ---------------------------------------------------------------- while typing


def live(checked: Checked, view: View) -> list[Any]:
    """What the draft comes to: the design range so far, each fit's margins, and what is wrong yet."""
    found: list[Any] = [html.H2("So far")]
    if not checked.fits and not checked.problems:
        found.append(html.P("Add a fit to see what it can take."))
    if checked.piece is not None and checked.fits:
        design = design_range(checked.piece)
        comfort = comfort_of(checked.piece, design)
        found += [html.P(line) for line in comfortable(checked.piece, design, comfort, view.display)]
    if checked.piece is not None:
        cupping = cautions(checked.piece.members.values())
        found += [html.P(prose(in_sentences(caution, view.display))) for caution in cupping]
    for name, fit in checked.fits.items():
        found.append(_fit_so_far(name, fit, view))
    if checked.problems:
        found.append(html.H3("Needs fixing"))
        found.append(html.Ul([html.Li(say.sentence(forms.in_words(error))) for _, error in checked.problems]))
    elif checked.piece is not None:
        found.append(html.P("Nothing is missing.", className="soft"))
    return found


def _fit_so_far(name: str, fit: Fit, view: View) -> html.Div:
    section = fit.section(fit.references())
    dry, wet = settled(fit.members, 6.0), settled(fit.members, 11.0)
    limits = zip(fit.limits(fit.references()), fit.limits(dry), fit.limits(wet), strict=True)
    heads = ("Until", "as built", "at 6 %", "at 11 %")
    rows = []
    for limit, at_dry, at_wet in limits:
        margins = (limit.play_mm, at_dry.margin_mm, at_wet.margin_mm)
        left = (num(sentences.margin_left(float(margin), view.display)) for margin in margins)
        rows.append((limit_said(limit), *left))
    return html.Div(
        [
            html.H3(say.sentence(say.said(name)).rstrip(".")),
            drawn(
                *(
                    section_drawing(section, view.display, width, f"live-{name}-{width}")
                    for width in (460, 350)
                )
            ),
            table(say.said(name), heads, rows, right=heads[1:], className="limits seen"),
        ],
        className="so-far",
    )
