"""What a press comes to when its row is gone, the book is busy, or the message is none of ours."""

import json
import logging
import sqlite3
import threading
from contextlib import closing

import pytest
from sqlalchemy import event

from dashboard.shell import patience
from dashboard.shell.app import build_app
from model.records.schema.tables import Measurement, Place
from model.records.store import Store

UPDATE = "/_dash-update-component"
GONE = 4711


@pytest.fixture
def app(book, now):
    return build_app(book.store, lambda: now)


def name_of(id) -> str:
    """An identity as the pages' script writes it."""
    return id if isinstance(id, str) else json.dumps(id, sort_keys=True, separators=(",", ":"))


def message(output: str, callback, inputs, state, changed) -> dict:
    parted = [one.rpartition(".") for one in output.strip(".").split("...")]
    named = [{"id": id, "property": what.partition("@")[0]} for id, _, what in parted]
    return {
        "output": output,
        "outputs": named if output.startswith("..") else named[0],
        "inputs": inputs,
        "state": state,
        "changedPropIds": changed,
    }


def press(app, id: dict, typed: dict | None = None) -> dict:
    """The message for a press of the button with an id, beside the fields of its form as typed."""
    button = name_of({part: value if part == "act" else ["ALL"] for part, value in id.items()})
    for output, callback in app.callback_map.items():
        if callback["inputs"][0] == {"id": button, "property": "n_clicks"}:
            fields = [
                {"id": {"form": id["act"], "key": key}, "property": "value", "value": value}
                for key, value in (typed or {}).items()
            ]
            pressed = [[{"id": id, "property": "n_clicks", "value": 1}]]
            state = [
                fields if one["id"].startswith("{") else {**one, "value": "/"} for one in callback["state"]
            ]
            return message(output, callback, pressed, state, [f"{name_of(id)}.n_clicks"])
    raise AssertionError(f"no page has the button {button}")


def said(answer) -> str:
    """What an answer says at the head of the page."""
    document = answer.get_json()
    told = (document.get("sideUpdate") or {}).get("said") or document["response"]["said"]
    return json.dumps(told, ensure_ascii=False)


# ---------------------------------------------------------------- rows that are gone

SINCE = "2026-02-08"


PRESSES = [
    ({"act": "piece-move", "piece": GONE}, {"place": "1", "at": SINCE}),
    ({"act": "piece-measure", "piece": GONE}, {"what": "mc:1", "value": "8", "at": SINCE}),
    ({"act": "piece-retire", "piece": GONE}, {}),
    ({"act": "piece-restore", "piece": GONE}, {}),
    ({"act": "stack-move", "stack": GONE}, {"place": "1", "at": SINCE}),
    ({"act": "meter", "stack": GONE}, {"mc": "8", "how": "pin meter", "at": SINCE}),
    ({"act": "stack-retire", "stack": GONE}, {}),
    ({"act": "place", "place": GONE}, {"name": "Loft"}),
    ({"act": "hang", "sensor": GONE}, {"place": "1", "at": SINCE}),
    ({"act": "sensor-edit", "sensor": GONE}, {"name": "bench"}),
    ({"act": "swap", "number": GONE}, {"by": "1", "at": SINCE}),
    ({"act": "doubt", "number": GONE}, {"from": SINCE, "until": SINCE}),
    ({"act": "answer", "warning": GONE}, {}),
    ({"act": "client", "client": GONE}, {"name": "Dov", "reach": "", "note": ""}),
    ({"act": "client-theirs", "client": GONE}, {"what": "piece:1"}),
    ({"act": "client-archive", "client": GONE}, {}),
    ({"act": "client-restore", "client": GONE}, {}),
    ({"act": "client-erase", "client": GONE}, {}),
    ({"act": "give link", "piece": GONE}, {}),
    ({"undo": GONE}, {}),
]


def test_a_press_on_what_was_taken_out_meanwhile_is_answered_in_a_sentence(app, caplog):
    client = app.server.test_client()
    for button, typed in PRESSES:
        answer = client.post(UPDATE, json=press(app, button, typed))
        assert answer.status_code == 200, button
        told = said(answer)
        assert "alert" in told
        assert any(words in told for words in ("not in the book any more", "must be", "any more")), button
    assert not [record for record in caplog.records if record.exc_info]


def test_a_file_of_what_is_gone_is_answered_in_a_sentence(app):
    client = app.server.test_client()
    for number in (GONE, 10**21):
        for path in ("piece.toml", "sheet.pdf", "job.pdf", "record.json", "record.txt"):
            answer = client.get(f"/piece/{number}/{path}")
            assert answer.status_code == 404
            text = answer.get_data(as_text=True)
            assert "no such piece" in text or "There is no page at this address" in text


def test_every_page_of_what_is_gone_says_so(app):
    from dashboard.shell import page_registry

    client = app.server.test_client()
    for route in page_registry.routes():
        path = "/".join(str(GONE) if part.startswith("<") else part for part in route.template.split("/"))
        answer = client.get(path)
        assert answer.status_code == 200, path
        if str(GONE) in path:
            assert "That is not in the book" in answer.get_data(as_text=True), path


@pytest.mark.slow
def test_an_address_that_asks_for_what_is_gone_or_rubbish_is_no_failure(app, book, caplog):
    from dashboard.shell import page_registry

    numbers = {"piece": book.bench, "place": book.flat, "stack": book.stack, "sensor": 1}
    words = (
        "place fit air first begin days since until from zoom to at choose home number window species width"
    )
    keys = words.split()
    client = app.server.test_client()
    for route in page_registry.routes():
        path = route.template
        for kind, number in numbers.items():
            path = path.replace(f"<{kind}_id>", str(number))
        for rubbish in (str(GONE), "9" * 30, "piece-4711"):
            answer = client.get(path, query_string=dict.fromkeys(keys, rubbish))
            assert answer.status_code in (200, 400, 404, 422), (path, rubbish)
    assert not [record for record in caplog.records if record.exc_info]


# ---------------------------------------------------------------- messages that are none of ours


def rubbish(app) -> list:
    whole = press(app, {"act": "piece-retire", "piece": 1})
    return [
        None,
        [],
        "piece",
        {},
        {"output": 7},
        {"output": "..page.children.."},
        {**whole, "inputs": None},
        {**whole, "inputs": []},
        {**whole, "inputs": [{"id": "x"}]},
        {**whole, "inputs": [[{"id": {"act": "piece-retire", "piece": "x"}, "property": "n_clicks"}]]},
        {**whole, "inputs": [[{"id": {"act": "piece-retire", "piece": 10**40}, "property": "n_clicks"}]]},
        {**whole, "inputs": [[{"id": {"act": "piece-retire", "piece": 1}, "property": "value"}]]},
        {**whole, "state": [[{"id": {"form": "x", "key": []}, "property": "value", "value": {}}]]},
        {**whole, "changedPropIds": "all"},
        {**whole, "changedPropIds": [{"a": 1}]},
        {**whole, "changedPropIds": ['{"act": broken.n_clicks']},
        {**whole, "changedPropIds": ['{"act":"piece-retire","piece":"x"}.n_clicks']},
        {**whole, "outputs": 3},
    ]


def test_a_malformed_message_is_refused_without_a_trace_in_the_log(app, caplog):
    client = app.server.test_client()
    for body in rubbish(app):
        answer = client.post(UPDATE, json=body)
        assert answer.status_code == 400, body
    for text in (b"", b"{", b"\xff\xfe", b"[" * 50_000):
        answer = client.post(UPDATE, data=text, content_type="application/json")
        assert answer.status_code == 400, text[:10]
    assert client.post(UPDATE, data=b"piece=1").status_code in (400, 415)
    assert not [record for record in caplog.records if record.exc_info]


def test_no_page_fails_on_values_nobody_typed(app, caplog):
    client = app.server.test_client()
    for output, callback in app.callback_map.items():
        for value in ("x" * 3000, "", None, -1, 10**30, 1e308, True, {}, {"piece": 3}, [], "http://["):

            def item(declared, value=value):
                if not declared["id"].startswith("{"):
                    return {**declared, "value": value}
                id = {
                    key: GONE if key in ("number", "piece", "place", "stack", "sensor", "row") else "x"
                    for key in json.loads(declared["id"])
                } | {key: one for key, one in json.loads(declared["id"]).items() if isinstance(one, str)}
                return [{"id": id, "property": declared["property"], "value": value}]

            inputs = [item(one) for one in callback["inputs"]]
            first = inputs[0][0] if isinstance(inputs[0], list) else inputs[0]
            changed = [f"{name_of(first['id'])}.{first['property']}"]
            body = message(output, callback, inputs, [item(one) for one in callback["state"]], changed)
            answer = client.post(UPDATE, json=body)
            assert answer.status_code in (200, 204, 400), (output, value)
    assert not [record.exc_info for record in caplog.records if record.exc_info]


def test_a_script_that_is_not_there_is_no_failure(app, caplog):
    client = app.server.test_client()
    for path in ("/_dash-component-suites/dash/nothing.js", "/_dash-component-suites/chisel/x.js"):
        assert client.get(path).status_code == 404
    assert not [record for record in caplog.records if record.exc_info]


# ---------------------------------------------------------------- a busy book


@pytest.fixture
def hurried(book, now, monkeypatch):
    """The dashboard over the same book, with little patience."""
    store = Store(book.store.url.render_as_string(hide_password=False), busy_timeout_s=0.05)
    app = build_app(store, lambda: now)
    monkeypatch.setattr(patience, "PATIENCE_S", 0.3)
    yield app
    store.close()


def measured(book) -> int:
    with book.store.session() as session:
        return session.query(Measurement).count()


TYPED = {"what": "mc:1", "value": "7.6", "how": "pin meter", "at": SINCE}


def test_what_was_typed_while_an_import_writes_is_said_not_to_be_saved_and_stays(book, hurried, caplog):
    with closing(sqlite3.connect(book.store.url.database, isolation_level=None)) as importing:
        importing.execute("BEGIN IMMEDIATE")
        button = {"act": "piece-measure", "piece": book.bench}
        typed = TYPED | {"what": f"mc:{book.bench_panel}"}
        answer = hurried.server.test_client().post(UPDATE, json=press(hurried, button, typed))
        importing.execute("ROLLBACK")
    assert answer.status_code == 200
    told = said(answer)
    assert "Not saved: the book is busy" in told
    assert "What you typed is still here" in told
    # Nothing else on the page is touched, so the form stands as it was.
    document = answer.get_json()
    assert document.get("response", {}) == {}
    assert set(document["sideUpdate"]) == {"said"}
    assert measured(book) == 0
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]


def test_what_was_typed_while_the_disk_takes_nothing_is_said_not_to_be_saved_and_stays(book, app, caplog):
    book.store.close()
    # As of a disk that is mounted read-only: every page is read, every write is refused.
    event.listen(
        book.store.engine, "connect", lambda connection, _: connection.execute("PRAGMA query_only = ON")
    )
    client = app.server.test_client()
    assert client.get("/").status_code == 200
    button = {"act": "piece-measure", "piece": book.bench}
    answer = client.post(UPDATE, json=press(app, button, TYPED | {"what": f"mc:{book.bench_panel}"}))
    assert answer.status_code == 200
    assert "Not saved: the disk of the book takes nothing, it is full or read-only." in said(answer)
    assert set(answer.get_json()["sideUpdate"]) == {"said"}
    assert measured(book) == 0
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]


def test_a_press_waits_for_an_import_that_ends_soon_and_is_saved(book, hurried, monkeypatch):
    monkeypatch.setattr(patience, "PATIENCE_S", 30.0)
    tried = threading.Event()
    monkeypatch.setattr(patience.time, "sleep", lambda _s: tried.set())
    importing = sqlite3.connect(book.store.url.database, isolation_level=None, check_same_thread=False)
    importing.execute("BEGIN IMMEDIATE")

    def end_once_tried() -> None:
        tried.wait(20)
        importing.execute("COMMIT")

    ending = threading.Thread(target=end_once_tried)
    ending.start()
    button = {"act": "piece-measure", "piece": book.bench}
    typed = TYPED | {"what": f"mc:{book.bench_panel}"}
    answer = hurried.server.test_client().post(UPDATE, json=press(hurried, button, typed))
    ending.join()
    importing.close()
    assert tried.is_set()
    assert "is recorded" in said(answer)
    assert measured(book) == 1


def test_a_page_that_can_not_be_read_says_so(app, book, monkeypatch):
    from sqlalchemy.exc import OperationalError

    def away(*_given, **_more):
        raise OperationalError("SELECT 1", {}, Exception("no connection"))

    monkeypatch.setattr("dashboard.pages.pieces.pieces.queries.pieces", away)
    answer = app.server.test_client().get("/pieces")
    assert answer.status_code == 503
    assert "The book did not answer" in answer.get_data(as_text=True)


# ---------------------------------------------------------------- what is wrong, beside its field


def beside(app, form: str, answer) -> dict[str, str]:
    """What is said beside the fields of a form, by field, where anything is."""
    updates = answer.get_json()["sideUpdate"]
    return {
        id["key"]: update["children"]
        for name, update in updates.items()
        if name.startswith("{") and (id := json.loads(name)).get("fault") == form and update["children"]
    }


@pytest.mark.parametrize(
    ("form", "whose", "typed", "faults"),
    [
        (
            "stack-edit",
            "stack",
            {"name": "Ash", "species": "ash", "thickness": "thick", "mc": "dry", "destination": ""},
            {"thickness": "Thickness must be", "mc": "Moisture content must be a number (got 'dry')."},
        ),
        (
            "place",
            "place",
            {"name": "", "kind": "home", "zone": "UTC", "offset": "0", "latitude": "48"},
            {"name": "Place name must be given"},
        ),
        (
            "sensor-edit",
            "sensor",
            {"name": "bench", "temperature_unit": "C", "zone": "Nowhere"},
            {"zone": "Zone"},
        ),
        (
            "piece-move",
            "piece",
            {"place": "", "at": ""},
            {"place": "To must be one of", "at": "From must be a"},
        ),
        ("contact", "number", {"name": "", "line": "", "link": "tel:1"}, {"name": "Name must be given"}),
        (
            "adhesive",
            "number",
            {"name": "epoxy", "least": "cold", "most": "30"},
            {"least": "Not colder than"},
        ),
    ],
)
def test_what_is_wrong_is_said_beside_each_field_and_at_the_head(app, book, form, whose, typed, faults):
    number = {"stack": book.stack, "place": book.flat, "sensor": 1, "piece": book.bench, "number": 0}[whose]
    answer = app.server.test_client().post(UPDATE, json=press(app, {"act": form, whose: number}, typed))
    found = beside(app, form, answer)
    assert set(faults) <= set(found)
    for key, said_of_it in faults.items():
        assert found[key].startswith(said_of_it)
    assert "alert" in said(answer)


def test_a_form_shows_what_is_on_record_in_the_viewers_unit(app, book, now):
    from dashboard.pages.lumber import stack_edit
    from dashboard.pages.places import place_edit
    from dashboard.shell.view import Context, View
    from model.words.display import Display

    with book.store.session() as session:
        session.get_one(Place, book.flat).wood_offset_c = -5.0
    for units, offset, thickness in (("inch", "-9", "1"), ("metric", "-5", "25.4")):
        view = View(Context(book.store, lambda: now), Display(units), now)
        assert f"value='{offset}'" in str(place_edit.EDIT.layout(view, book.flat))
        assert f"value='{thickness}'" in str(stack_edit.EDIT.layout(view, book.stack))
