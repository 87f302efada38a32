"""Prints a command's answer: one JSON document, or lines for people."""

import json
import math
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from deploy.sources import nothing_is_set
from model.records.private import private
from model.wood.errors import BadInput
from model.wood.units import parse_length_mm, parse_temperature_c
from model.words.display import Display, plain

if TYPE_CHECKING:
    from model.answers.document import JsonDocument
    from model.wood.material.species import Species

AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
UnitsText = Annotated[
    Literal["inch", "metric"] | None, typer.Option("--units", help="Left out: as in the settings.")
]

ANY_WIDTH = 100_000  # characters; wider than a table's widest row

MetersMc = Annotated[float, typer.Option("--mc", help="MC of the stock today [%].")]
MeterDoubt = Annotated[
    float, typer.Option("--mc-doubt", help="How far that MC may be out, either way [points].")
]
StockDoubt = Annotated[
    float | None,
    typer.Option(
        "--mc-doubt", help="How far that MC may be out, either way [points]; else as the file says."
    ),
]
OutPdf = Annotated[Path, typer.Option("--out", help="The PDF file to write; - for standard output.")]
McRange = Annotated[str | None, typer.Option("--range", help="MC range of its home, as 6-11.")]
RhRange = Annotated[
    str | None, typer.Option("--rh-range", help="Or the humidities of its home over the year, as 25-55.")
]


def display_of(units: Literal["inch", "metric"] | None = None) -> Display:
    """The units a command answers people in: as asked, else as in the settings."""
    if units is None and not nothing_is_set():
        from deploy.settings import load_settings

        units = load_settings().units
    return Display(units or "inch")


def length_given(text: str, option: str) -> float:
    """A length typed on the command line [mm]; a bare number is refused with both units offered."""
    return parse_length_mm(text, what=option, bare=None)


def wood_given(name: str, option: str) -> "Species":
    """The wood typed on the command line, as the book's region calls it."""
    from deploy.settings import load_settings
    from model.wood.material.species import find_species

    return find_species(name, what=option, region=load_settings().wood_region)


def say_wood(wood: "Species", called: str) -> None:
    """How the wood's name was read where it means another elsewhere, and how its figures are known."""
    from deploy.settings import load_settings
    from model.wood.material.species import region_reason
    from model.words.reasons import in_sentences

    for reason in filter(None, (region_reason(called, load_settings().wood_region), *wood.cautions)):
        say(in_sentences(reason))


def temperature_given(text: str, option: str) -> float:
    """A temperature typed on the command line [°C]; a bare number is refused with both units offered."""
    return parse_temperature_c(text, what=option, bare=None)


def span_given(text: str, option: str, meaning: str, example: str) -> tuple[float, float]:
    """Two numbers with a dash between them, the lower first; decimals after a point or a comma."""
    low, dash, high = text.replace("\N{EN DASH}", "-").replace(",", ".").partition("-")
    try:
        bounds = (float(low), float(high))
    except ValueError:
        dash = ""
    if not dash:
        raise BadInput("", option, f"must be two {meaning}, as {example}", text)
    return bounds


def home_given(mc_range: str | None, rh_range: str | None) -> tuple[float, float]:
    """What wood comes to in a home over its year [%], from a range of moisture contents or of humidities."""
    from model.wood.design.part_request import HomeRange

    if mc_range is not None and rh_range is None:
        return span_given(mc_range, "--range", "moisture contents", "6-11")
    if rh_range is not None and mc_range is None:
        humidities = span_given(rh_range, "--rh-range", "humidities", "25-55")
        return HomeRange.of_humidity(*humidities).mc_range_pct
    raise BadInput("", "home", "must be one of --range and --rh-range", "both" if mc_range else "neither")


def give_json(document: "JsonDocument | Mapping[str, Any] | Sequence[Any]") -> None:
    """Print one JSON document; what can't be computed is null."""
    data = _plain(document) if isinstance(document, (Mapping, Sequence)) else document.json_data()
    print(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))


def give_table(columns: list[str], rows: list[list[str]], title: str | None = None) -> None:
    """Print a table for people; every cell is shown as text, whatever it holds.

    A narrow screen breaks cells between words, never within one: names, topics and paths can be
    copied. Into a file or a pipe each row is one line.
    """
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=True)
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, overflow="fold")
    for row in rows:
        table.add_row(*[Text("".join(c if c.isprintable() else "�" for c in plain(cell))) for cell in row])
    natural = console.measure(table, options=console.options.update(width=ANY_WIDTH))
    table.width = max(console.width, natural.minimum) if console.is_terminal else natural.maximum
    console.print(table)


@contextmanager
def file_or_output(out: Path, ending: str, as_json: bool) -> Iterator[Path]:
    """Where to write what goes into `out`; for a dash a file that is then given on standard output."""
    if not is_output(out, as_json):
        yield out
        return
    import shutil
    import tempfile

    with tempfile.TemporaryDirectory(prefix="paneltide-") as folder:
        path = Path(folder) / f"out{ending}"
        yield path
        with path.open("rb") as file:
            shutil.copyfileobj(file, sys.stdout.buffer)
        sys.stdout.buffer.flush()


def is_output(out: Path, as_json: bool = False) -> bool:
    """Whether a file is to go to standard output, which then holds nothing else."""
    if str(out) == "-" and as_json:
        raise BadInput("", "--json", "can't be said beside a file on standard output", "--out -")
    return str(out) == "-"


def write_file(
    out: Path, content: bytes, *endings: str, is_private: bool = False, as_json: bool = False
) -> None:
    """Write what a command makes, if `is_private` for its owner alone; its name has one of the endings.

    A dash is standard output, which then holds nothing else.
    """
    if is_output(out, as_json):
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
        return
    if out.suffix.lower() not in endings:
        raise BadInput("", "--out", f"must name a {' or a '.join(endings)} file", str(out))
    try:
        with open(out, "wb", opener=private if is_private else None) as file:
            file.write(content)
    except OSError as error:
        raise BadInput("", "--out", "must be a file that can be written", error.strerror) from error
    give_done(as_json, "file", str(out), f"{out} is written.")


def give_done(as_json: bool, kind: str, name: str, says: str) -> None:
    """What a command that records, changes or writes something has done, and to what."""
    if as_json:
        give_json({"kind": kind, "name": name, "says": plain(says)})
    else:
        say(says)


def say(line: str) -> None:
    """Print one line for people, as text."""
    print(plain(line))


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, datetime):
        from model.answers.document import instant

        return instant(value)
    if hasattr(value, "item") and not isinstance(value, (str, bytes)):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
