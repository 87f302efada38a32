"""Tokens with which other programs ask the pages' address for JSON."""

from typing import Annotated

import typer

from dashboard.api import tokens
from deploy.cli.answer import AsJson, give_json, give_table, say
from deploy.cli.book_records import GivenTokenRecord, NewTokenRecord, TokensRecord
from deploy.wiring import open_book

token_app = typer.Typer(help="Tokens for programs that ask /api where the pages ask for a password.")
TokenName = Annotated[str, typer.Argument(help="What you call the program.")]


@token_app.command("give")
def token_give(name: TokenName, as_json: AsJson = False) -> None:
    """Make a token for a program. It is shown this once."""
    store, _ = open_book()
    token = tokens.give(store, name)
    if as_json:
        give_json(NewTokenRecord(name=name, token=token))
        return
    say(f"{name} asks with this token, which is shown this once:")
    say(token)
    say(f"Take it back with: paneltide token take-back {name!r}")


@token_app.command("list")
def token_list(as_json: AsJson = False) -> None:
    """Every token that is good: whose it is and since when."""
    store, _ = open_book()
    found = tokens.given(store)
    if as_json:
        give_json(TokensRecord(tokens=[GivenTokenRecord.model_validate(one) for one in found]))
    elif found:
        give_table(["program", "since"], [[one.name, f"{one.given_at:%Y-%m-%d %H:%M} UTC"] for one in found])
    else:
        say("No token is given.")


@token_app.command("take-back")
def token_take_back(name: TokenName, as_json: AsJson = False) -> None:
    """A program's token is good no more, from now on."""
    store, _ = open_book()
    tokens.take_back(store, name)
    if as_json:
        give_json(TokensRecord(tokens=[GivenTokenRecord.model_validate(one) for one in tokens.given(store)]))
        return
    say(f"The token of {name} is taken back.")
