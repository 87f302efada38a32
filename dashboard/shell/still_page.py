"""Pages that are paper: whole documents of still HTML, with no script but the one that turns day to night."""

from html import escape
from typing import Any

from dash import html

from dashboard.shell.static_html import still

PAPER = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">
<meta name="robots" content="noindex">
<script src="/assets/page.js"></script>
<title>{title}</title>
<link rel="icon" href="/assets/mark.svg" type="image/svg+xml">
<link rel="stylesheet" href="/assets/paper.css">
</head>
<body>
<header class="top"><div class="top-row"><span class="name">paneltide</span></div>
<div class="scale" aria-hidden="true"></div></header>
{body}
</body>
</html>"""


def paper(title: str, body: Any) -> str:
    """A whole document around components, or around HTML that is already text."""
    written = body if isinstance(body, str) else still(body)
    return PAPER.format(title=escape(title), body=written)


def door_page(action: str, problem: str) -> str:
    """The page that asks for the password."""
    said = still(html.P(problem, className="problem", role="alert")) if problem else ""
    body = f"""<main class="sheet"><h1>Whose shop is it?</h1>
{said}<form method="post" action="{escape(action)}" class="door">
<label for="password">Password</label>
<input id="password" name="password" type="password" autocomplete="current-password" autofocus required>
<p><button class="first">Enter</button></p>
</form></main>"""
    return paper("Enter · paneltide", body)
