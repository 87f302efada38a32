"""Every reason is a sentence, in inches or in mm and never in both, without a key or an empty slot."""

import ast
import re
import string
from pathlib import Path
from typing import Any

import pytest

import model.answers
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
    "name": "ash",
    "region": "Europe",
    "other": "European ash",
    "finish": "tung oil",
    "factor": 2.0,
    "slope": 0.91,
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
    "set_for": "Douglas-fir",
    "species": "white ash",
    "stack": "Red oak, 8/4",
    "target": Reason("target-home", {"place": "the mill flat", "target_pct": 7.68}),
    "text": "nobody said where it stands",
    "was": Reason("near", {"margin_mm": 0.42, "play_mm": 3.1, "seen": LIMIT}),
    "why": Reason("door-not-flat"),
    "likelihood": "likely",
    "quarters": "8/4",
    "leaves": 3,
    "until_day": "2026-03-12",
    "pace": 0.6,
    "sure": 1.5,
    "what": (Reason("learned-rate", {"how": "", "part": "the lid", "pace": 0.6, "sure": 1.5}),),
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
def test_every_reason_reads_as_a_sentence_in_one_system_of_units(units: Any) -> None:
    for key in SENTENCES:
        told = plain(in_sentences(reason_of(key), Display(units)))
        assert not ONE_SYSTEM[units].search(told.replace("8/4", "")), (key, told)
        assert not re.search(r"[{}_]|\bNone\b|\bnan\b|–|\b1 \w+s\b|  ", told), (key, told)
        assert not WORDS_OF_A_MAKER.search(told), (key, told)
        assert told[-1] == ".", (key, told)
        assert len(told.split()) > 1, (key, told)


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

# What a call says to the log, in an error, of a key of a piece file, beside a drawing or of a figure's source
# stays where it is made; so do queries.
EXCEPTED_CALLS = {
    *(
        "BadInput",
        "bad",
        "OutsideValidity",
        "UnknownSpecies",
        "StoreUnavailable",
        "TypeError",
        "AssertionError",
    ),
    *("warning", "exception", "info", "Field", "text", "take", "number", "length", "choice", "flag", "count"),
    *("instant", "one_member", "several_members", "Part", "Space", "Section", "Fact", "CheckConstraint"),
    *("CaseChoice", "CaseSize", "count_of"),
}
EXCEPTED_NAMES = {
    *("rule", "title", "what", "figures", "figure", "source", "note", "__all__"),
    *("CLIENTS_LINK", "KEPT_FOR"),  # what preferences are stored under
    *("PROVENANCE_IN_WORDS", "DETAILS", "FIGURES", "_NOTES", "_COEFFICIENT_ROW", "_BORROWS_FROM"),
}
PROSE = re.compile(r"^(?!must |is not )[A-Za-z{][^\n]*\s\S+\s\S+\s\S+")
QUERY = re.compile(
    r"SELECT|FROM|WHERE|ORDER BY|INSERT|UPDATE| IN \(|CAST|COALESCE| AS | IS NULL|_id, |/ 3600000"
)
MODEL = Path(model.answers.__file__).parents[1]
# Sentences that wait to be made reasons: take a file off once it makes none.
STILL_THERE = {
    *("answers/annual_range.py", "watch/air/climate_prior.py"),
    *("watch/questions/clamps.py", "watch/run/writing.py", "watch/tell/notices.py"),
    *("wood/climate/indoor.py", "wood/climate/outdoor.py"),
    *("records/acts/acceptances.py", "records/acts/built_on.py", "records/acts/places.py"),
}
WITHOUT_PROSE = sorted(
    str(path.relative_to(MODEL))
    for path in MODEL.rglob("*.py")
    if not {"words", "migrations", "schema"} & set(path.relative_to(MODEL).parts)
    and str(path.relative_to(MODEL)) not in STILL_THERE
)


def prose_in(path: Path) -> list[str]:
    tree = ast.parse(path.read_text())
    skipped: set[ast.AST] = set()
    for node in ast.walk(tree):
        called = node.func if isinstance(node, ast.Call) else None
        targets = [node.target] if isinstance(node, ast.AnnAssign) else getattr(node, "targets", [])
        names = {
            getattr(called, "id", getattr(called, "attr", "")),
            *(getattr(target, "id", "") for target in targets),
            *([node.arg] if isinstance(node, ast.keyword) else []),
        }
        if (
            (names & EXCEPTED_CALLS and called is not None)
            or names & EXCEPTED_NAMES
            or isinstance(node, ast.Expr | ast.Raise)
        ):
            skipped.update(ast.walk(node))
        elif isinstance(node, ast.JoinedStr):
            skipped.update(node.values)
    texts = [
        "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
        if isinstance(node, ast.JoinedStr)
        else node.value
        for node in ast.walk(tree)
        if node not in skipped and isinstance(node, ast.JoinedStr | ast.Constant)
        if isinstance(node, ast.JoinedStr) or isinstance(node.value, str)
    ]
    return [text for text in texts if PROSE.search(text) and not QUERY.search(text)]


def test_the_model_makes_reasons_and_no_sentences() -> None:
    assert {name: prose for name in WITHOUT_PROSE if (prose := prose_in(MODEL / name))} == {}


def test_a_sentence_would_be_found(tmp_path: Path) -> None:
    path = tmp_path / "odd.py"
    path.write_text('def why(a):\n    return f"the air of {a} is far too damp"\n')
    assert prose_in(path) == ["the air of {} is far too damp"]
