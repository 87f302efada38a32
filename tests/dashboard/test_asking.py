"""A question's answer is an address: by its button or by Enter, with a unit behind each size."""

import json

import pytest

from dashboard.shell.app import build_app

UPDATE = "/_dash-update-component"


def asked(app, form: str, href: str, typed: dict[str, str], by_enter: bool) -> str:
    """Where a page's question leads to, from an address and what stands in its fields."""
    button, line = {"act": form, "number": 0}, {"form": form, "key": next(iter(typed))}
    wanted = json.dumps({"act": form, "number": ["ALL"]}, separators=(",", ":"))
    output, callback = next(
        (output, one) for output, one in app.callback_map.items() if one["inputs"][0]["id"] == wanted
    )
    id, _, what = output.partition("@")[0].rpartition(".")
    lines = [
        {"id": {"form": form, "key": key}, "property": "entered", "value": 1.0 if by_enter else None}
        for key in typed
    ]
    fields = [{**one, "property": "value", "value": typed[one["id"]["key"]]} for one in lines]
    changed = (line, "entered") if by_enter else (button, "n_clicks")
    name = json.dumps(changed[0], sort_keys=True, separators=(",", ":"))
    answer = app.server.test_client().post(
        UPDATE,
        json={
            "output": output,
            "outputs": {"id": id, "property": what},
            "inputs": [[{"id": button, "property": "n_clicks", "value": None if by_enter else 1}], lines],
            "state": [fields, {"id": "address", "property": "href", "value": href}],
            "changedPropIds": [f"{name}.{changed[1]}"],
        },
    )
    assert len(callback["state"]) == 2
    return answer.get_json()["response"]["address"]["href"]


@pytest.mark.parametrize("by_enter", [False, True])
@pytest.mark.parametrize(
    ("form", "here", "typed", "leads_to"),
    [
        ("plan", "/plan", {"width": "18", "species": "ash", "mc": ""}, "/plan?width=18+in&species=ash"),
        (
            "corners",
            "/place/2/corners?sun=80F",
            {"room": "70", "rh": "40"},
            "/place/2/corners?room=70+F&rh=40",
        ),
        ("rehearse", "/rehearse?width=18+in", {"air": "2"}, "/rehearse?width=18+in&air=2"),
        ("deliver", "/piece/1/deliver", {"to": "2", "garage": "unheated"}, "/piece/1/deliver?to=2"),
    ],
)
def test_a_question_leads_to_an_address_that_can_be_sent(book, now, form, here, typed, leads_to, by_enter):
    app = build_app(book.store, lambda: now)
    assert asked(app, form, f"http://127.0.0.1{here}", typed, by_enter) == leads_to
