"""What is coming, as a maker plans his weeks by it; and a first page that says each thing once."""

import re
from datetime import timedelta

from dashboard.forms.acts import take_back
from dashboard.pages.shop import coming, measuring, today
from dashboard.shell.app import build_app
from dashboard.shell.static_html import text_of
from dashboard.shell.view import Context, View
from model.answers.worth_measuring import WorthMeasuring
from model.records.acts import book as records
from model.records.queries import overview as queries
from model.records.schema.tables import (
    Margin,
    Measurement,
    MemberRow,
    Outlook,
    PieceRow,
    Place,
    Preference,
    Stack,
    Verdict,
)
from model.watch.questions import measure_next
from model.watch.questions.standings import Standings
from model.wood.reason import Reason
from model.words.display import Display
from tests.dashboard.conftest import _piece as panelled


def read(book, now, path="/coming") -> str:
    """The words of a page, as a browser first meets it."""
    document = build_app(book.store, lambda: now).server.test_client().get(path).get_data(as_text=True)
    own = document[document.index("<main") : document.index("</main>")]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", own)).replace("\u00a0", " ")


def likely(book, now, piece_id: int, *said: dict) -> None:
    """Store what the watch would have said of the coming year."""
    usual = {
        "fit": "back_panel",
        "limit": "groove-bottom",
        "direction": "swelling",
        "severity": "harms",
        "seen": {
            "key": "told",
            "text": "the panel of the back is hard in its grooves and pushes the frame apart",
        },
        "chance_pct": 80.0,
        "low_days": 30,
        "high_days": 90,
        "lever": {
            "hold": "at or under",
            "needed_rh_pct": 55.0,
            "advised_rh_pct": 55.0,
            "ceiling_rh_pct": 60.0,
            "enough": True,
            "instead": [],
        },
    }
    with book.store.session() as session:
        session.add(
            Outlook(
                subject_kind="piece",
                subject_id=piece_id,
                quantity="rh_pct",
                piece_id=piece_id,
                at=now,
                p10=b"",
                p50=b"",
                p90=b"",
                detail={"next": [usual | one for one in said]},
            )
        )


def test_a_limit_that_will_be_reached_stands_under_its_month_with_what_prevents_it(book, now):
    likely(book, now, book.bench, {})
    page = read(book, now)
    assert "One limit is likely to be reached within the year, none within four weeks." in page
    month = page[page.index("March 2026") :]
    assert "Hall bench" in month
    assert "Likely this year, in 4 to 12 weeks: the panel of the back is hard in its grooves" in month
    assert "Hold the room at or under 55 %." in month


def test_the_weeks_come_before_the_months_and_the_unlikely_is_folded(book, now):
    likely(
        book,
        now,
        book.bench,
        {"low_days": 2, "high_days": 10},
        {"limit": "leaves-groove", "low_days": 9, "high_days": 30},
        {"limit": "rattle", "low_days": 100, "high_days": 160, "chance_pct": 20.0},
    )
    page = read(book, now)
    places = [page.index(words) for words in ("This week", "Next week", "May 2026", "One less likely")]
    assert places == sorted(places)
    assert "two of them perhaps within four weeks" in page


def test_a_stack_stands_in_the_week_it_is_ready(book, now):
    ready = {
        "is_ready": False,
        "never_here": False,
        "from_at": (now + timedelta(days=9)).isoformat(),
        "until_at": (now + timedelta(days=16)).isoformat(),
        "target_mc_pct": 7.7,
    }
    with book.store.session() as session:
        session.get_one(Verdict, ("stack", book.stack)).detail = {
            "key": "told",
            "text": "9.0 %, 1.3 points too wet",
            "ready": ready,
        }
    page = read(book, now)
    assert "Maple, spring batch : ready in 9 to 16 days for Dry flat." in page[page.index("Next week") :]


def test_leaves_and_stacks_that_rest_stand_in_the_week_their_rest_is_over(book, now):
    with book.store.session() as session:
        stack, panel = session.get_one(Stack, book.stack), session.get_one(MemberRow, book.bench_panel)
        for body, until in ((stack, 9), (panel, 20)):
            rests = (now + timedelta(days=until)).date().isoformat()
            body.document = {**body.document, "rest_until": rests}
    page = read(book, now)
    week, weeks = (page.index(words) for words in ("Next week", "Within four weeks"))
    assert "Maple, spring batch : rests until Feb 19." in page[week:weeks]
    assert "Hall bench : back rests until Mar 2." in page[weeks:]
    assert "The back rests until Mar 2." in read(book, now, f"/piece/{book.bench}")


def test_the_heating_season_ends_in_may_here_and_in_november_in_the_south(book, now):
    assert "The heating season ends about May" in read(book, now)
    with book.store.session() as session:
        for place in session.query(Place):
            place.zone = "Australia/Hobart"
    assert "The heating season begins about April" in read(book, now)


def test_a_piece_that_was_past_a_limit_is_to_be_looked_over(book, now):
    with book.store.session() as session:
        fit = session.get_one(PieceRow, book.bench).fits[0]
        for row in session.query(Margin).filter_by(fit_id=fit.id, limit_name="leaves-groove"):
            if now - timedelta(days=9) < row.at < now - timedelta(days=5):
                row.standing, row.margin_mm = "past", -1.0
            row.standing_since_at = now - timedelta(days=9 if row.standing == "past" else 5)
    page = read(book, now)
    looked = page[page.index("Look these over") :]
    assert "Hall bench . Back panel went past a limit in dry air" in looked
    assert "look for a split" in looked


def worth(book, now, **values):
    """What the watch found worth measuring: the letter at the flat's chest, of use for five weeks."""
    seen = {"key": "told", "text": "the back panel leaves its groove"}
    values = {"how": "strip", "part": "the back panel", "fit": "the back panel", **values}
    with book.store.session() as session:
        chest = session.get_one(PieceRow, book.chest)
        one = WorthMeasuring(
            kind="piece",
            subject_id=book.chest,
            subject=chest.name,
            body_id=chest.members[0].id,
            quantity="gap_mm",
            act="strip",
            decides="harms",
            reason=Reason("measure", {**values, "seen": seen, "doubt_mm": 2.2, "then_mm": 0.3}),
            gain_mm=1.9,
            from_at=now - timedelta(days=1),
            until_at=now + timedelta(days=35),
            part="back",
            fit_id=chest.fits[0].id,
            fit="back panel",
        )
        session.merge(Preference(name=measure_next.NAME, value={"worth": [one.document()]}))
    return one


def test_the_first_page_asks_for_one_measurement_with_its_reason_and_last_day_until_it_is_put_off(book, now):
    one = worth(book, now)
    view = View(Context(book.store, lambda: now), Display("inch"), now, {})
    told, ahead = (
        " ".join(text_of(page.layout(view)).replace("\u00a0", " ").split()) for page in (today, coming)
    )
    asked = (
        "ask the client for the gap strip's letter at the back panel: ± 3/32 in becomes ± 1/64 in; that "
        "tells whether the back panel leaves its groove. Useful until "
    )
    assert told.count("To measure next. Walnut <b>chest</b> : " + asked) == 1
    assert "Worth measuring Walnut <b>chest</b> : " + asked in ahead
    # The same in JSON.
    with book.store.session() as session:
        (record,) = Standings(session, now, Display("inch")).state().measure
    assert (record.name, record.act, record.is_asked) == ("Walnut <b>chest</b>", "strip", True)
    assert record.reason.startswith("Ask the client for the gap strip's letter at the back panel")
    act = measuring.later(one.key, {}, view)
    assert act.says == "Put off for six weeks; nothing else is asked for this week."
    assert not any("gap strip's letter" in text_of(page.layout(view)) for page in (today, coming))
    take_back(view, act.undo)
    assert "To measure next." in text_of(today.layout(view))


def test_what_is_measured_is_not_asked_for_again_before_the_watch_has_worked_it_in(book, now):
    one = worth(book, now)
    assert "Worth measuring" in read(book, now)
    with book.store.session() as session:
        chest = session.get_one(PieceRow, book.chest)
        fit = chest.fits[0]
        session.add(
            Measurement(
                body_id=one.body_id, fit_id=fit.id, at=now, quantity="gap_mm", value=1.0, uncertainty=0.3,
                how="gap strip",
            )
        )  # fmt: skip
    assert "Worth measuring" not in read(book, now)


def test_the_first_page_leads_to_what_is_coming_and_says_each_piece_once(book, now):
    with book.store.session() as session:
        flat = session.get_one(Place, book.flat)
        flat.name, session.get_one(PieceRow, book.bench).name = "Dry flat", "Hall bench"
    likely(book, now, book.bench, {})
    document = build_app(book.store, lambda: now).server.test_client().get("/").get_data(as_text=True)
    own = document[document.index('<ul class="note"') : document.index("The air</h2>")]
    links = re.findall(r'href="(/piece/\d+)"', own)
    assert sorted(links) == sorted(set(links))
    assert len(links) == 2
    assert '<a href="/coming">All that is coming</a>' in own


def test_pieces_of_a_silent_home_are_one_line(book, now):
    with book.store.session() as session:
        for number in range(9):
            piece = panelled(f"Stool {number}", book.flat, now - timedelta(days=9), 300.0)
            session.add(piece)
            session.flush()
            judged = Verdict(
                subject_kind="piece",
                subject_id=piece.id,
                verdict="unknown",
                since_at=now,
                evaluated_at=now,
                detail={"key": "told", "text": "no reading from Dry flat for 36 hours"},
            )
            session.add(judged)
    page = read(book, now, "/")
    assert page.count("no reading for 36 hours") == 1
    assert "Stool 0 , Stool 1" in page


def test_sixty_pieces_and_sixty_stacks_are_told_of_in_few_lines(book, now):
    with book.store.session() as session:
        shop = session.get_one(Place, book.shop)
        for number in range(60):
            lumber = {"species": "white ash", "thickness_mm": 25.4, "mc_pct": 9.0}
            records.add_stack(session, f"Ash {number}", lumber, shop, now - timedelta(days=2))
        assert session.query(Stack).count() == 61
    with book.store.session() as session:
        pieces = [
            queries.PieceNow(
                number,
                f"Chest {number}",
                {},
                None,
                None,
                next=(
                    queries.Coming(
                        "back",
                        "rattle",
                        "shrinking",
                        "shows",
                        "the panel rattles",
                        90.0,
                        now + timedelta(days=3),
                        now + timedelta(days=20),
                        now,
                    ),
                ),
            )
            for number in range(60)
        ]
    view = View(Context(book.store, lambda: now), Display(), now)
    (week,) = coming.by_time(coming.limits(pieces, view), "UTC", view)
    rows, folded = week.children[1], week.children[2]
    assert len(rows.children) == 6
    assert folded.children[0].children == "54 more"
    assert "All 61 stacks" in read(book, now, "/")


def test_a_month_of_a_thousand_pieces_has_a_page_of_its_own(book, now):
    ahead = queries.Coming(
        "back", "rattle", "shrinking", "shows", "it", 90.0, now + timedelta(3), now + timedelta(20), now
    )  # fmt: skip
    pieces = [queries.PieceNow(n, f"Chest {n}", {}, None, None, next=(ahead,)) for n in range(1_000)]
    view = View(Context(book.store, lambda: now), Display(), now)
    expected = coming.limits(pieces, view)
    (week,) = coming.by_time(expected, "UTC", view)
    rest = week.children[2]
    assert len(rest.children[1].children) == coming.FOLDED
    assert rest.children[2].children.href == "/coming?when=This+week"
    page = coming.one_stretch("This week", expected, 2)
    assert len([one for one in page.children if one is not None][2].children) == 60
