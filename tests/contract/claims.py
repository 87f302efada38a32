"""Reading a page or a printed answer as a person does, for what it claims: a standing, a window, a size.

Every wording that the surfaces use stands in the patterns below and nowhere else: a changed sentence is a
changed pattern here. What a sentence claims is a plain value with its unit taken off.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

BLOCKS = frozenset(
    (
        *("p", "li", "ul", "ol", "h1", "h2", "h3", "h4", "div", "tr", "td", "th", "section", "article"),
        *("nav", "main", "dt", "dd", "form", "label", "figure", "table"),
    )
)
VOID = frozenset(("br", "hr", "img", "input", "col", "meta", "link", "path", "line", "rect", "circle"))
SILENT = frozenset(("svg", "script", "style", "select", "button"))


@dataclass
class Node:
    """An element of a page."""

    tag: str
    attributes: dict[str, str] = field(default_factory=dict)
    children: list["Node | str"] = field(default_factory=list)

    def all(self, *tags: str) -> Iterator["Node"]:
        for child in self.children:
            if isinstance(child, Node):
                if child.tag in tags:
                    yield child
                yield from child.all(*tags)

    def lines(self) -> list[str]:
        """What is read in it, a line for each block, without its drawings and its controls."""
        text = "".join(self._read())
        return [line for line in (plain(part) for part in text.split("\n")) if line]

    def text(self) -> str:
        return " ".join(self.lines())

    def _read(self) -> Iterator[str]:
        for child in self.children:
            if isinstance(child, str):
                yield child.replace("\n", " ")
            elif child.tag not in SILENT:
                edge = "\n" if child.tag in BLOCKS else ""
                yield edge
                yield from child._read()
                yield edge

    def links(self, folder: str) -> list[tuple[int, str]]:
        """Number and words of each link to a page of a folder, such as `piece`."""
        found = []
        for link in self.all("a"):
            match = re.fullmatch(rf"/{folder}/(\d+)", link.attributes.get("href", ""))
            if match and link.text():
                found.append((int(match[1]), link.text()))
        return found

    def drawn_words(self) -> list[str]:
        """What the drawings in it are called for those who can't see them."""
        return [svg.attributes["aria-label"] for svg in self.all("svg") if "aria-label" in svg.attributes]


class _Tree(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("root")
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Node(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if tag in [node.tag for node in self.open[1:]]:
            while self.open.pop().tag != tag:
                pass

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def page_of(html: str) -> Node:
    """The page's own part, as a tree."""
    tree = _Tree()
    tree.feed(html)
    return next(tree.root.all("main"), tree.root)


def rows_of(page: Node, folder: str) -> Iterator[tuple[Node, list[tuple[int, str]]]]:
    """Every list item that speaks of a piece, stack or place by a link of its own, innermost first."""
    for item in page.all("li"):
        links = item.links(folder)
        inner = {link for below in item.all("li") for link in below.links(folder)}
        own = [link for link in links if link not in inner]
        if own:
            yield item, own


def plain(text: str) -> str:
    text = text.replace("\u00a0", " ").replace("\u2212", "-").replace("\u202f", " ")
    return re.sub(r"\s+", " ", text).strip()


# ---------------------------------------------------------------- standing

STANDINGS = (
    ("dark", r"no answer yet on the coming year"),
    ("working", r"\bno answer yet\b|\bbeing worked out\b"),
    ("soon", r"reach(?:es)? a limit (?:in|within|not before)\b"),
    ("past", r"\bpast a limit\b"),
    ("near", r"\bnear a limit\b"),
    ("unknown", r"\bnot known\b|\bunknown\b"),
    ("clear", r"\b(?:clear|clear)\b"),
)
TO_CLIENT = (
    ("working", r"being worked out"),
    ("unknown", r"Nothing was heard from the room"),
    ("past", r"It is past what it was built for"),
    ("near", r"It is near what it was built for"),
    ("soon or dark", r"Nothing is wrong with it today"),
    ("clear", r"It is all right where it stands"),
)


def standing(text: str, kinds: tuple[tuple[str, str], ...] = STANDINGS) -> str | None:
    """How something is said to stand, by the first words in a text that say it; None where none do.

    `clear today, reaches a limit in …` is said of what is not to stay so.
    """
    found = [
        (match.start(), order, kind)
        for order, (kind, words) in enumerate(kinds)
        if (match := re.search(words, text, re.IGNORECASE))
    ]
    if not found:
        return None
    start, _, first = min(found)
    clause = text[start:].partition(". ")[0]
    if first == "clear":
        later = [kind for kind, words in kinds if kind in ("dark", "soon") and re.search(words, clause)]
        return later[0] if later else first
    return first


# ---------------------------------------------------------------- times and chances

UNIT_DAYS = {"day": 1.0, "week": 7.0, "month": 30.44}
WINDOW = re.compile(
    r"\b(?:in|within|not before|no sooner than in) (?:about |a )?"
    r"(?:(\d+) ?(?:–|-|to) ?)?(\d+ )?(day|week|month)s?\b"
)


@dataclass(frozen=True)
class Window:
    """A stretch of days from now, and how fine it is told [days]."""

    low_days: float
    high_days: float
    unit_days: float

    def agrees(self, low_days: float, high_days: float) -> bool:
        """Whether it tells of those days to within its unit, and begins no later than they do."""
        slack = self.unit_days * 1.01
        return (
            abs(self.low_days - low_days) <= slack
            and abs(self.high_days - high_days) <= slack
            and self.low_days <= low_days + 1.0
        )


def windows(text: str) -> list[Window]:
    """Every `in 2–3 weeks`, `in 2 to 24 days`, `within 5 months`, `within a day` of a text."""
    found = []
    for match in WINDOW.finditer(text):
        unit = UNIT_DAYS[match[3]]
        high = float(match[2] or 1) * unit
        low = float(match[1]) * unit if match[1] else 0.0 if match[0].startswith("within") else high
        found.append(Window(low, high, unit))
    return found


CHANCES = (
    (r"\b(\d+) (?:of|in) 10\b", lambda tenths: (10.0 * tenths - 5.0, 10.0 * tenths + 5.0)),
    (r"\bone chance in (\w+) this year", lambda one_in: (100.0 / (one_in + 1.0), 100.0 / (one_in - 0.5))),
    (r"\bunder 1 in 10\b|\bunlikely this year", lambda _: (0.0, 10.0)),
    (r"\babout an even chance\b", lambda _: (40.0, 60.0)),
    (r"(?<!un)\blikely this year", lambda _: (60.0, 85.0)),
    (r"\bnearly all years\b", lambda _: (95.0, 100.0)),
    (r"\balmost certain this year", lambda _: (85.0, 100.0)),
)
FORETELLS = re.compile(r"years that may come|this year\b|^more likely than not", re.IGNORECASE)


def chances(text: str) -> list[tuple[float, float]]:
    """Every chance of a text, as the least and the most it may mean [%]."""
    return [
        meaning(number(match[1]) if match.lastindex else 0)
        for words, meaning in CHANCES
        for match in re.finditer(words, text, re.IGNORECASE)
        if not (words.startswith(r"\b(\d") and text[: match.start()].endswith("under "))
    ]


WORDS = (
    *("no", "one", "two", "three", "four", "five", "six"),
    *("seven", "eight", "nine", "ten", "eleven", "twelve"),
)
NUMBERS = dict(zip(WORDS, range(13), strict=True))


def number(word: str) -> int:
    return NUMBERS[word.lower()] if word.lower() in NUMBERS else int(word)


PASSED = re.compile(
    r"([A-Z][\w ]*?) went past a limit (?:in (dry|damp) air )?"
    r"for (\w+) days? in (winter|spring|summer|autumn)"
)


def passed(text: str) -> list[tuple[str, str, int, str]]:
    """What a piece is said to have gone through: fit, end, days, season."""
    return [(m[1].lower(), m[2], number(m[3]), m[4]) for m in PASSED.finditer(text)]


# ---------------------------------------------------------------- sizes and humidity

SIZE = r"(?:under )?-?(?:\d+-\d+/\d+|\d+/\d+|\d+(?:\.\d+)?) ?(?:in|mm)\b"
MM_OF = {"in": 25.4, "mm": 1.0}
STEP_MM = {"in": 25.4 / 64, "mm": 0.1}


@dataclass(frozen=True)
class Size:
    """A length as it was told [mm], to within a step; `under` where only that it is less was told."""

    value_mm: float
    step_mm: float
    under: bool = False

    def agrees(self, true_mm: float, coarse: bool = False) -> bool:
        """Whether it is that length, to a margin's step; `coarse` to that of a width: 1/32 in or 0.5 mm."""
        if self.under:
            return -1e-6 < true_mm <= self.value_mm + 1e-6
        step_mm = max(self.step_mm, 0.25) if coarse else self.step_mm
        return abs(self.value_mm - true_mm) <= step_mm + 1e-6


def size(text: str) -> Size:
    """A length with its unit: `14-1/2 in`, `14-1/2 ± 1/32 in`, `under 1/64 in`, `1.2 mm`."""
    under = text.startswith("under ")
    told = re.fullmatch(r"(-?[\d./-]+)(?: ± [\d./-]+)? ?(in|mm)", text.removeprefix("under "))
    assert told is not None, text
    value, unit = told.groups()
    sign, value = (-1.0, value[1:]) if value.startswith("-") else (1.0, value)
    whole, _, rest = value.rpartition("-") if "/" in value else (value, "", "")
    top, _, bottom = rest.partition("/")
    inches = float(whole or 0) + (float(top) / float(bottom) if rest else 0.0)
    return Size(sign * inches * MM_OF[unit], STEP_MM[unit], under)


LEFT = re.compile(rf"({SIZE})(?: of ({SIZE}))? (?:is )?left until ([^.;]*[^.; ])", re.IGNORECASE)
OVER = re.compile(rf"([^.;]+?)[,:] ({SIZE}) past\b", re.IGNORECASE)


@dataclass(frozen=True)
class Left:
    """What is told to be left before a limit, or how far it is passed; `says` is what is seen there."""

    says: str
    margin: Size


def margins(text: str) -> list[Left]:
    """Every margin of a text that says at which limit it is."""
    told = [Left(m[3].lower(), size(m[1].lower())) for m in LEFT.finditer(text)]
    for m in OVER.finditer(text):
        far = size(m[2].lower())
        told.append(Left(m[1].rpartition(": ")[2].strip().lower(), Size(-far.value_mm, far.step_mm)))
    return told


RANGE = re.compile(r"(?:between )?(\d+)(?: ?%)? ?(?:–|-|to|and) ?(\d+) % relative humidity")
AIR = re.compile(r"(\d+) % (?:at|and) (-?\d+) °([FC])(?:; wood (?:settles at|will settle at) (\d+\.\d) %)?")


def humidity_ranges(text: str) -> list[tuple[int, int]]:
    """Every range of humidity that a room is to be held at [%]."""
    return [(int(m[1]), int(m[2])) for m in RANGE.finditer(text)]


@dataclass(frozen=True)
class Air:
    rh_pct: int
    temperature_c: float
    emc_pct: float | None


def airs(text: str) -> list[Air]:
    """Every `47 % at 66 °F; wood settles at 8.7 %`."""
    return [
        Air(
            int(m[1]),
            (float(m[2]) - 32) / 1.8 if m[3] == "F" else float(m[2]),
            None if m[4] is None else float(m[4]),
        )
        for m in AIR.finditer(text)
    ]


# ---------------------------------------------------------------- stacks

READINESS = (
    ("working", r"\bno answer yet\b|\bnot worked out yet\b|\bbeing worked out\b"),
    ("unknown", r"\bno reading from\b|\bno air is known\b|\bnot known\b|\bno reading that can be trusted"),
    (
        "no",
        r"\bnot ready\b|\bnearly ready\b|\bpoints? too (?:wet|dry)\b|\bbut the core is\b|"
        r"\bbut still moving\b|\bbut not for a whole day\b",
    ),
    ("yes", r"\bready:|\bready\.|\bis ready\b|, ready\b|\bready$"),
)
TARGET = re.compile(r"\((\d+(?:\.\d+)?) %[^)]*\)")
HAS_MC = re.compile(r"\b(\d+\.\d) %, (?:even|right|\d+\.\d points)")
READY_IN = re.compile(r"\bready (in [^.]*?(?:days?|weeks?|months?))\b", re.IGNORECASE)
NEVER_HERE = re.compile(r"\bwill (?:never|probably not) (?:get|stay|come)\b")
