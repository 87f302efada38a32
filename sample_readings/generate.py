"""Writes the sample shop's readings: ``python -m sample_readings.generate [FOLDER]``.

The same seed gives the same rows on every machine.
"""

import gzip
import io
import sys
from pathlib import Path

import pandas as pd

from sample_readings.sensors import measured
from sample_readings.story import HISTORY_HOURS, SensorStory, at_hour, shop_story

COLUMNS = ["timestamp_utc", "sensor", "topic", "temperature_c", "rh_pct"]


def history(sensor: SensorStory) -> pd.DataFrame:
    """A sensor's readings over the year before the story starts, as text that is written to its file."""
    air = measured(sensor, -HISTORY_HOURS, HISTORY_HOURS)
    hours = range(-HISTORY_HOURS, 0)
    frame = pd.DataFrame(
        {
            "timestamp_utc": [at_hour(hour).strftime("%Y-%m-%dT%H:%M:%SZ") for hour in hours],
            "sensor": sensor.name,
            "topic": sensor.topics[0],
            "temperature_c": [f"{value:.1f}" for value in air.temperature_c],
            "rh_pct": [f"{value:.1f}" for value in air.rh_pct],
        }
    )
    heard = [not sensor.is_silent(hour) for hour in hours]
    return frame.loc[heard, COLUMNS].reset_index(drop=True)


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """A frame as CSV text, one line ending on every system."""
    text = io.StringIO()
    frame.to_csv(text, index=False, lineterminator="\n")
    return text.getvalue().encode()


def write_files(folder: Path) -> list[Path]:
    """Write every accepted sensor's readings to a folder; returns the files."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for sensor in shop_story().sensors:
        if sensor.accepted:
            path = folder / sensor.file_name
            # No time stamp in the file: the same rows are the same bytes.
            path.write_bytes(gzip.compress(csv_bytes(history(sensor)), compresslevel=9, mtime=0))
            written.append(path)
    return written


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "readings"
    for file in write_files(target):
        print(f"{file.name}: {file.stat().st_size / 1000:.0f} kB")
