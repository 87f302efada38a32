"""The callback that turns the pages: what a press, a tick, or both in one message bring."""

import json

import pytest

from dashboard.pages.frame import ACTED, ADDRESS, PAGE, SAID, SHOWN, TICK, UNITS
from dashboard.shell.app import build_app

OUTPUTS = (
    (PAGE, "children"),
    (SHOWN, "data"),
    (UNITS, "children"),
    (UNITS, "aria-label"),
    (SAID, "children"),
)


@pytest.fixture
def turn(book, now):
    """Turn the page as a browser asks for it; the components that come back, by their id."""
    client = build_app(book.store, lambda: now).server.test_client()

    def ask(
        path: str, shown: dict[str, str], *changed: str, acted: dict[str, str] | None = None
    ) -> dict[str, dict[str, object]]:
        answer = client.post(
            "/_dash-update-component",
            json={
                "output": "..{}..".format("...".join(f"{name}.{part}" for name, part in OUTPUTS)),
                "outputs": [{"id": name, "property": part} for name, part in OUTPUTS],
                "inputs": [
                    {"id": ADDRESS, "property": "href", "value": f"http://localhost{path}"},
                    {"id": UNITS, "property": "n_clicks", "value": 1},
                    {"id": TICK, "property": "n_intervals", "value": 1},
                    {"id": ACTED, "property": "data", "value": acted or {}},
                ],
                "changedPropIds": list(changed),
                "state": [{"id": SHOWN, "property": "data", "value": shown}],
            },
        )
        assert answer.status_code in (200, 204), answer.get_data(as_text=True)
        return (answer.get_json() or {}).get("response", {}) if answer.status_code == 200 else {}

    return ask


def shows(found: dict[str, dict[str, object]]) -> str:
    return json.dumps(found[PAGE]["children"])


PRESS, PASSING, SWITCH = f"{ADDRESS}.href", f"{TICK}.n_intervals", f"{UNITS}.n_clicks"
ON_TODAY = {"units": "inch", "digest": "", "path": "/"}


def test_a_press_is_answered_when_it_comes_with_a_tick(turn):
    for changed in ((PRESS,), (PRESS, PASSING), (PASSING, PRESS)):
        assert '"data-path": "/stock"' in shows(turn("/stock", ON_TODAY, *changed))


def test_a_switch_of_units_is_answered_when_it_comes_with_a_tick(turn):
    # What was switched is kept in a cookie, so the second press switches back.
    for changed, units in (((SWITCH,), "metric"), ((PASSING, SWITCH), "inch")):
        assert turn("/", ON_TODAY, *changed)[SHOWN]["data"]["units"] == units


def test_a_page_that_is_written_on_is_left_alone_by_time(turn):
    assert turn("/stock", {**ON_TODAY, "path": "/stock"}, PASSING) == {}


def test_a_page_that_did_not_come_is_brought_by_the_next_tick(turn):
    assert '"data-path": "/stock"' in shows(turn("/stock", ON_TODAY, PASSING))


def test_a_page_that_reads_the_same_is_not_sent_again(turn):
    shown = turn("/", ON_TODAY, PASSING)[SHOWN]["data"]
    assert shown["path"] == "/"
    assert turn("/", shown, PASSING) == {}


def test_what_an_act_changed_is_drawn_by_the_next_tick_when_that_overtook_it(turn):
    """The browser drops an answer that is on its way once the same is asked again; a tick asks it every few
    seconds, and a busy machine answers later than that."""
    shown, done = {**ON_TODAY, "path": "/stock"}, {"nonce": "1f", "path": "/stock"}
    drawn = turn("/stock", shown, PASSING, acted=done)
    assert '"data-path": "/stock"' in shows(drawn)
    assert turn("/stock", drawn[SHOWN]["data"], PASSING, acted=done) == {}


def test_a_switch_of_units_that_a_tick_overtook_is_drawn(turn):
    assert '"data-path": "/stock"' in shows(
        turn("/stock", {**ON_TODAY, "units": "metric", "path": "/stock"}, PASSING)
    )
