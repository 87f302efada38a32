"""A page as still HTML: readable before a script has run, and all there is to a client's page.

The same components the live page is made of are written out as text, everything escaped. Elements that
only live with scripts (charts that zoom, inputs that answer) leave their place empty.
"""

import json
from collections.abc import Iterable
from html import escape
from typing import Any

from dash.development.base_component import Component
from plotly.utils import PlotlyJSONEncoder

from dashboard.figures.drawing import Drawing, markup
from dashboard.figures.plot import Plot

VOID = frozenset({"Br", "Hr", "Img", "Input", "Col"})
ATTRIBUTES = {
    "className": "class",
    "href": "href",
    "htmlFor": "for",
    "role": "role",
    "title": "title",
    "lang": "lang",
    "scope": "scope",
    "colSpan": "colspan",
    "rowSpan": "rowspan",
    "dateTime": "datetime",
    "tabIndex": "tabindex",
    "action": "action",
    "method": "method",
    "src": "src",
    "alt": "alt",
}


def still(node: Any) -> str:
    """HTML text of a component, a text, or a list of them.

    Identities are left out, because the live page that takes its place brings its own.
    """
    if node is None or isinstance(node, bool):
        return ""
    if isinstance(node, str | int | float):
        return escape(str(node))
    if isinstance(node, Drawing):
        named = getattr(node, "className", "")
        return f'<div class="drawing {escape(named)}">{markup(node.tree)}</div>'
    if isinstance(node, Plot):
        return _plot(node)
    if isinstance(node, Component):
        return _element(node)
    if isinstance(node, Iterable):
        return "".join(still(child) for child in node)
    raise TypeError(f"{type(node).__name__} can't be part of a page")


def text_of(node: Any) -> str:
    """What a reader reads in a component, without its marks, words kept apart."""
    if node is None or isinstance(node, bool):
        return ""
    if isinstance(node, str | int | float):
        return str(node)
    if isinstance(node, Drawing):
        return ""
    if isinstance(node, Component):
        return text_of(getattr(node, "children", None))
    return " ".join(part for part in (text_of(child) for child in node) if part)


def _element(node: Component) -> str:
    if node._type in ("Line", "Choice") and getattr(node, "name", None):
        return _field(node)
    if node._namespace != "dash_html_components":
        # A component of scripts: its children, if it only wraps them, are still worth reading.
        children = getattr(node, "children", None)
        return still(children) if children is not None else ""
    tag = node._type.lower()
    written = []
    for name, value in vars(node).items():
        if value is None or value is False:
            continue
        if name in ATTRIBUTES:
            written.append(f' {ATTRIBUTES[name]}="{escape(str(value))}"')
        elif name.startswith("aria-"):
            written.append(f' {name}="{escape(str(value))}"')
        elif name in ("open", "hidden"):
            written.append(f" {name}")
    opening = f"<{tag}{''.join(written)}>"
    if node._type in VOID:
        return opening
    return f"{opening}{still(getattr(node, 'children', None))}</{tag}>"


def _plot(node: Plot) -> str:
    """A chart's room, so that nothing moves when it comes, and the figure that `chart.js` draws there."""
    props = json.dumps({name: getattr(node, name) for name in node.PROPS}, cls=PlotlyJSONEncoder)
    # Neither ends the script nor names a slot of the document.
    data = props.replace("<", "\\u003c").replace("{%", "{\\u0025")
    room = '<div class="plot-room"></div>'
    return f'<div class="plot">{room}<script type="application/json">{data}</script></div>'


def _field(node: Component) -> str:
    """A field of a plain form, which is sent without a script."""
    props = vars(node)
    value = str(props["value"])
    own = f'id="{escape(str(props["id"]))}" name="{escape(str(props["name"]))}"'
    if node._type == "Line":
        return f'<input {own} value="{escape(value)}">'
    options = "".join(
        f'<option value="{escape(one["value"])}"{" selected" if one["value"] == value else ""}>'
        f"{escape(one['label'])}</option>"
        for one in props["options"]
    )
    return f"<select {own}>{options}</select>"
