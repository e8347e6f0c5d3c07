"""The pages at the bench: taking in, step by step to the hand-back, and a book to begin with."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from bench_shop import MODEL, OWNER, bench_book
from screen import answers, page_text, turn_to

from insights.history.book.opening import open_book

SOMEONE = "Ada"


@pytest.fixture
def book(tmp_path):
    return bench_book(tmp_path / "book.db")


@pytest.fixture
def opened(open_app, book):
    """Open a page of the book as Ada; every write is hers."""

    def visit(page: str, **query: list[str]):
        app = open_app(book.name, **query)
        app.session_state["who_named"] = SOMEONE
        return turn_to(app, page)

    return visit


def field(app, kind: str, label: str):
    return next(found for found in app.get(kind) if found.label == label)


def fill(app, **entries: str):
    """Fill fields in by their names."""
    for name, value in entries.items():
        widgets = [*app.text_input, *app.text_area, *app.selectbox, *app.radio]
        wanted = next(found for found in widgets if found.key.endswith(f"-{name}"))
        if wanted.type == "selectbox" and value not in wanted.options:
            wanted.options.append(value)  # as one does by typing
        wanted.set_value(value).run()
    return app


def press(app, label: str):
    next(found for found in app.button if found.label == label).click().run()
    assert not app.exception
    return app


def step(app, name: str):
    next(found for found in app.radio if found.label == "Step").set_value(name).run()
    assert not app.exception
    return app


def on_bench(book, **more):
    job = {"received": date.today() - timedelta(days=2), "model": MODEL, **more}
    return book.receive(job, by=OWNER)


def test_a_known_serial_says_at_once_what_was_done(opened):
    app = fill(opened("Take in"), unit_serial="cg 4471")
    assert answers(app) == ["This unit was here before, once. It is inside its term."]
    said = page_text(app).replace("\\", "")
    assert "by Bo: contact; lot of contact: C017. Day 40 of 180: inside its term." in said


def test_a_likely_unit_is_asked_about_and_a_new_one_is_new(opened, book):
    app = fill(opened("Take in"), unit_serial="CG-4417", model=MODEL, customer="Cafe Nine")
    assert "Please compare" in answers(app)[0] or "here before" in answers(app)[0]
    app = fill(opened("Take in"), unit_serial="ZZ-999999", model="milk steamer", customer="Nobody")
    assert answers(app) == ["New to us: the book's one job does not fit."]


def test_taking_in_gives_a_number_and_a_card(opened, book):
    app = fill(opened("Take in"), unit_serial="CG-4471", model=MODEL, complaint="trips again")
    press(app, "Take it in")
    (job,) = book.jobs_on_bench()
    assert (job.values["complaint"], job.saved_by) == ("trips again", SOMEONE)
    assert f"{job.values['received']:%Y-%m-%d}" == date.today().isoformat()
    assert f'<p class="job-number">{job.job_id}' in page_text(app)
    assert field(app, "text_input", "Serial number").value == ""
    assert app.get("download_button")[0].label == "Card to print"


def test_without_a_model_nothing_is_taken_in_and_nothing_lost(opened, book):
    app = press(fill(opened("Take in"), unit_serial="CG-4471", received="soon"), "Take it in")
    said = " ".join(error.value for error in app.error)
    assert "Nothing you typed is lost" in said
    assert field(app, "text_input", "Serial number").value == "CG-4471"
    assert book.jobs_on_bench() == ()


def test_a_name_that_is_new_is_said_to_be_new(opened):
    app = fill(opened("Take in"), model="contact gril")
    assert f"Did you mean {MODEL}?" in " ".join(found.value for found in app.info)


def test_the_list_shows_the_oldest_first_and_a_scan_opens_one(opened, book):
    on_bench(book, unit_serial="CG-1", received=date.today(), customer="Cafe Ten")
    on_bench(book, unit_serial="CG-2")
    app = opened("On the bench")
    labels = [found.label for found in app.button if str(found.key).startswith("open-")]
    assert [label.split(" ")[0] for label in labels] == ["J000003", "J000002"]
    app.text_input(key="bench-find").set_value("CG1").run()
    assert dict(app.query_params) == {"job": "J000002"}


def test_an_address_that_is_no_job_is_named(opened):
    app = opened("On the bench")
    app.query_params["job"] = "J999999"
    app.run()
    assert "no job J999999" in " ".join(found.value for found in app.warning)


def test_findings_practices_and_parts_are_versions_of_their_own(opened, book):
    job = on_bench(book)
    app = opened("On the bench")
    app.button(key=f"open-{job.job_id}").click().run()
    press(app, "Save what was found")
    assert book.job(job.job_id).number == 1  # nothing was changed
    found = {"root_cause": "cord", "upstream_cause": "pulled", "cause_removed": "no"}
    fill(app, **found, earlier_work="parts_missing")
    press(app, "Save what was found")
    press(fill(step(app, "Done"), practice_scale="left"), "Save what was done")
    app = fill(step(app, "Parts"), **{"part-1": "Cord set", "lot-1": "K7", "bench_minutes": "20"})
    app = fill(app, **{"part-2": "seal"})
    press(app, "Save parts and minutes")
    assert "lot is missing" in " ".join(error.value for error in app.error)
    press(fill(app, **{"lot-2": "S3"}, parts_cost="12,30"), "Save parts and minutes")
    values = book.job(job.job_id).values
    wanted = {
        "root_cause": "cord",
        "cause_removed": "no",
        "earlier_work": "parts_missing",
        "practice_scale": "left",
        "lot_cord_set": "K7",
        "lot_seal": "S3",
        "bench_minutes": 20,
        "parts_cost": 12.3,
    }
    assert {name: values.get(name) for name in wanted} == wanted
    steps = [version.what for version in book.versions_of(job.job_id)]
    assert steps == ["received", "findings", "practices", "parts"]
    said = page_text(step(app, "Changes"))
    saved = (
        "state of earlier work: parts missing; root cause: cord; upstream cause: pulled; "
        "put right: no."
    )
    assert f"Ada, findings: {saved}" in said


def test_a_unit_out_of_limits_stays_or_leaves_for_a_reason(opened, book):
    job = on_bench(book)
    app = opened("On the bench")
    app.button(key=f"open-{job.job_id}").click().run()
    app = step(app, "Readings")
    said = page_text(app)
    for caution in ("Mains can kill", "several hundred volts", "burn long after", "local code"):
        assert caution in said
    reads = {"instrument": "blue meter", "reading_insulation_mohm": "0,1", "reading_plate_c": "250"}
    press(fill(app, **reads), "Save these readings")
    assert "can't be handed back" in answers(app)[0]
    press(fill(step(app, "Leaves"), price="10"), "It leaves")
    assert "insulation out" in " ".join(error.value for error in app.error)
    assert "handed_back" not in book.job(job.job_id).values
    press(fill(app, not_returned="declined, labelled"), "It leaves")
    stands = book.job(job.job_id)
    assert stands.what == "not returned to use"
    assert stands.bench["not_returned"] == "declined, labelled"
    assert len(stands.bench["readings"]) == 2
    assert stands.bench["readings"][0]["instrument"] == "blue meter"
    assert stands.bench["protection"] == "I_heating"
    assert [found.label for found in app.get("download_button")] == ["Summary to print"]


def test_a_unit_can_leave_service_instead(opened, book):
    job = on_bench(book)
    app = opened("On the bench")
    app.button(key=f"open-{job.job_id}").click().run()
    press(fill(step(app, "Leaves"), how="scrapped"), "It leaves")
    stands = book.job(job.job_id)
    assert stands.values["ended_how"] == "scrapped"
    assert "handed_back" not in stands.values
    assert book.jobs_on_bench() == ()


def test_nobody_works_without_a_name(open_app, book):
    app = open_app(book.name)
    app.session_state["who_named"] = ""
    app = turn_to(app, "Take in")
    assert [found.label for found in app.text_input] == ["Your name"]
    app.text_input(key="who-typed").set_value("  Cleo  May ").run()
    assert "Cleo May" in page_text(app)
    assert field(app, "text_input", "Serial number")


def test_without_a_book_one_is_made_from_the_open_record(open_app, shop_frame, tmp_path):
    sheet = tmp_path / "small.csv"
    shop_frame.head(60).to_csv(sheet, index=False, date_format="%Y-%m-%d")
    app = open_app(sheet, "Take in")
    path = tmp_path / "made.db"
    app.text_input(key="book-path").set_value(str(path))
    app.text_input(key="book-currency").set_value("EUR")
    press(app, "Make the book and open it")
    assert "Give your name" in " ".join(error.value for error in app.error)
    app.text_input(key="book-by").set_value(SOMEONE)
    press(app, "Make the book and open it")
    assert field(app, "text_input", "Serial number")
    assert f"At this screen: **{SOMEONE}**" in page_text(app)
    made = open_book(path)
    assert len(made.history().jobs) == 60
    assert made.settings().currency == "EUR"


def test_what_arrived_can_be_put_right(opened, book):
    job = on_bench(book, unit_serial="CG-7")
    app = opened("On the bench")
    app.text_input(key="bench-find").set_value("CG7").run()
    press(
        fill(step(app, "Arrived"), unit_serial="CG-70", customer="Cafe Ten"), "Save the correction"
    )
    stands = book.job(job.job_id)
    assert (stands.values["unit_serial"], stands.what) == ("CG-70", "correction")
    assert book.versions_of(job.job_id)[0].values["unit_serial"] == "CG-7"


def test_what_can_not_be_saved_is_marked_at_its_own_field(opened, book):
    job = on_bench(book)
    app = opened("On the bench")
    app.button(key=f"open-{job.job_id}").click().run()
    app = step(app, "Leaves")
    press(fill(app, on="2099-01-01", not_returned="cut lead"), "It leaves")
    assert app.error[0].value.startswith("After today")  # not under a name of the book's own
    app = step(app, "Readings")
    press(fill(app, other="Plate left, °C", **{"other-value": "2o3"}), "Save these readings")
    assert app.error[0].value.startswith("Not a number")
    press(fill(app, other="earth m\u03a9"), "Save these readings")
    assert "no reading is kept in" in app.error[0].value
    press(fill(app, other="Plate left, °C", **{"other-value": "203"}), "Save these readings")
    assert book.job(job.job_id).values["reading_plate_left_c"] == 203


def test_the_cautions_stand_there_before_the_protection_is_known(opened, book):
    job = on_bench(book, model="a model without a sheet")
    app = opened("On the bench")
    app.button(key=f"open-{job.job_id}").click().run()
    said = page_text(step(app, "Readings"))
    assert "protection of a model without a sheet is not known" in said.replace("\\", "")
    # What common practice asks for before a test (no source).
    for caution in ("Mains can kill", "several hundred volts", "burn long after", "local code"):
        assert caution in said
