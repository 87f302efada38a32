"""The command `doctor`: findings, and every setting with where its value came from."""

from dataclasses import asdict
from typing import Annotated

import typer

from deploy.cli import SERVICE_MISSING
from deploy.cli.answer import AsJson, give_json, give_table, say
from deploy.doctor import examine, setting_rows
from deploy.settings import load_settings

SIGNS = {"well": "✓", "look": "?", "amiss": "✗"}


def doctor(
    as_json: AsJson = False,
    show_password: Annotated[
        bool, typer.Option("--show-password", help="Show the password that sensors log in with.")
    ] = False,
) -> None:
    """Is everything that is needed there and working; what to do if not."""
    settings = load_settings()
    findings = examine(settings, show_password)
    amiss = [finding for finding in findings if finding.state == "amiss"]
    if as_json:
        give_json(
            {
                "well": not amiss,
                "findings": [asdict(finding) for finding in findings],
                "settings": setting_rows(settings),
            }
        )
    else:
        give_table(
            ["", "what", "found", "what to do"],
            [[SIGNS[finding.state], finding.what, finding.found, finding.remedy] for finding in findings],
        )
        say("")
        give_table(
            ["setting", "value", "from", "meaning"],
            [[row["name"], row["value"], row["from"], row["meaning"]] for row in setting_rows(settings)],
        )
    if amiss:
        raise typer.Exit(SERVICE_MISSING)
