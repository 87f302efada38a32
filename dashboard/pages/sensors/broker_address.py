"""What is typed into a sensor so that it reaches the broker, and whether anything came."""

from typing import Any

from dash import html

from dashboard.pages.frame import folded
from dashboard.shell.view import View


def block(view: View, *, opened: bool) -> html.Details | None:
    """The broker's address as a sensor on the network would type it; the password behind a press.

    `opened` shows it at once, where no sensor has been heard yet. None where the broker isn't known.
    """
    if view.context.sensors is None or view.context.sensors.broker is None:
        return None
    address = view.context.sensors.broker()
    facts: list[Any] = []
    if address.hosts:
        first, *others = address.hosts
        facts += [html.Dt("broker"), html.Dd([html.B(first), f" or {', '.join(others)}" if others else ""])]
        facts += [html.Dt("port"), html.Dd(html.B(str(address.port)))]
    if address.hosts and address.user:
        facts += [html.Dt("user"), html.Dd(html.B(address.user))]
        password = folded("Show it", html.B(address.password))
        facts += [html.Dt("password"), html.Dd(password)]
    first_said = _with_commands(address.said[0])
    return folded(
        "Let a sensor talk",
        html.P(["Type this into each sensor. ", *first_said]) if facts else html.P(first_said),
        html.Dl(facts, className="facts") if facts else None,
        html.P(address.heard) if address.heard else None,
        *[html.P(_with_commands(sentence), className="soft small") for sentence in address.said[1:]],
        is_open=opened,
        className="part",
    )


def _with_commands(sentence: str) -> list[Any]:
    """A sentence with what is to be typed, between back-ticks, set as such."""
    return [html.Code(part) if odd % 2 else part for odd, part in enumerate(sentence.split("`"))]
