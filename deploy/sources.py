"""Where settings come from, and the only reader of the environment.

Each value comes from the environment (`PANELTIDE_` and the name in capitals), else from
`paneltide.toml` in the data folder, else from its default.
"""

import os
from pathlib import Path
from typing import Any, Literal

from platformdirs import user_data_path

from model.wood.errors import BadInput

PREFIX = "PANELTIDE_"
FILE_NAME = "paneltide.toml"
NOT_SETTINGS = frozenset({f"{PREFIX}NO_SKIPS"})
"""Variables with our prefix that are the test suite's and the supervisor's own."""


def default_data_dir() -> Path:
    """The platform's user data folder for this program."""
    return user_data_path("paneltide", appauthor=False)


def our_variables() -> set[str]:
    """The variables of the environment that mean to set something."""
    return {name for name in os.environ if name.startswith(PREFIX)} - NOT_SETTINGS


def nothing_is_set() -> bool:
    """Whether every setting has its default, which needs no look at the settings themselves."""
    return not our_variables() and not settings_file().exists()


def file_settings() -> dict[str, Any]:
    """What `paneltide.toml` in the data folder sets; nothing where there is no such file."""
    import tomllib

    path = settings_file()
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(str(path), "settings file", "must be readable TOML", str(error)) from error


def settings_file() -> Path:
    """Where the settings file is looked for."""
    given = os.environ.get(f"{PREFIX}DATA_DIR")
    folder = Path(given).expanduser().absolute() if given else default_data_dir()
    return folder / FILE_NAME


def origin(name: str) -> Literal["environment", "file", "default"]:
    """Which source a setting's value comes from."""
    if f"{PREFIX}{name.upper()}" in os.environ:
        return "environment"
    if name in file_settings():
        return "file"
    return "default"


def origin_words(name: str) -> str:
    """Where a setting's value comes from, for people: the settings file is named by its path."""
    where = origin(name)
    return str(settings_file()) if where == "file" else where
