"""The command `status`: how the service is, in five lines."""

from dataclasses import asdict

import typer

from deploy import wiring
from deploy.cli.answer import AsJson, give_json, say
from deploy.settings import load_settings


def status(as_json: AsJson = False) -> None:
    """How the service is, in five lines; exit status 1 when something is amiss."""
    from dashboard.say.service_words import five_lines, troubles
    from model.records.queries.service import service_now

    settings = load_settings()
    store, now = wiring.open_store(settings, migrate=False), wiring.clock_of(settings)
    service = service_now(store, now)
    amiss = troubles(service, now())
    if as_json:
        told = asdict(service)
        del told["problems"]  # they are among the troubles
        give_json({"well": not amiss, "troubles": amiss, **told})
    else:
        for trouble in amiss:
            say(f"✗ {trouble[0].upper()}{trouble[1:]}.")
        for line in five_lines(service, now()):
            say(line)
    if amiss:
        raise typer.Exit(1)
