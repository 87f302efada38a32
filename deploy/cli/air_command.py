"""The command `air`; in a file of its own, for it loads neither tables of wood nor the book."""

from typing import Annotated

import typer

from deploy.cli.answer import AsJson, UnitsText, display_of, give_json, say, temperature_given
from model.wood.air import psychrometrics as air_physics
from model.wood.air.sorption import equilibrium_moisture_content, relative_humidity_for
from model.wood.errors import BadInput


def air(
    temperature: Annotated[str, typer.Option("--temperature", help="Air temperature, as 21C or 70F.")],
    rh: Annotated[float | None, typer.Option("--rh", help="Relative humidity [%].")] = None,
    emc: Annotated[
        float | None, typer.Option("--emc", help="Ask for the humidity at which wood settles to this MC [%].")
    ] = None,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """The moisture content at which wood settles in this air, and the air's own moisture."""
    temperature_c = temperature_given(temperature, "--temperature")
    if (rh is None) == (emc is None):
        raise BadInput(
            "paneltide air",
            "--rh or --emc",
            "must be given, one of the two",
            "both" if rh is not None else "none",
        )
    rh_pct = rh if rh is not None else float(relative_humidity_for(temperature_c, float(emc or 0.0)))
    document = {
        "temperature_c": temperature_c,
        "rh_pct": rh_pct,
        "emc_pct": float(equilibrium_moisture_content(temperature_c, rh_pct)),
        "dew_point_c": float(air_physics.dew_point(temperature_c, rh_pct)) if rh_pct > 0.0 else None,
        "vapour_pressure_pa": float(air_physics.vapour_pressure(temperature_c, rh_pct)),
        "humidity_ratio": float(air_physics.humidity_ratio(temperature_c, rh_pct)),
    }
    if as_json:
        give_json(document)
        return
    display = display_of(units)
    say(
        f"At {display.temperature(temperature_c)} and {rh_pct:.1f} % RH "
        f"wood settles at {document['emc_pct']:.1f} % moisture content."
    )
    if document["dew_point_c"] is not None:
        say(
            f"Dew point {display.temperature(document['dew_point_c'])}, "
            f"vapour pressure {document['vapour_pressure_pa']:.0f} Pa."
        )
