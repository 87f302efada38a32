"""What a command loads before it answers: a maker at the bench doesn't wait for what it doesn't need."""

import subprocess
import sys

import pytest

HEAVY = (
    "pandas",
    "scipy",
    "numba",
    "pyarrow",
    "sqlalchemy",
    "alembic",
    "dash",
    "plotly",
    "flask",
    "paho",
    "rich",
)
ASK = """
import sys
from deploy.cli.commands import main
try:
    main(sys.argv[1:])
except SystemExit as ended:
    assert ended.code == 0
print(*{name.partition(".")[0] for name in sys.modules})
"""


@pytest.mark.parametrize(
    ("words", "answer", "never"),
    [
        (["--version"], "paneltide ", (*HEAVY, "numpy", "pydantic")),
        (["air", "--temperature", "21C", "--rh", "45"], "wood settles at 8.5 %", HEAVY),
        (
            ["air", "--temperature", "21C", "--rh", "45", "--json"],
            '"emc_pct": 8.',
            (*HEAVY, "pydantic_settings"),
        ),
    ],
)
def test_a_plain_question_loads_neither_tables_nor_pages_nor_the_book(
    words: list[str], answer: str, never: tuple[str, ...]
) -> None:
    ran = subprocess.run([sys.executable, "-c", ASK, *words], capture_output=True, text=True, check=True)
    said, _, loaded = ran.stdout.rstrip().rpartition("\n")
    assert answer in said
    assert set(loaded.split()) & set(never) == set()


@pytest.mark.slow
def test_the_parts_at_rest_hold_no_tables_science_or_migrations_in_memory() -> None:
    asked = "import sys\nfrom deploy.supervisor import import_parts\nimport_parts()\nprint(*sys.modules)"
    ran = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert (
        set(ran.stdout.split()) & {"pandas", "pyarrow", "scipy.special", "alembic", "apprise", "fpdf"}
        == set()
    )
