"""One ingest process on its own, by options instead of settings: ``python -m tests.ingest_process``."""

import argparse
import logging
import signal
import threading
from dataclasses import replace

from ingest.mqtt.subscriber import run
from ingest.settings import IngestSettings
from model.records.clock import machine_now
from model.records.store import Store


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database-url", required=True)
    parser.add_argument("--mqtt-url", required=True)
    parser.add_argument("--topics", default="#", help="topic filters, separated by commas")
    parser.add_argument("--client-id", default=IngestSettings.client_id)
    parser.add_argument("--protocol", default="3.1.1", choices=("3.1.1", "5"))
    parser.add_argument("--share-group")
    given = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    settings = replace(
        IngestSettings.from_url(given.mqtt_url),
        topics=tuple(given.topics.split(",")),
        client_id=given.client_id,
        protocol=given.protocol,
        share_group=given.share_group,
    )
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    run(Store(given.database_url), settings, machine_now, stop)


if __name__ == "__main__":
    main()
