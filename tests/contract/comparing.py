"""Each claim of a surface beside what the book holds; where the two differ, the surface is wrong."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from model.words import display as say
from model.words import times
from tests.contract import claims as read
from tests.contract.claims import Node
from tests.contract.stored import StoredPiece, StoredPlace, StoredStack


@dataclass(frozen=True)
class Claim:
    """What a surface says of something, and whether it is what the book holds."""

    surface: str
    about: str
    what: str  # now, next, chance, left, since, width, humidity, ready, …
    said: object
    stored: object
    agrees: bool


class Comparing:
    """Collects claims of one surface about one thing."""

    def __init__(self, surface: str, about: str) -> None:
        self.surface, self.about = surface, about
        self.claims: list[Claim] = []

    def say(self, what: str, said: object, stored: object, agrees: bool | None = None) -> None:
        fits = said == stored if agrees is None else agrees
        self.claims.append(Claim(self.surface, self.about, what, said, stored, fits))


# ---------------------------------------------------------------- a piece, wherever it is spoken of


def of_piece(
    surface: str, piece: StoredPiece, text: str, now: datetime, kinds: tuple[tuple[str, str], ...] = ()
) -> list[Claim]:
    """Every claim of a text about one piece: how it stands, what comes and when, what is left, what was."""
    found = Comparing(surface, piece.name)
    said = read.standing(text, kinds or read.STANDINGS)
    if said is None and read.FORETELLS.search(text):
        found.say("now", "soon", piece.kind)
    elif said is None:
        found.say("now", "nothing", piece.kind)
    else:
        found.say("now", said, piece.kind, piece.kind in said.split(" or "))
    for sentence in _sentences(text):
        _coming(found, piece, sentence, now)
    _margins(found, piece, text)
    for fit, end, days, season in read.passed(text):
        _since(found, piece, (fit, end, days, season), now)
    return found.claims


def _sentences(text: str) -> list[str]:
    return [one for part in text.split("; ") for one in part.split(". ")]


def _coming(found: Comparing, piece: StoredPiece, sentence: str, now: datetime, fit: str = "") -> None:
    """`reaches a limit in 2–3 weeks`, and `SEEN in 2–3 weeks, in 7 of 10 years that may come`."""
    told = read.windows(sentence)
    if "a limit" in sentence and told and "reach" in sentence:
        likely = [one for one in piece.likely if fit in ("", one["fit"])]
        stored = likely[0] if likely else None
        days = piece.days(stored, now) if stored else None
        found.say("next window", told[0], days, days is not None and told[0].agrees(*days))
    if read.FORETELLS.search(sentence):
        plain = sentence.replace("_", " ").lower()
        said_fit, colon, _ = plain.partition(": ")
        fits = {say.said(one).lower(): one for one in piece.fit_kinds}
        fit = fit or (fits.get(said_fit, "") if colon else "")
        named = [one for one in piece.coming or () if one["says"] in plain and fit in ("", one["fit"])]
        stored = max(named, key=lambda one: one["chance_pct"], default=None)
        if stored is None:
            found.say("next", sentence, [one["says"] for one in piece.coming or ()], False)
            return
        days = piece.days(stored, now)
        found.say("next window", told or "no window", days, bool(told) and told[0].agrees(*days))
        for least, most in read.chances(sentence):
            found.say("chance", (least, most), stored["chance_pct"], least <= stored["chance_pct"] <= most)


def _margins(found: Comparing, piece: StoredPiece, text: str) -> None:
    for left in read.margins(text):
        at = [one for one in piece.limits if one.says == left.says or one.says.endswith(f": {left.says}")]
        at = at or [one for one in piece.limits if left.says.endswith(one.says)]
        stored = [round(one.margin_mm, 2) for one in at]
        right = any(left.margin.agrees(one.margin_mm) for one in at)
        if piece.kind == "working":
            found.say("left", left, "no answer yet", False)
        else:
            found.say("left", left, stored, right)
            if piece.kind == "unknown":
                is_so_said = "last known" in text.lower()
                found.say("left", is_so_said, "said to be what was last known", is_so_said)


def _since(found: Comparing, piece: StoredPiece, told: tuple[str, str, int, str], now: datetime) -> None:
    fit, end, days, season = told[0].removeprefix("since "), *told[1:]
    direction = {"dry": "shrinking", "damp": "swelling"}.get(end)
    spans = [
        one
        for one in piece.passed
        if say.said(one["fit"]) == fit
        and one["direction"] == (direction or one["direction"])
        and one["until_at"] is not None
        and now - one["until_at"] <= timedelta(days=365)
    ]
    by_limit: dict[str, int] = {}
    for one in spans:
        length = max((one["until_at"] - one["from_at"]).days, 1)
        by_limit[one["limit"]] = by_limit.get(one["limit"], 0) + length
    seasons = {times.season(one["worst_at"], piece.zone) for one in spans}
    found.say("since", (days, season), (by_limit, seasons), days in by_limit.values() and season in seasons)


# ---------------------------------------------------------------- pages that list


def of_page(
    surface: str,
    page: Node,
    now: datetime,
    pieces: Mapping[int, StoredPiece],
    stacks: Mapping[int, StoredStack],
) -> list[Claim]:
    """Every line of a page that speaks of a piece or a stack by a link to it."""
    found: list[Claim] = []
    for item, links in read.rows_of(page, "piece"):
        text = item.text()
        if len(links) == 1:
            number, name = links[0]
            found += of_piece(surface, pieces[number], text.replace(name, "", 1), now)
            continue
        starts: list[int] = []
        for _, name in links:
            starts.append(text.find(name, starts[-1] + 1 if starts else 0))
        if all(". " in text[start:end] for start, end in pairwise([*starts, len(text)])):  # of each by itself
            for (number, name), (start, end) in zip(links, pairwise([*starts, len(text)]), strict=True):
                found += of_piece(surface, pieces[number], text[start + len(name) : end], now)
            continue
        for number, name in links:
            told = Comparing(surface, name)
            before, _, after = text.partition(":")
            told.say("now", read.standing(before) or read.standing(after), pieces[number].kind)
            found += told.claims
    for item, links in read.rows_of(page, "stack"):
        for number, name in links:
            found += of_stack(surface, stacks[number], item.text().replace(name, "", 1), now)
    return found


# ---------------------------------------------------------------- one piece on a page of its own

NUMBERS = ("Width now", "MC mean", "face", "core")


def of_piece_page(surface: str, piece: StoredPiece, page: Node, now: datetime) -> list[Claim]:
    """The head of a piece's page, each of its fits, its parts, and the humidity that it asks for."""
    head = [node for node in page.all("p", "dd") if "lead" in node.attributes.get("class", "")]
    own = next(iter(page.all("section")), page)
    before = page.text().partition(own.text())[0]
    found = of_piece(surface, piece, before.removeprefix(piece.name), now) if head else []
    told = Comparing(surface, piece.name)
    date = times.day(piece.since_at, piece.zone, "inch", now)
    told.say("date", before[:60], f"since {date}", f"since {date}" in page.text())
    _humidity(told, piece, before)
    for block in page.all("details"):
        if block.attributes.get("class") == "fit":
            _fit(told, piece, block, now)
    for table in page.all("table"):
        rows = [[cell.text() for cell in row.all("th", "td")] for row in table.all("tr")]
        if rows and NUMBERS[0] in rows[0]:
            _parts(told, piece, rows)
    return found + told.claims


def _humidity(told: Comparing, piece: StoredPiece, text: str) -> None:
    low, high = piece.comfort.rh_low_pct, piece.comfort.rh_high_pct
    said = read.humidity_ranges(text)
    if low is None or high is None:
        told.say("humidity", said, [])
    elif low != high:
        told.say("humidity", said, [(round(low), round(high))])


def _fit(told: Comparing, piece: StoredPiece, block: Node, now: datetime) -> None:
    """One fit: how it stands, what is left before each limit, in how many years it is passed."""
    summary = next(block.all("summary"))
    name = next(summary.all("b")).text().lower()
    fit = next((one for one in piece.fit_kinds if say.said(one).lower() == name), None)
    if fit is None and name.startswith(("both ", "all ")):
        return
    if fit is None:
        told.say("fit", name, list(piece.fit_kinds), False)
        return
    verdict = piece.fit_kinds[fit]
    coming = None if piece.coming is None else [one for one in piece.coming if one["fit"] == fit]
    kind = {"clear": "clear"}.get(verdict, verdict)
    if kind == "clear" and coming is None:
        kind = "dark"
    elif kind == "clear" and any(one["chance_pct"] >= 50.0 for one in coming or ()):
        kind = "soon"
    told.say("fit now", read.standing(summary.text()), kind)
    for paragraph in block.all("p"):
        for sentence in _sentences(paragraph.text()):
            _coming(told, piece, sentence, now, fit)
    for row in block.all("tr"):
        cells = [cell.text() for cell in row.all("th", "td")]
        _limit(told, piece, fit, cells)


def _limit(told: Comparing, piece: StoredPiece, fit: str, cells: list[str]) -> None:
    end = {"wet": "swelling", "dry": "shrinking"}.get(cells[1] if len(cells) > 1 else "")
    at = next(
        (
            one
            for one in piece.limits
            if one.fit == fit and one.direction == end and one.says == cells[0].lower()
        ),
        None,
    )
    if at is None:
        return
    left = cells[3]
    if piece.kind in ("working", "unknown"):
        told.say("left", left, say.NOTHING)
        return
    size = read.size(left.removesuffix(" past"))
    value = read.Size(-size.value_mm, size.step_mm) if left.endswith("past") else size
    told.say("left", left, round(at.margin_mm, 2), value.agrees(at.margin_mm))
    if len(cells) > 5 and piece.coming is not None:
        stored = next((one for one in piece.coming if (one["fit"], one["limit"]) == (fit, at.name)), None)
        for least, most in read.chances(cells[5]):
            chance_pct = stored["chance_pct"] if stored is not None else 0.0
            told.say("chance", (least, most), chance_pct, stored is None or least <= chance_pct <= most)


def _parts(told: Comparing, piece: StoredPiece, rows: list[list[str]]) -> None:
    stored = {say.said(one.name): one for one in piece.parts}
    columns = {name: rows[0].index(name) for name in NUMBERS}
    for cells in rows[1:]:
        wood = stored.get(cells[0].partition(" × ")[0])
        if piece.kind == "working" or wood is None:
            told.say("width", [cells[at] for at in columns.values()], [say.NOTHING] * len(columns))
            continue
        told.say(
            "width",
            cells[columns["Width now"]],
            wood.width_mm,
            read.size(cells[columns["Width now"]]).agrees(wood.width_mm, coarse=True),
        )
        moisture = (("MC mean", wood.mc_mean_pct), ("face", wood.mc_face_pct), ("core", wood.mc_core_pct))
        for name, value in moisture:
            said = float(cells[columns[name]].removesuffix(" %").split(" ± ")[0])
            told.say("moisture", said, round(value, 2), abs(said - value) <= 0.051)


# ---------------------------------------------------------------- stacks and places


def of_stack(surface: str, stack: StoredStack, text: str, now: datetime) -> list[Claim]:
    """Ready or not, when, whether ever here, for what target, and what it has."""
    told = Comparing(surface, stack.name)
    said = read.standing(text, read.READINESS)
    told.say("ready", said, stack.kind)
    if stack.kind in ("working", "unknown"):
        return told.claims
    for match in read.READY_IN.finditer(text):
        window = read.windows(match[1])[0]
        days = [
            (datetime.fromisoformat(stack.ready[end]) - now) / timedelta(days=1) if stack.ready[end] else -1.0
            for end in ("from_at", "until_at")
        ]
        told.say("ready window", window, days, window.agrees(max(days[0], 0.0), days[1]))
    if read.HAS_MC.search(text):
        never = read.NEVER_HERE.search(text) is not None
        told.say("never here", never, stack.ready["never_here"])
        target = stack.ready["target_mc_pct"]
        for match in list(read.TARGET.finditer(text))[:1]:
            told.say("target", match[1], target, abs(float(match[1]) - target) <= 0.051)
        said_pct = float(read.HAS_MC.search(text)[1])  # type: ignore[index]
        assert stack.mc_pct is not None
        told.say("moisture", said_pct, round(stack.mc_pct, 2), abs(said_pct - stack.mc_pct) <= 0.11)
    return told.claims


def of_place(surface: str, place: StoredPlace, text: str) -> list[Claim]:
    """The air of a place: humidity and temperature, in whichever unit."""
    told = Comparing(surface, place.name)
    airs = read.airs(text)
    if place.rh_pct is None or place.temperature_c is None:
        told.say("air", airs, [])
        return told.claims
    if not airs:
        told.say("air", "nothing", round(place.rh_pct), False)
    for air in airs[:1]:
        told.say("air", air.rh_pct, round(place.rh_pct, 1), abs(air.rh_pct - place.rh_pct) <= 0.51)
        warm = abs(air.temperature_c - place.temperature_c) <= 0.51
        told.say("air", round(air.temperature_c, 1), round(place.temperature_c, 1), warm)
    return told.claims


def wrong(claims: Iterable[Claim]) -> list[str]:
    """The claims that contradict the book, each as a line."""
    return [
        f"{one.surface}: {one.about}: {one.what}: says {one.said}, the book has {one.stored}"
        for one in claims
        if not one.agrees
    ]
