"""The guide for makers, as pages: the files of the guide's folder, read as they are."""

from collections.abc import Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any

from dash import html
from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode

from dashboard.pages.frame import aria, missing, scrolling, sheet
from dashboard.shell.view import Route, View, address

PARTS = {
    "start": "From the box to the first verdict",
    "sensors": "Sensors",
    "broker": "The broker",
    "home": "A client's home",
    "phones": "Phones",
    "verdicts": "Reading a verdict",
    "notices": "Notices and calendar",
    "speaks": "It speaks to others",
    "trouble": "A sensor in trouble",
    "backups": "Backups, memory, disk",
    "safety": "Cautions",
}
"""The guide's files by name, in reading order, with a short title each."""

TAGS = {
    "paragraph": html.P,
    "bullet_list": html.Ul,
    "ordered_list": html.Ol,
    "list_item": html.Li,
    "strong": html.Strong,
    "em": html.Em,
    "thead": html.Thead,
    "tbody": html.Tbody,
    "tr": html.Tr,
    "th": html.Th,
    "td": html.Td,
}


def layout(view: View, name: str = "start") -> html.Main:
    """One part of the guide, with the way to the others."""
    folder = view.context.guide
    if folder is None:
        return missing("The guide is not here.")
    title, body = _read(folder / f"{name}.md")
    links = [
        html.A(said, href=_href(part), **aria(current="true" if part == name else "false"))
        for part, said in PARTS.items()
    ]
    return sheet(
        title,
        html.Nav(links, className="tabs", **aria(label="Parts of the guide")),
        html.Div(body, className="guide"),
    )


@cache
def _read(file: Path) -> tuple[str, list[Any]]:
    """A file's title and the elements of its text."""
    tree = SyntaxTreeNode(MarkdownIt("commonmark").enable("table").parse(file.read_text("utf-8")))
    first, *rest = tree.children
    return _text(first), [_element(node) for node in rest]


def _element(node: SyntaxTreeNode) -> Any:
    if node.type in ("text", "softbreak"):
        return node.content or " "
    if node.type in ("code_inline", "fence", "code_block"):
        code = html.Code(node.content)
        return code if node.type == "code_inline" else html.Pre(code)
    inner = _elements(node.children)
    if node.type == "inline":
        return inner
    if node.type == "heading":
        return {"h2": html.H2, "h3": html.H3}[node.tag](inner)
    if node.type == "image":
        file = str(node.attrs["src"]).rpartition("/")[2]
        return html.Img(src=f"/assets/shots/{file}", alt=node.content, className="shot")
    if node.type == "link":
        return html.A(inner, href=_target(str(node.attrs["href"])))
    if node.type == "table":
        return scrolling(html.Table(inner), "Table")
    return TAGS[node.type](inner)


def _elements(nodes: Sequence[SyntaxTreeNode]) -> list[Any]:
    found: list[Any] = []
    for node in nodes:
        made = _element(node)
        found += made if isinstance(made, list) else [made]
    return found


def _target(href: str) -> str:
    """A link as the page has it: another part of the guide is a page here."""
    name = href.removesuffix(".md")
    return _href(name) if name in PARTS else href


def _text(node: SyntaxTreeNode) -> str:
    return node.content if not node.children else "".join(_text(child) for child in node.children)


def _href(name: str) -> str:
    return address("help") if name == "start" else address("help", name)


ROUTES = [
    Route("/help", layout, live=False),
    *(Route(f"/help/{name}", partial(layout, name=name), live=False) for name in PARTS),
]
