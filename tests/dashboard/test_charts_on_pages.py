"""Charts on their pages: narrowed, asked of a moment, laid over another, saved as a file."""

import csv
import io
import re
from datetime import timedelta

import numpy as np
import pytest

from dashboard.figures.plot import Plot
from dashboard.pages.lumber import stock
from dashboard.pages.pieces import piece
from dashboard.pages.pieces import predicted as foretold
from dashboard.pages.places import place
from dashboard.pages.sensors import sensor
from dashboard.shell.static_html import still
from model.words.display import Display

INCH, METRIC = Display("inch"), Display("metric")


# ---------------------------------------------------------------- on their pages


def view_of(book, now, **query):
    from dashboard.shell.view import Context, View

    return View(Context(book.store, lambda: now), METRIC, now, query)


def plots(node):
    """Every chart on a page."""
    if isinstance(node, Plot):
        return [node]
    children = getattr(node, "children", node if isinstance(node, list | tuple) else None)
    return (
        [found for child in children for found in plots(child)]
        if isinstance(children, list | tuple)
        else (plots(children) if children is not None and not isinstance(children, str) else [])
    )


def test_a_page_narrowed_to_an_hour_is_sent_that_hour_alone(book, now):
    (month,) = plots(place.layout(view_of(book, now), book.shop))
    ends = {"since": "2026-02-09T10:00", "until": "2026-02-09T14:00"}
    (hours,) = plots(place.layout(view_of(book, now, **ends), book.shop))
    # The wall clock of New York, as the chart was narrowed by it.
    assert hours.figure["layout"]["xaxis"]["range"] == ["2026-02-09 10:00", "2026-02-09 14:00"]
    assert len(hours.figure["data"][-1]["x"]) == 5
    assert len(month.figure["data"][-1]["x"]) > 100
    assert hours.href == f"/place/{book.shop}"


@pytest.mark.parametrize(
    ("page", "number", "asked", "says"),
    [
        (place, "shop", "5 February, 3 pm", "Shop, 5 Feb 15:00: 4"),
        (place, "shop", "5 February 2020", "No air is known at Shop for 5 Feb 2020 12:00."),
        (place, "shop", "noonish", "Moment must be a day and a time, such as 12 January, 3 pm"),
        (stock, "stack", "5 February", "Maple, spring batch, 5 Feb: mean "),
    ],
)
def test_a_day_and_a_time_are_asked_for_and_answered_in_a_sentence(book, now, page, number, asked, says):
    layout = stock.stack_layout if page is stock else page.layout
    told = still(layout(view_of(book, now, at=asked), getattr(book, number))).replace("\u00a0", " ")
    assert says in told


def test_a_moment_outside_the_stretch_moves_the_stretch_there_and_is_marked(book, now):
    (drawn,) = plots(place.layout(view_of(book, now, span="day", at="2026-02-01T12:00Z"), book.shop))
    begin, end = drawn.figure["layout"]["xaxis"]["range"]
    assert begin < "2026-02-01 07:00" < end
    lines = [shape for shape in drawn.figure["layout"]["shapes"] if shape["x0"] == "2026-02-01 07:00"]
    assert len(lines) == 1


def test_a_place_can_be_laid_over_another(book, now):
    (drawn,) = plots(place.layout(view_of(book, now, beside=str(book.flat)), book.shop))
    assert "Dry flat" in {trace["name"] for trace in drawn.figure["data"]}
    assert f"beside={book.flat}" in drawn.href


def test_values_are_saved_as_a_file_with_nothing_in_it_that_anyone_typed(book, now):
    from dashboard.shell.app import build_app
    from model.records.schema.tables import Sensor

    with book.store.session() as session:
        session.query(Sensor).first().name = '=HYPERLINK("x")'
    client = build_app(book.store, lambda: now).server.test_client()
    (drawn,) = plots(place.layout(view_of(book, now, span="week"), book.shop))
    answer = client.get(drawn.csv)
    assert answer.mimetype == "text/csv"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="shop-values.csv"'
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert len(rows) == 7 * 24
    assert list(rows[0]) == ["timestamp_utc", "temperature_c", "rh_pct", "emc_pct", "basis"]
    assert rows[0]["timestamp_utc"] == "2026-02-03T15:00:00Z"
    assert rows[0]["basis"] in ("measured", "estimated")
    sent = client.get("/values/sensor/1.csv").text
    assert sent.startswith("timestamp_utc,temperature_c,rh_pct,trust\n2026-01-27T15:00:00Z,19.0,")
    assert not re.search(r"^[=+@\t]|,[=+@\t]", sent, re.MULTILINE)
    assert "HYPERLINK" not in sent
    assert client.get(f"/values/body/{book.stack}.csv").text.count("\n") == 16
    assert client.get("/values/place/999.csv").status_code == 404
    assert client.get("/values/secret/1.csv").status_code == 404


def test_every_reading_is_in_the_file_even_of_a_long_span(book, now):
    from model.records.queries import traces
    from model.records.schema.tables import Reading

    start = now - timedelta(days=3)
    with book.store.session() as session:
        session.execute(
            Reading.__table__.insert(),
            [
                {
                    "sensor_id": 1,
                    "observed_at": start + timedelta(seconds=10 * n + 1),
                    "received_at": start,
                    "rh_pct": 45.0,
                }
                for n in range(21_000)
            ],
        )
        drawn = traces.sensor_trace(session, 1, start, now)
        saved = traces.sensor_trace(session, 1, start, now, every=True)
    assert drawn.step_ms > 0
    assert len(saved.at) > 21_000 > len(drawn.at)


def test_what_is_ahead_can_be_narrowed_to_and_asked_of_as_a_spread(book, now):
    from model.records.schema.tables import Outlook

    days = np.arange(365, dtype="<f4")
    with book.store.session() as session:
        spread = {f"p{pct}": (367.0 + pct / 50 + days / 365).astype("<f4").tobytes() for pct in (10, 50, 90)}
        session.add(
            Outlook(
                subject_kind="member",
                subject_id=book.bench_panel,
                quantity="width_mm",
                piece_id=book.bench,
                at=now,
                detail={},
                **spread,
            )
        )
    ends = {"since": "2026-03-01T00:00", "until": "2026-04-01T00:00"}
    (drawn,) = plots(piece.layout(view_of(book, now, **ends), book.bench))
    assert "the middle ahead" in {trace["name"] for trace in drawn.figure["data"]}
    told = still(piece.layout(view_of(book, now, at="1 June 2026"), book.bench)).replace("\u00a0", " ")
    assert "Back, 1 Jun: likely 367.5 mm to 369.1 mm wide, most likely 368.3 mm." in told


def test_every_kind_of_chart_stands_on_its_page(book, now):
    view = view_of(book, now)
    with book.store.session() as session:
        from model.records.queries import sensing

        sent = sensing.sensors(session, now)[0]
        pages = [
            sensor.page(session, sent, view),
            piece.layout(view, book.bench),
            stock.stack_layout(view, book.stack),
        ]
    assert [len(plots(page)) for page in pages] == [1, 1, 1]
    assert all(drawn.csv.startswith("/values/") for page in pages for drawn in plots(page))
    assert "Nothing has been measured" in still(foretold.layout(view))
