"""What the sample shop's sensors measure, hour by hour, and the messages they put it in."""

import json
import zlib
from datetime import datetime
from functools import lru_cache

import numpy as np

from model.wood.air.psychrometrics import saturation_vapour_pressure
from sample_readings.climate import HOURS_A_YEAR, SEED, Hours
from sample_readings.rooms import RoomAir, room_air
from sample_readings.story import SensorStory, climate_hour

NOISE_C, NOISE_RH_PCT = 0.06, 0.25
GARBLED_ONE_IN = 41
SENML_NAME = "lake-house-hall"


def measured(sensor: SensorStory, first_hour: int, hours: int) -> RoomAir:
    """What a sensor measures on the hour, rounded as it rounds.

    Parameters
    ----------
    sensor : SensorStory
        Of `story.shop_story`.
    first_hour : int
        Hours from the story's start; negative for the year before it.
    hours : int
        How many.

    Returns
    -------
    RoomAir
        Temperature [°C] to 0.1 and relative humidity [%] to the sensor's last digit, (hours,).
    """
    first = climate_hour(first_hour)
    air = room_air(sensor.place, first, hours)
    noise = np.concatenate(
        [
            _noise(sensor.name, year)
            for year in range(first // HOURS_A_YEAR, (first + hours) // HOURS_A_YEAR + 1)
        ],
        axis=1,
    )[:, first % HOURS_A_YEAR :][:, :hours]
    here_c = air.temperature_c + sensor.offset_c
    here_rh = air.rh_pct * saturation_vapour_pressure(air.temperature_c) / saturation_vapour_pressure(here_c)
    read_rh = here_rh + sensor.rh_bias_pct + NOISE_RH_PCT * noise[1]
    steps = np.round(np.clip(read_rh, 1.0, 99.9) / sensor.rh_step_pct)
    return RoomAir(np.round(here_c + NOISE_C * noise[0], 1), np.round(steps * sensor.rh_step_pct, 1))


@lru_cache(maxsize=64)
def _noise(name: str, year: int) -> Hours:
    stream = np.random.default_rng([SEED, year, *name.encode()])
    drawn: Hours = stream.standard_normal((2, HOURS_A_YEAR))
    return drawn


# ---------------------------------------------------------------- messages

Message = tuple[str, bytes]


def messages(sensor: SensorStory, at: datetime, temperature_c: float, rh_pct: float) -> list[Message]:
    """The messages a sensor publishes for one observation: topic and payload each."""
    epoch_s = int(at.timestamp())
    if sensor.shape == "flat json":
        stamp = at.strftime("%Y-%m-%dT%H:%M:%SZ")
        body: object = {"temperature": temperature_c, "humidity": rh_pct, "battery": 87, "time": stamp}
    elif sensor.shape == "nested json":
        body = {
            "device": {"name": "rack", "battery": 64},
            "climate": {"temperature": temperature_c, "humidity": rh_pct},
            "timestamp": epoch_s,
        }
    elif sensor.shape == "fahrenheit json":
        body = {
            "temperature": round(temperature_c * 1.8 + 32.0, 1),
            "unit": "F",
            "humidity": rh_pct,
            "time": epoch_s,
        }
    elif sensor.shape == "senml":  # RFC 8428
        body = [
            {"bn": f"{SENML_NAME}:", "bt": epoch_s, "n": "temperature", "u": "Cel", "v": temperature_c},
            {"n": "humidity", "u": "%RH", "v": rh_pct},
        ]
    elif sensor.shape == "short json":
        body = {"t": temperature_c, "rh": rh_pct, "ts": epoch_s}
    elif sensor.shape == "bare numbers":
        return [
            (topic, f"{value}".encode())
            for topic, value in zip(sensor.topics, (temperature_c, rh_pct), strict=True)
        ]
    else:
        raise ValueError(f"sensor {sensor.name!r} has no shape {sensor.shape!r}")
    return [(sensor.topics[0], json.dumps(body, separators=(",", ":")).encode())]


def garbled(sensor: SensorStory, hour: int, message: Message) -> Message | None:
    """What a faulty sensor sends before its good message, at some hours; none at the others."""
    if not sensor.garbles:
        return None
    draw = zlib.crc32(f"{sensor.name} {hour}".encode())
    if draw % GARBLED_ONE_IN:
        return None
    topic, payload = message
    faults = (
        payload[: len(payload) // 2],  # cut off in the middle
        payload.replace(b'"humidity":', b'"humidity":9'),  # a digit too many
        b"\xff\xff\x00reboot",
    )
    return topic, faults[draw // GARBLED_ONE_IN % len(faults)]
