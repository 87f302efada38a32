"""Every reason is a sentence, in inches or in mm and never in both, without a key or an empty slot."""

import ast
import re
import string
from pathlib import Path
from typing import Any

import pytest

import model.answers
import model.records.queries
import model.watch
from model.wood.reason import Reason
from model.words.display import Display, plain
from model.words.reasons import SENTENCES, clause, in_sentences

LIMIT = Reason(
    "slot-end-dry",
    {
        "how": "",
        "direction": "shrinking",
        "severity": "harms",
        "parts": ("the bottom of the top drawer",),
        "across": "back",
    },
)
# Sizes of a drawer front in its opening, a stack from the kiln and a winter's room, by what a slot is called.
VALUES: dict[str, Any] = {
    "about": "Red oak, 8/4",
    "acts": (Reason("let-it-be-dry"), Reason("off-registers")),
    "also": (),
    "basis": "412 days of air recorded there",
    "before_basis": "nothing is recorded there",
    "decides": Reason("air-decides", {"place": "the bench room"}),
    "direction": "shrinking",
    "beside": "the rack",
    "damp": "north wall",
    "dry": "bench",
    "end": "dry",
    "fit": "the top drawer",
    "fits": ("the top drawer", "the left door"),
    "dry_fit": "the left door",
    "wet_fit": "the top drawer",
    "size": "overhang in front",
    "glue": "hide glue",
    "how": "",
    "kind": "shop",
    "leads": Reason("settles", {"emc_pct": 8.53}),
    "part": "the top drawer front",
    "parts": ("the left door", "the right door"),
    "across": "rail",
    "pieces": ("Hall bench", "Ash chest", "Wall cabinet", "Maple desk", "Blanket box"),
    "place": "the mill flat",
    "problem": "width must be given",
    "season": "winter",
    "seen": LIMIT,
    "sensor": "north wall",
    "severity": "harms",
    "species": "white ash",
    "stack": "Red oak, 8/4",
    "target": Reason("target-home", {"place": "the mill flat", "target_pct": 7.68}),
    "text": "nobody said where it stands",
    "was": Reason("near", {"margin_mm": 0.42, "play_mm": 3.1, "seen": LIMIT}),
    "why": Reason("door-not-flat"),
    "likelihood": "likely",
    "quarters": "8/4",
    "leaves": 3,
    "window": Reason("mc-window", {"how": "between", "low_pct": 6.26, "high_pct": 10.4}),
    "is_inside": True,
    "low_days": 9,
    "high_days": 34,
    "when": None,
}
NUMBERS = {"mm": -0.63, "pct": 3.47, "c": 8.4, "days": 23.0, "h": 72, "count": 5}
MADE_OF_PARTS = {"part", "across", "screws", "lip", "lock", "overhang"}
ONE_SYSTEM = {"inch": re.compile(r"\bmm\b|°C"), "metric": re.compile(r"\d\sin\b|°F|\d/\d")}
WORDS_OF_A_MAKER = re.compile(r"\b(members?|easy)\b")


def slots_of(sentence: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(sentence) if name}


def value_of(name: str) -> Any:
    if name in VALUES:
        return VALUES[name]
    unit = "pct" if "_pct" in name else name.rsplit("_", 1)[-1]
    number = NUMBERS[unit]
    return number * 10 if name.endswith("rh_pct") else number


def reason_of(key: str) -> Reason:
    name, _, how = key.partition(" ")
    slots = slots_of(SENTENCES[key])
    if slots and slots <= MADE_OF_PARTS:
        return Reason(name, {"how": how, "parts": VALUES["parts"], "across": "rail"})
    slots |= {"low_days", "high_days"} if "when" in slots else set()
    if {"stock", "year"} & slots:
        slots |= {"stock_mc_pct", "mc_doubt_pct", "dry_pct", "wet_pct"}
    values = {slot: value_of(slot) for slot in slots - {"when", "stock", "year"}}
    return Reason(name, {**values, "how": how} if how else values)


@pytest.mark.parametrize("units", ["inch", "metric"])
@pytest.mark.parametrize("key", SENTENCES)
def test_every_reason_reads_as_a_sentence_in_one_system_of_units(key: str, units: Any) -> None:
    told = plain(in_sentences(reason_of(key), Display(units)))
    assert not ONE_SYSTEM[units].search(told.replace("8/4", "")), told
    assert not re.search(r"[{}_]|\bNone\b|\bnan\b|–|\b1 \w+s\b|  ", told), told
    assert not WORDS_OF_A_MAKER.search(told), told
    assert told[-1] == "."
    assert len(told.split()) > 1


def test_a_reason_comes_back_from_json_as_it_was() -> None:
    near = reason_of("near")
    reason = Reason("unready", {"was": near, "also": (reason_of("cap"), reason_of("dead-piled"))})
    assert Reason.of(reason.document()) == reason


def test_clearance_is_rounded_down_and_what_is_past_up() -> None:
    """1.21 mm is 3.05/64 in; 0.63 mm is 1.59/64 in."""
    left = Reason("clear", {"margin_mm": 1.21, "seen": LIMIT})
    past = Reason("past", {"margin_mm": -0.63, "seen": LIMIT})
    inch, metric = Display("inch"), Display("metric")
    assert plain(clause(left, inch)).startswith("3/64 in is left until ")
    assert plain(clause(left, metric)).startswith("1.2 mm is left until ")
    assert plain(clause(past, inch)).endswith("1/32 in past")
    assert plain(clause(past, metric)).endswith("0.7 mm past")


def test_no_answer_is_given_for_a_limit_nobody_has_words_for_and_it_is_still_said() -> None:
    values = {"direction": "swelling", "severity": "harms", "parts": ("the leaf",), "across": ""}
    assert (
        clause(Reason("squeaks", values)) == "the leaf has no room left to swell: something bends or breaks"
    )
    assert clause(Reason("from a newer book")) == "no reason is recorded"


# ---------------------------------------------------------------- and none is made anywhere else

CONVERTED = (
    *(
        "answer",
        "place_stack_verdicts",
        "clamps",
        "delivery",
        "fit_warnings",
        "glue_up",
        "humidity",
        "moving",
        "place_days",
    ),
    *("cross_sensor", "presence", "signatures", "two_rooms"),
    *("place_warnings", "places", "prospect_warnings", "ready", "sensors", "stacks", "verdicts", "warnings"),
)
# What errors and the log say, and how a figure is known, stays where it is raised.
EXCEPTED = {"BadInput", "bad", "warning", "exception", "info"}
SENTENCE = re.compile(r"^[A-Za-z{][^\n]*\s\S+\s\S+\s\S+")
QUERY = re.compile(r"SELECT|FROM|WHERE|ORDER BY|INSERT|UPDATE")
KNOWN_FROM = {"common practice, no source: read the label", "end of a glue-up"}


def sentences_in(path: Path) -> list[str]:
    tree = ast.parse(path.read_text())
    skipped: set[ast.AST] = set()
    for node in ast.walk(tree):
        called = node.func if isinstance(node, ast.Call) else None
        name = getattr(called, "id", getattr(called, "attr", ""))
        if name in EXCEPTED or isinstance(node, ast.Expr | ast.Raise):
            skipped.update(ast.walk(node))
    texts = [
        "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
        if isinstance(node, ast.JoinedStr)
        else node.value
        for node in ast.walk(tree)
        if node not in skipped and isinstance(node, ast.JoinedStr | ast.Constant)
        if isinstance(node, ast.JoinedStr) or isinstance(node.value, str)
    ]
    return [
        text for text in texts if SENTENCE.search(text) and not QUERY.search(text) and text not in KNOWN_FROM
    ]


@pytest.mark.parametrize("name", CONVERTED)
def test_the_watch_makes_reasons_and_no_sentences(name: str) -> None:
    rooms = [Path(room.__file__).parent for room in (model.watch, model.answers, model.records.queries)]
    paths = [path for room in rooms for path in room.rglob(f"{name}.py")]
    assert paths
    assert [sentence for path in paths for sentence in sentences_in(path)] == []


def test_a_sentence_would_be_found(tmp_path: Path) -> None:
    path = tmp_path / "odd.py"
    path.write_text('def why(a):\n    return f"the air of {a} is far too damp"\n')
    assert sentences_in(path) != []
