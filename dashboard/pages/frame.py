"""The frame round every page, and the few elements all pages are made of."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from dash import dcc, html

from dashboard.figures.drawing import FRACTION, Drawing, Shape
from dashboard.say.marks import verdict_mark, words_for
from dashboard.shell.view import address

# What Dash takes as a child: a component, a text, nothing, or a list of them.
Child = Any

# The word, where it leads, and the first parts of the addresses it covers.
NAV = (
    ("Today", "/", ("", "coming")),
    ("Stock", "/stock", ("stock", "stack")),
    ("Pieces", "/pieces", ("pieces", "piece", "case", "record", "clients", "client")),
    ("Plan", "/plan", ("plan", "rehearse")),
    ("Places", "/places", ("places", "place")),
    ("Sensors", "/sensors", ("sensors", "sensor")),
)

PAGE, ADDRESS, UNITS, SHOWN, TICK = "page", "address", "units", "shown", "tick"
SAID, ACTED = "said", "acted"
TICK_MS = 6_000


INVENTED = "The sample shop: all of it is invented, and its clock runs fast."


def placed(page: Child, path: str) -> html.Div:
    """A page with its path, by which the page's script knows that another one has come."""
    return html.Div([page, helped(path)], **{"data-path": path})  # type: ignore[arg-type]


# The part of the guide that helps with a page, by the first part of its address.
HELP = {
    "": ("verdicts", "how to read a verdict"),
    "piece": ("verdicts", "how to read a verdict"),
    "pieces": ("verdicts", "how to read a verdict"),
    "stack": ("verdicts", "what ready means"),
    "stock": ("verdicts", "what ready means"),
    "place": ("home", "a client's home"),
    "places": ("home", "a client's home"),
    "client": ("home", "a client's home"),
    "clients": ("home", "a client's home"),
    "sensor": ("trouble", "when something is wrong with a sensor"),
    "sensors": ("broker", "letting a sensor talk"),
    "settings": ("phones", "these pages on your phone"),
}


def helped(path: str) -> html.P | None:
    """At the foot of a page, the way to its part of the guide."""
    first = path.strip("/").split("/")[0]
    if first == "help":
        return None
    name, said = HELP.get(first, ("start", "from the box to the first verdict"))
    return html.P(["Guide: ", html.A(said, href=f"/help/{name}")], className="soft small no-print helped")


def shell(page: Child, units: str, href: str, path: str, sample: bool = False) -> html.Div:
    """The whole document: the top rule, the page, and what keeps it current."""
    return html.Div(
        [
            html.A("Skip to the page", href="#page", className="skip"),
            top(units, path, live=True, sample=sample),
            html.Div(id=SAID, className="said"),
            html.Div(placed(page, path), id=PAGE),
            dcc.Location(id=ADDRESS, refresh=False, href=href),
            dcc.Store(id=ACTED, data={}),
            dcc.Store(id=SHOWN, data={"units": units, "digest": "", "path": path}),
            dcc.Interval(id=TICK, interval=TICK_MS),
        ]
    )


def top(units: str, path: str, live: bool, sample: bool = False) -> html.Header:
    """The name, the words to get about by, and the rule under them; still, it has no buttons."""
    first = path.strip("/").split("/")[0]
    switch = units_word(units)
    button: Any = html.Button(switch, id=UNITS, className="plain", **aria(label=units_label(units)))
    if not live:
        button = html.Span(switch, className="small")
    return html.Header(
        [
            html.Div(
                [
                    html.A("paneltide", href="/", className="name"),
                    html.Nav(
                        [
                            html.A(
                                word,
                                href=href,
                                **aria(current="page" if first in covers else "false"),
                                **covering(covers),
                            )
                            for word, href, covers in NAV
                        ],
                        className="nav",
                        **aria(label="Pages"),
                    ),
                    html.Div(
                        [
                            button,
                            html.Button("Night", className="plain theme-switch") if live else None,
                            html.A("⚙", href="/settings", className="gear", **aria(label="Settings")),
                        ],
                        className="controls",
                    ),
                ],
                className="top-row",
            ),
            html.Div(className="scale", **aria(hidden="true")),
            html.P(INVENTED, className="invented") if sample else None,
        ],
        className="top",
    )


def aria(**names: str) -> Any:
    """Attributes for those who don't see the page: `aria(label="Pages")`."""
    return {f"aria-{name.replace('_', '-')}": value for name, value in names.items()}


def under(heading: str) -> Any:
    """For a cell: its column's heading, shown beside it where a phone has no room for columns."""
    return {"data-under": heading}


def fold(name: str) -> Any:
    """For details: the name by which the page's script keeps it open while the page is drawn anew."""
    return {"data-fold": name}


def covering(covers: tuple[str, ...]) -> Any:
    """For the page's script, which moves the mark as the address changes."""
    return {"data-covers": " ".join(covers)}


def units_word(units: str) -> str:
    """What the units button says: the units in use."""
    return "in · °F" if units == "inch" else "mm · °C"


def units_label(units: str) -> str:
    other = "millimetres and °C" if units == "inch" else "inches and °F"
    return f"{units_word(units)}: switch to {other}"


def sheet(title: Child, *children: Child, dateline: Child = None, lead: Child = None) -> html.Main:
    """A page: its one question answered in the first line, then the rest."""
    return html.Main(
        [
            html.P(dateline, className="dateline") if dateline else None,
            html.H1(title),
            html.P(lead, className="lead") if lead else None,
            *children,
        ],
        className="sheet",
    )


def part(title: Child, *children: Child, className: str = "") -> Child:
    """A part of a page under its own heading; one with nothing in it is left out."""
    if all(child is None for child in children):
        return None
    return html.Section([html.H2(title), *children], className=f"part {className}".strip())


def facts_list(facts: Iterable[tuple[str, Child]], className: str = "facts") -> html.Dl:
    """Facts under each other, each behind its name."""
    told = [element for name, fact in facts for element in (html.Dt(name), html.Dd(fact))]
    return html.Dl(told, className=className)


def folded(title: Child, *children: Child, is_open: bool = False, **more: Any) -> html.Details:
    """What is opened by a press on its title."""
    return html.Details([html.Summary(title), *children], open=is_open, **more)


def aside(*children: Child) -> html.P:
    """A remark, set small and soft."""
    return html.P(list(children), className="small soft")


def joined_links(links: Sequence[Child], most: int = 8, href: str = "") -> list[Child]:
    """Links as a sentence has them; of many, the first and how many more, which leads to `href`."""
    shown: list[Child] = list(links[:most])
    if len(links) > most:
        more = f"{len(links) - most} more"
        shown.append(html.A(more, href=href) if href else more)
    for index in range(len(shown) - 1, 0, -1):
        shown.insert(index, " and " if index == len(shown) - 1 else ", ")
    return shown


def num(text: str) -> html.Span:
    """A number as the sans sets it: even figures and true fractions."""
    return html.Span(prose(text), className="num")


def prose(text: str) -> list[Any]:
    """A text with each fraction in it set as a true one."""
    return [
        html.Span(piece, className="frac") if index % 2 else piece
        for index, piece in enumerate(FRACTION.split(text))
        if piece
    ]


def word(verdict: str, kind: str = "") -> html.Span:
    """A verdict as a word; its shape and its number stand beside it."""
    return html.Span(words_for(verdict, kind), className="word")


def noted(verdict: str, *children: Child, kind: str = "", right: Child = None) -> html.Li:
    """One thing of a list behind its mark, with its number or its button at the right."""
    return marked(verdict_mark(verdict, kind), *children, right=right)


def marked(mark: Child, *children: Child, right: Child = None) -> html.Li:
    """The same behind a mark of another kind, or behind none."""
    beside = None if right in (None, []) else html.Div(right, className="right")
    return html.Li([mark, html.Div(list(children)), beside], className="row")


def listed(rows: Sequence[Child], nothing: Child = None, className: str | None = "rows") -> Child:
    """Rows as a list; `nothing` is what stands there where there is none."""
    return html.Ul(list(rows), className=className) if rows else nothing


A_PAGE = 60
"""So many of a long list on a page; the rest on those after it."""


def page_asked(query: Mapping[str, str]) -> int:
    """Which page of a long list an address asks for: the first unless it says."""
    number = query.get("page", "")
    return max(int(number), 1) if number.isdecimal() and len(number) < 6 else 1


def pages(found: int, page: int, path: str, **asked: str) -> html.Nav | None:
    """Links to the pages of a long list before and after this one."""
    last = -(-found // A_PAGE)
    if last <= 1:
        return None
    links = [
        html.A(words, href=address(path, **asked, page=number))
        for words, number in ((f"{A_PAGE} before", page - 1), (f"{A_PAGE} after", page + 1))
        if 1 <= number <= last
    ]
    here = html.Span(f"Page {page} of {last}", className="small")
    return html.Nav([here, *links], className="tabs", **aria(label="More of them"))


def drawn(wide: Shape, narrow: Shape) -> html.Div:
    """A drawing, and the same for a phone, each shown where it reads well."""
    return html.Div([Drawing(wide, className="wide-only"), Drawing(narrow, className="narrow-only")])


def scrolling(table: Child, label: str) -> html.Div:
    """A table that may be wider than the screen: it scrolls by touch and by keys, under a name of its own."""
    return html.Div(table, className="scroll", tabIndex=0, role="region", **aria(label=label))


def table(
    label: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[Child]],
    right: Sequence[str] = (),
    className: str = "limits",
) -> html.Div:
    """Rows under their headings, each row's first cell naming it.

    A phone has no room for columns: there each cell stands behind its own heading. Columns named in `right`
    hold numbers that are set to the right.
    """
    sides = ["right" if name in right else None for name in heads]
    top = [html.Th(name, scope="col", className=side) for name, side in zip(heads, sides, strict=True)]
    body = [
        html.Tr(
            [
                html.Th(first, scope="row"),
                *(
                    html.Td(cell, className=side, **under(name))
                    for cell, side, name in zip(cells, sides[1:], heads[1:], strict=True)
                ),
            ]
        )
        for first, *cells in rows
    ]
    return scrolling(html.Table([html.Thead(html.Tr(top)), html.Tbody(body)], className=className), label)


def missing(what: str, *children: Child) -> html.Main:
    """The page for an address that leads nowhere."""
    return sheet(
        what,
        html.P(
            list(children)
            if children
            else ["It may have been taken out of the book. ", html.A("Back to today", href="/"), "."]
        ),
    )


def empty(*children: Child) -> html.Div:
    """What stands where there is nothing yet: what to do first."""
    return html.Div(list(children), className="empty")
