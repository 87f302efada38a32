"""The command `open-broker`: lets sensors on the network reach the broker that paneltide starts."""

import sys
from pathlib import Path
from typing import Annotated

import tomli_w
import typer

from deploy.cli.answer import AsJson, give_json, say
from deploy.reach import EVERY_ADDRESS, address_words, broker_address
from deploy.settings import Settings, load_settings
from deploy.sources import PREFIX, origin, settings_file
from ingest.broker.login import new_password, write_private
from model.wood.errors import BadInput

FROM_NEXT_START = (
    "It holds from the next start of `paneltide run` (as a service: systemctl restart paneltide)."
)


def open_broker(
    bind: Annotated[
        str, typer.Option("--bind", help="Address of this computer to listen on; 0.0.0.0 is every one.")
    ] = EVERY_ADDRESS,
    renew: Annotated[bool, typer.Option("--new-password", help="Make a new password.")] = False,
    close: Annotated[bool, typer.Option("--close", help="Listen to this computer only, again.")] = False,
    as_json: AsJson = False,
) -> None:
    """Make a password and let sensors on the network reach the broker that paneltide starts."""
    settings = load_settings()
    if settings.mqtt_url != "embedded":
        rule = "must be embedded: another broker is opened by its own settings"
        raise BadInput("settings", "mqtt_url", rule, "another broker's address")
    settings = _closed() if close else _opened(settings, bind, renew)
    address = broker_address(settings)
    if as_json:
        given = {"hosts": address.hosts, "port": address.port}
        give_json({**given, "user": address.user, "password": address.password})
        return
    _say_address(settings)
    say(FROM_NEXT_START)


def offer_to_open(settings: Settings) -> Settings:
    """Ask once, in a terminal, whether sensors on the network may reach the broker; gives what then holds.

    Where anything about the broker was set, or nobody can answer, nothing is asked and nothing changes.
    """
    names = ("mqtt_url", "broker_bind", "broker_password")
    decided = any(origin(name) != "default" for name in names)
    if decided or not (sys.stdin.isatty() and sys.stdout.isatty()):
        return settings
    say("The broker listens to this computer only, so no sensor on your network can reach it yet.")
    question = f"Make a password for the sensors and open port {settings.broker_port} to the network?"
    if not typer.confirm(question, default=False):
        say("Nothing is opened. `paneltide open-broker` does it later.")
        _closed()
        return settings
    opened = _opened(settings, EVERY_ADDRESS, renew=False)
    _say_address(opened)
    return opened.model_copy(update={"bind": settings.bind, "port": settings.port})


def _opened(settings: Settings, bind: str, renew: bool) -> Settings:
    password = new_password() if renew or not settings.broker_password else settings.broker_password
    load_settings(broker_bind=bind, broker_password=password)  # refuses an address that can't be one
    _keep(broker_bind=bind, broker_password=password)
    return load_settings()


def _closed() -> Settings:
    _keep(broker_bind="127.0.0.1")
    return load_settings()


def _keep(**values: str | int) -> Path:
    """Write settings into the settings file, the rest of it as it was; its owner alone can read it.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    BadInput
        If the environment sets one of them, which would win, or the file can't be read or written.
    """
    path = settings_file()
    for name in values:
        if origin(name) == "environment":
            rule = f"wins over {path}: change it where it is set"
            raise BadInput("environment", f"{PREFIX}{name.upper()}", rule, "it set")
    try:
        lines = path.read_text("utf-8").splitlines() if path.exists() else []
        kept = [line for line in lines if line.partition("=")[0].strip() not in values]
        kept += tomli_w.dumps(values).splitlines()
        path.parent.mkdir(parents=True, exist_ok=True)
        write_private(path, "\n".join(kept) + "\n")
    except OSError as error:
        raise BadInput(str(path), "settings file", "must be writable", error.strerror) from error
    return path


def _say_address(settings: Settings) -> None:
    address = broker_address(settings)
    say(address_words(address))
    if address.hosts:
        say(f"The password is {address.password}")
        for sentence in address.said:
            say(sentence)
