"""One answer everywhere: a book of some sixty situations, and every surface that speaks of them compared.

Pages, paper, messages, commands, JSON and counts are each read as a person or a program reads them, and every
claim found there is held beside what the watch stored. A surface that says nothing where it should speak is
wrong as well.
"""

import json
import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from sqlalchemy import update

from dashboard.paper.client import _room
from dashboard.paper.sheet import client_facts, sheet_of_piece
from dashboard.shell.app import build_app
from dashboard.shell.links import Links
from dashboard.shell.signing import signing_key
from model.answers.document import schema_of
from model.answers.records import ComingRecord, StateRecord
from model.records.schema.tables import PieceRow, Stack
from model.watch.tell import notices
from model.words.display import Display
from tests.contract import claims as read
from tests.contract import situations, stored
from tests.contract.comparing import (
    Claim,
    Comparing,
    of_page,
    of_piece,
    of_piece_page,
    of_place,
    of_stack,
    wrong,
)
from tests.contract.situations import NOW
from tests.contract.surfaces import World, asked, made_world, open_warnings, warnings_told

pytestmark = pytest.mark.slow

PRINTED = ("Chest of drawers", "Writing desk", "Short slot chest")
"""Pieces whose sheet is drawn as PDF; of the others what it says is read before it is drawn."""
FEW, SHOPS = 18, 6  # as many pieces as a first page lists one by one; of many silent homes, only some


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    with made_world(tmp_path_factory.mktemp("situations")) as made:
        yield made


def agree(claims: list[Claim], at_least: int) -> bool:
    """No claim contradicts the book, and there are as many as a maker would look for."""
    assert not wrong(claims), "\n".join(wrong(claims))
    return len(claims) >= at_least


def told_of(claims: list[Claim], what: str) -> set[str]:
    """What things a claim of a sort was made about."""
    return {one.about for one in claims if one.what == what}


# ---------------------------------------------------------------- the situations themselves


def test_the_book_holds_every_sort_of_situation(world: World) -> None:
    kinds = Counter(piece.kind for piece in world.pieces.values())
    assert len(world.pieces) + len(world.stacks) >= 60
    assert {"past", "near", "unknown", "working", "soon", "clear"} <= kinds.keys()
    assert min(kinds.values()) >= 4
    assert {stack.kind for stack in world.stacks.values()} == {"yes", "no", "unknown", "working"}
    fits = {document["kind"] for document in situations.EXAMPLES.values()}
    text_of = "".join(one.document for one in situations.pieces())
    assert all(f'"{kind}"' in text_of for kind in fits)
    for built in situations.pieces():
        if built.says:
            (piece,) = [one for one in world.pieces.values() if one.name == built.name]
            assert piece.kind == built.says, built.name
    assert any(piece.passed for piece in world.pieces.values())


# ---------------------------------------------------------------- pages


def test_the_first_page_counts_every_piece_and_stack(world: World) -> None:
    title = next(world.page("/").all("h1")).text()
    kinds = Counter(piece.kind for piece in world.pieces.values())
    told = Comparing("first page", "all")
    for kind, words in (
        ("past", "past a limit"),
        ("near", "near a limit"),
        ("unknown", "not known"),
        ("working", "being worked out"),
        ("soon", "within the year"),
    ):
        clause = next(
            (part for part in re.split(r", | and (?=\w+ (?:is|are))|; ", title) if words in part), ""
        )
        said = re.match(r"(\w+)", clause)
        told.say(kind, read.number(said[1]) if said else 0, kinds[kind])
    soon = [one for one in world.pieces.values() if one.kind == "soon"]
    first = min(soon, key=lambda one: one.likely[0]["low_days"])
    told.say("first", first.name in title, first.name, first.name in title)
    assert agree(told.claims, 6)


def test_the_first_page_says_of_each_what_the_book_holds(world: World) -> None:
    """Of a small shop the first page lists every piece: the book is split into shops as small."""
    found: list[Claim] = []
    ids, stacks = sorted(world.pieces), sorted(world.stacks)
    for number, few in enumerate(ids[start::SHOPS] for start in range(SHOPS)):
        assert len(few) <= FEW
        some = stacks[number::SHOPS]
        with world.copy(f"few-{number}") as store:
            with store.session() as session:
                session.execute(update(PieceRow).where(PieceRow.id.not_in(few)).values(retired_at=NOW))
                session.execute(update(Stack).where(Stack.id.not_in(some)).values(retired_at=NOW))
            client = build_app(store, lambda: NOW).server.test_client()
            page = read.page_of(client.get("/").get_data(as_text=True))
        found += of_page("first page", page, NOW, world.pieces, world.stacks)
    names = {one.name for one in [*world.pieces.values(), *world.stacks.values()]}
    assert told_of(found, "now") | told_of(found, "ready") == names
    assert agree(found, 2 * len(names))


@pytest.mark.parametrize("path", ["/pieces", "/stock", "/places", "/warnings"])
def test_a_list_says_of_each_what_the_book_holds(world: World, path: str) -> None:
    page = world.page(path)
    if path == "/warnings":
        found = warnings_told(world, page)
        assert agree(found, 10)
        return
    found = of_page(path, page, NOW, world.pieces, world.stacks)
    if path == "/pieces":
        assert told_of(found, "now") == {piece.name for piece in world.pieces.values()}
    elif path == "/stock":
        assert told_of(found, "ready") == {stack.name for stack in world.stacks.values()}
        title = next(page.all("h1")).text()
        for stack in world.stacks.values():
            assert (stack.name in title) is (stack.kind == "yes"), stack.name
    else:
        for row, links in read.rows_of(page, "place"):
            found += of_place(path, world.places[links[0][0]], row.text())
        assert told_of(found, "air") == {place.name for place in world.places.values()}
    assert agree(found, len(world.stacks))


@pytest.mark.parametrize(
    ("show", "kinds"),
    [
        ("past", ("past",)),
        ("near", ("near", "soon")),
        ("not%20known", ("unknown", "working", "dark")),
        ("clear", ("clear",)),
    ],
)
def test_the_list_of_pieces_is_sorted_by_the_same_answer(
    world: World, show: str, kinds: tuple[str, ...]
) -> None:
    """What will more likely than not pass a limit this year, or isn't known, is never listed as well."""
    listed = {links[0][0] for _, links in read.rows_of(world.page(f"/pieces?show={show}"), "piece")}
    assert listed == {number for number, piece in world.pieces.items() if piece.kind in kinds}


def test_a_piece_page_says_what_the_book_holds(world: World) -> None:
    found: list[Claim] = []
    for number, piece in world.pieces.items():
        found += of_piece_page("piece page", piece, world.page(f"/piece/{number}"), NOW)
    names = {piece.name for piece in world.pieces.values()}
    assert told_of(found, "now") == told_of(found, "date") == told_of(found, "width") == names
    assert told_of(found, "left") == {piece.name for piece in world.pieces.values() if piece.limits}
    assert told_of(found, "next window") >= {piece.name for piece in world.pieces.values() if piece.likely}
    assert agree(found, 12 * len(names))


def test_a_piece_page_in_metric_says_the_same(world: World) -> None:
    found: list[Claim] = []
    for number in sorted(world.pieces)[::6]:
        page = world.page(f"/piece/{number}?units=metric")
        assert "mm" in page.text()
        claims = of_piece_page("piece page, metric", world.pieces[number], page, NOW)
        found += [one for one in claims if one.what != "date"]
    assert agree(found, 60)


def test_a_place_page_says_of_all_that_stands_there_what_the_book_holds(world: World) -> None:
    found: list[Claim] = []
    for number, place in world.places.items():
        page = world.page(f"/place/{number}")
        found += of_page("place page", page, NOW, world.pieces, world.stacks)
        lead = next(node for node in page.all("p") if "lead" in node.attributes.get("class", ""))
        found += of_place("place page", place, lead.text())
        known = Comparing("place page", place.name)
        word = "not known" if place.verdict == "unknown" else ("steady", "moving")
        known.say(
            "now",
            lead.text(),
            word,
            any(one in lead.text() for one in ([word] if isinstance(word, str) else word)),
        )
        found += known.claims
    names = {one.name for one in [*world.pieces.values(), *world.stacks.values()]}
    assert told_of(found, "now") | told_of(found, "ready") >= names
    assert agree(found, len(names))


def test_a_stack_page_says_what_the_book_holds(world: World) -> None:
    found: list[Claim] = []
    for number, stack in world.stacks.items():
        page = world.page(f"/stack/{number}")
        lead = next(node for node in page.all("p") if "lead" in node.attributes.get("class", ""))
        found += of_stack("stack page", stack, lead.text(), NOW)
    assert agree(found, 3 * len(world.stacks))


def test_a_clients_page_says_what_the_book_holds(world: World) -> None:
    links = Links(signing_key(world.store))
    with world.store.session() as session:
        tokens = {number: links.make(session, number) for number in world.pieces}
    found: list[Claim] = []
    for number, piece in world.pieces.items():
        page = read.page_of(world.get(f"/for/{tokens[number]}"))
        found += of_piece("client page", piece, page.text().removeprefix(piece.name), NOW, read.TO_CLIENT)
        told = Comparing("client page", piece.name)
        if piece.kind in ("soon", "near") and piece.likely:
            told.say("next", "More likely than not" in page.text(), True)
        if piece.kind == "dark":
            told.say("next", "isn't known yet" in page.text(), True)
        low, high = piece.comfort.rh_low_pct, piece.comfort.rh_high_pct
        if low is not None and high is not None and low != high:
            told.say("humidity", read.humidity_ranges(page.text()), [(round(low), round(high))])
        found += told.claims
    assert told_of(found, "now") == {piece.name for piece in world.pieces.values()}
    assert agree(found, 2 * len(world.pieces))


# ---------------------------------------------------------------- paper and messages


def test_a_client_sheet_says_what_the_book_holds(world: World) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("needs pdftotext (Debian package poppler-utils)")
    homes = ("Shop", "Hay loft")
    told = []
    for piece in world.pieces.values():
        if piece.place in homes or (
            piece.kind in ("working", "unknown", "dark") and piece.name not in PRINTED
        ):
            continue
        with world.store.session() as session:
            if piece.name in PRINTED:
                pdf = world.folder / "sheet.pdf"
                pdf.write_bytes(sheet_of_piece(session, piece.id, NOW, Display("inch")))
                words = subprocess.run(
                    ["pdftotext", str(pdf), "-"], capture_output=True, text=True, check=True
                ).stdout
                words = re.sub(r"\s+", " ", words)
            else:
                words = _room(client_facts(session, piece.id, NOW))
        one = Comparing("client sheet", piece.name)
        harmed = [limit.says for limit in piece.limits if limit.standing == "past" and _harms(piece, limit)]
        harmed += [coming["says"] for coming in piece.likely if coming["severity"] == "harms"]
        if piece.coming is not None:
            said = "won't have room enough" in words
            one.say("next", said, harmed, said is bool(harmed))
            if said and harmed:
                named = any(says.rstrip(".") in words.lower() for says in harmed)
                one.say("next", words[:200], harmed, named)
        if (
            piece.name in PRINTED
            and piece.comfort.rh_low_pct is not None
            and piece.comfort.ceiling_pct is None
        ):
            range_said = (round(piece.comfort.rh_low_pct), round(piece.comfort.rh_high_pct or 0))
            one.say("humidity", read.humidity_ranges(words), [range_said])
        told += one.claims
    assert agree(told, 20)


def _harms(piece: stored.StoredPiece, limit: stored.Limit) -> bool:
    return any(
        one["severity"] == "harms"
        for one in piece.passed
        if (one["fit"], one["limit"], one["until_at"]) == (limit.fit, limit.name, None)
    )


def test_a_notice_says_what_the_book_holds(world: World) -> None:
    sent: list[str] = []
    address = ["json://localhost"]
    with world.copy("notices") as store:
        notices.plan(store, NOW, address)
        notices.send_due(store, NOW + timedelta(days=1), address, lambda _to, _title, body: sent.append(body))
        warned = open_warnings(store)
    names = {piece.name for piece in world.pieces.values()}
    lines = [line for body in sent for line in body.split("\n\n")]
    told: list[Claim] = []
    for line in lines:
        name = re.split(r"[,:] ", line)[0]
        if name not in names:
            continue
        one = Comparing("notice", name)
        own = [each for each in warned if each[0] == name]
        is_past = "past" in [verdict for _, verdict, _ in own]
        one.say("now", line, own, ("past" in line) is is_past or "years" in line)
        for left in read.margins(line):
            one.say("left", left, own, any(left.margin.agrees(at) for *_, at in own if at is not None))
        told += one.claims
    silent = [line for line in lines if "No reading" in line]
    for house in ("Lake house", "Mute house"):
        assert any(house in line for line in silent), house
    assert agree(told, 2)


# ---------------------------------------------------------------- commands and JSON


@pytest.fixture(scope="module")
def state(world: World) -> dict[str, Any]:
    status, printed = asked("state", "--json")
    assert status == 0
    return json.loads(printed)


def same_instant(said: str | None, at: datetime | None) -> bool:
    if said is None or at is None:
        return said is at
    return abs(datetime.fromisoformat(said) - at) < timedelta(seconds=1)


def test_state_in_json_is_the_book(world: World, state: dict[str, Any]) -> None:
    told: list[Claim] = []
    by_name = {entry["name"]: entry for entry in state["pieces"]}
    assert by_name.keys() == {piece.name for piece in world.pieces.values()}
    for piece in world.pieces.values():
        entry, one = by_name[piece.name], Comparing("state --json", piece.name)
        verdict = "unknown" if piece.kind == "working" else piece.verdict
        one.say("now", (entry["now"], entry["is_current"]), (verdict, piece.kind != "working"))
        coming = (
            None if piece.coming is None else [(c["fit"], c["limit"], c["chance_pct"]) for c in piece.coming]
        )
        said = entry["next"] and [(c["fit"], c["limit"], c["chance_pct"]) for c in entry["next"]]
        one.say("next", said if said != [] else [], coming)
        for said_one, stored_one in zip(entry["next"] or (), piece.coming or (), strict=False):
            assert piece.said_at is not None
            days = stored_one["low_days"], stored_one["high_days"]
            ends = [piece.said_at + timedelta(days=day) for day in days]
            right = same_instant(said_one["from_at"], ends[0]) and same_instant(said_one["until_at"], ends[1])
            one.say("next window", (said_one["from_at"], said_one["until_at"]), ends, right)
        spans = sorted((p["fit"], p["limit"], round(p["worst_mm"], 2)) for p in piece.passed)
        said_spans = sorted((p["fit"], p["limit"], round(p["worst_mm"], 2)) for p in entry["since"])
        if piece.kind != "working":
            one.say("since", said_spans, spans)
            margins = {(x.fit, x.name): round(x.margin_mm, 2) for x in piece.limits}
            said_margins = {
                (fit["name"], limit["name"]): limit["margin_mm"]
                for fit in entry["fits"]
                for limit in fit["limits"]
            }
            one.say("left", said_margins, margins)
        told += one.claims
    for stack in world.stacks.values():
        (entry,) = [item for item in state["stacks"] if item["name"] == stack.name]
        one = Comparing("state --json", stack.name)
        said_kind = "yes" if entry["ready"]["is_ready"] else "no"
        stored_kind = stack.kind if stack.kind == "yes" else "no"
        one.say("ready", said_kind, stored_kind)
        one.say("ready", entry["is_current"], stack.kind != "working")
        if stack.kind in ("yes", "no"):
            for end in ("from_at", "until_at"):
                at = stack.ready[end] and datetime.fromisoformat(stack.ready[end])
                one.say("ready window", entry["ready"][end], at, same_instant(entry["ready"][end], at))
            one.say("target", entry["ready"]["target_mc_pct"], round(stack.ready["target_mc_pct"], 2))
        told += one.claims
    assert agree(told, 4 * len(world.pieces))


def test_a_program_is_told_what_state_says_and_each_answer_keeps_to_its_schema(
    world: World, state: dict[str, Any]
) -> None:
    Draft202012Validator(schema_of(StateRecord)).validate(state)

    def asked_of(path: str) -> dict[str, Any]:
        told: dict[str, Any] = json.loads(world.get(f"/api/{path}"))
        return told

    for kind in ("places", "stacks", "pieces"):
        assert asked_of(kind)[kind] == state[kind]
        entry = state[kind][0]
        assert asked_of(f"{kind}/{entry['id']}") == entry
    coming = asked_of("next")
    Draft202012Validator(schema_of(ComingRecord)).validate(coming)
    assert len(coming["next"]) == sum(len(piece["next"] or ()) for piece in state["pieces"])
    # No hub has use for fifteen figures.
    fits = [fit for piece in state["pieces"] for fit in piece["fits"]]
    assert max(len(str(limit["margin_mm"])) for fit in fits for limit in fit["limits"]) < 8


def test_state_to_people_is_the_book(world: World) -> None:
    status, printed = asked("state")
    assert status == 0
    found: list[Claim] = []
    for line in printed.splitlines():
        for piece in world.pieces.values():
            if re.match(rf"pieces +{re.escape(piece.name)} {{2,}}", line):
                rest = line.partition(piece.name)[2]
                found += of_piece("state", piece, rest, NOW)
        for stack in world.stacks.values():
            if re.match(rf"stacks +{re.escape(stack.name)} {{2,}}", line):
                found += of_stack("state", stack, line.partition(stack.name)[2], NOW)
    assert told_of(found, "now") == {piece.name for piece in world.pieces.values()}
    assert told_of(found, "ready") == {stack.name for stack in world.stacks.values()}
    assert agree(found, 100)


def test_ready_and_glue_up_give_the_answer_of_state(world: World, state: dict[str, Any]) -> None:
    found: list[Claim] = []
    for stack in world.stacks.values():
        (entry,) = [item for item in state["stacks"] if item["name"] == stack.name]
        status, printed = asked("ready", stack.name)
        found += of_stack("ready", stack, printed.partition(": ")[2], NOW)
        assert status == (0 if stack.kind == "yes" else 1)
        status, printed = asked("ready", stack.name, "--json")
        assert json.loads(printed)["ready"] == entry["ready"]
    for place in ("Shop", "Even house"):
        _, printed = asked("glue-up", place, "--json")
        lines = {line["name"]: line for line in json.loads(printed)["stacks"]}
        assert lines.keys() == {stack.name for stack in world.stacks.values() if stack.place == place}
        for stack in world.stacks.values():
            if stack.place == place and stack.kind in ("yes", "no"):
                one = Comparing("glue-up", stack.name)
                one.say("ready", lines[stack.name]["is_ready"], stack.kind == "yes")
                found += one.claims
                found += of_stack("glue-up", stack, lines[stack.name]["says"], NOW)
    assert agree(found, 4 * len(world.stacks))


def test_outlook_gives_the_answer_of_state(world: World, state: dict[str, Any]) -> None:
    entries = {entry["name"]: entry for entry in state["pieces"]}
    found: list[Claim] = []
    for piece in [
        one for kind in sorted({p.kind for p in world.pieces.values()}) for one in _some(world, kind)
    ]:
        one = Comparing("outlook", piece.name)
        status, printed = asked("outlook", piece.name, "--json")
        if piece.coming is None:
            one.say("next", status, 2)
        else:
            one.say("next", json.loads(printed)["next"], entries[piece.name]["next"])
            status, printed = asked("outlook", piece.name)
            found += of_piece("outlook", piece, printed.partition("\n")[0].removeprefix(piece.name), NOW)
        found += one.claims
    assert agree(found, 15)


def _some(world: World, kind: str) -> list[stored.StoredPiece]:
    return [piece for piece in world.pieces.values() if piece.kind == kind][:2]


def test_metrics_count_what_the_book_holds(world: World) -> None:
    said = dict(
        re.findall(r'paneltide_verdicts\{subject="piece",verdict="(\w+)"\} (\d+)', world.get("/metrics"))
    )
    counts = Counter("unknown" if one.kind == "working" else one.verdict for one in world.pieces.values())
    assert {verdict: int(count) for verdict, count in said.items()} == {
        verdict: counts[verdict] for verdict in ("clear", "near", "past", "unknown")
    }
