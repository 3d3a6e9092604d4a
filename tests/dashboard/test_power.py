"""Power as a person reads it: ranges and never a middle, what they rest on, screen, ladder and PDF."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from streamlit.testing.v1 import AppTest

from core.files.load import load_job
from core.files.toml import tomllib
from core.power_results import Anchor, Contribution, PowerModel, StagePower
from core.results import Review
from core.review import review
from core.units import METRIC, US, UnitError
from dashboard import power_entry, power_state, power_tables, power_words, words
from dashboard.charts.power import power_bands, power_parts, power_ranges, torque_bands
from dashboard.handover.choice import Choice
from dashboard.handover.pdf import summary_pdf
from dashboard.ladder import ladder
from dashboard.look import THEMES
from tests.dashboard.conftest import OpenScreen
from tests.dashboard.power_models import FRICTION, RUNNER, WARM, make_gain, make_model
from tests.dashboard.reviews import make_review
from tests.dashboard.test_app import charts, said

Start = Callable[..., AppTest]


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", " ").replace("\u2212", "-")


def number(text: str) -> float:
    return float(text.replace("\u2212", "-").replace("\u202f", ""))


# --- ranges in words -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (8.3, 19.6, "8 to 20"),
        (19.2, 50.3, "20 to 50"),
        (2.1, 5.2, "2 to 5"),
        (0.1, 12.0, "0.1 to 12"),
        (-1.2, 4.3, "-1 to 4.5"),
        (-8.2, -3.1, "-8 to -3"),
        (0.0, 7.0, "0 to 7"),
        (1040.0, 1990.0, "1 000 to 2 000"),
    ],
)
def test_a_range_is_rounded_to_what_it_supports(low: float, high: float, text: str) -> None:
    assert plain(" to ".join(power_words.rough_ends(low, high))) == text


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e3))
def test_rounding_never_moves_a_range_over_zero_nor_far(low: float, width: float) -> None:
    high = low + width
    one, two = map(number, power_words.rough_ends(low, high))
    assert (one > 0, one < 0) == (low > 0, low < 0) or abs(low) < 1e-6
    assert (two > 0, two < 0) == (high > 0, high < 0) or abs(high) < 1e-6
    assert abs(one - low) <= width / 11 and abs(two - high) <= width / 11


def test_the_answer_gives_a_range_and_no_middle() -> None:
    model = make_model()
    gain = model.stages[-1].against_baseline
    text = plain(power_words.answer(model, METRIC))
    assert text == "All work together may be worth about 8 to 20 kW near peak power."
    assert str(round(gain.gain_w.mid / 1e3, 1)) not in text
    assert plain(power_words.answer(model, US)).startswith("All work together may be worth about 10 to 26 hp")


def test_the_answer_says_what_cannot_be_told_or_was_lost() -> None:
    close = make_model(("a", "b"), (0.0, 800.0), None, open_stages=("b",))
    close = replace(
        close, stages=(close.stages[0], replace(close.stages[1], against_baseline=make_gain(800, open_=True)))
    )
    assert plain(power_words.answer(close, METRIC)).endswith(
        "about -0.2 to 1.8 kW near peak power: too close to call."
    )
    lost = make_model(("a", "b"), (0.0, -5000.0), None, open_stages=())
    assert (
        plain(power_words.answer(lost, METRIC))
        == "All work together may have cost about 3 to 7 kW near peak power."
    )


def test_no_figure_comes_with_its_reason_and_cure() -> None:
    model = PowerModel("the job has no engine", "Give [engine].", stages=(StagePower("a", "x"),))
    assert power_words.answer(model, METRIC) == "No power figure, because the job has no engine."
    assert power_words.missing(model) == ["Give [engine]."]
    assert "No rough power, because the job has no engine." in power_words.ladder_note(model)
    part = make_model(without={"port exit": "its exhaust was not measured"})
    assert power_words.answer(part, METRIC).startswith("All work up to throat and bowl")
    assert power_words.missing(part) == [
        "port exit: no power figure, because its exhaust was not measured. Put it on the bench."
    ]
    assert power_words.ladder_cell(part, "port exit", METRIC) == power_words.NO_FIGURE


def test_price_is_a_range_around_the_middle_of_the_gain() -> None:
    # 480 EUR over 5.5 to 14.5 kW (10 kW at the middle): 33 to 87 EUR per kW, 48 at the middle.
    gain = make_gain(10e3, price=480.0)
    assert plain(power_words.price_text(gain, "EUR", METRIC)) == "33 to 87 EUR per kW, 48 at the middle"
    # The same in hp: 10 kW are 13.41 hp.
    assert plain(power_words.price_text(gain, "EUR", US)) == "25 to 65 EUR per hp, 36 at the middle"
    assert (
        plain(power_words.price_text(make_gain(1e3, open_=True), "EUR", METRIC)) == "210 EUR per kW or more"
    )
    assert power_words.price_text(make_gain(1e3, price=None), "EUR", METRIC) == "no price"
    assert power_words.price_text(make_gain(-1e3), "EUR", METRIC) == "no gain to divide by"


def test_a_known_peak_is_said_with_what_it_cannot_mend() -> None:
    model = replace(make_model(), anchor=Anchor(95e3, "as cast", "DIN 70020"), anchor_factor=1.07)
    line = plain(power_words.anchor_line(model, METRIC))
    # DIN 70020 on a standard day: 1013/1013.25 * sqrt(288/293) = 0.9912, so 95 kW are 95.8 kW there.
    assert "95 kW at as cast (DIN 70020)." in line
    assert "a standard day, that is 95.8 kW: 1.08 times what the model makes of that stage" in line
    assert (
        "removes the error in level and leaves the error in structure: percent gain times known power" in line
    )
    assert "scaled to a known peak" in power_words.ladder_note(model)
    refused = replace(make_model(), anchor_because="its stage has no figure")
    assert (
        power_words.anchor_line(refused, METRIC)
        == "The known peak is not used, because its stage has no figure."
    )
    others = plain(power_words.other_standards(100e3, "SAE J1349", METRIC))
    assert "by SAE J607" in others and "by DIN 70020" in others and "SAE J1349" not in others


# --- compression -----------------------------------------------------------------------


def test_compression_is_a_line_of_its_own(demo_runs: Path) -> None:
    done = review(load_job([demo_runs / "sprint-four"]).job)
    line = plain(power_words.ledger_line(done))
    # 52.9 to 53.3 cc on 497.6 cc swept at 10.4: 1 + 497.63 / 53.34 = 10.33.
    assert line == (
        "Since as cast the chamber grew by 0.4 cc: compression went from 10.40 to 10.33, "
        "and that may have cost 0.2 % of power."
    )
    table = power_tables.ledger(done.compression, METRIC)
    assert table.columns == ("Stage", "Chamber, cc", "Ratio", "Effect on power")
    assert [row[1] for row in table.rows] == ["52.9", "53.2 (+0.3)", "53.2 (+0.3)", "53.3 (+0.4)"]
    assert [row[0] for row in table.rows] == [stage.name for stage in done.stages]


def test_a_deck_s_depth_needs_the_plan_area(demo_runs: Path) -> None:
    from core.chambers import compression_lines

    job = load_job([demo_runs / "sprint-four"]).job
    table = power_tables.ledger(compression_lines(job, 50e-4), METRIC)
    # 0.4 cc over 50 cm2 are 0.08 mm.
    assert table.columns[-1] == "Off the deck to bring it back"
    assert plain(table.rows[-1][-1]) == "0.08 mm"
    said_of_deck = plain(power_words.deck_line(compression_lines(job, 50e-4), METRIC))
    assert said_of_deck == "0.08 mm off the deck would bring the first chamber's volume back."
    assert power_words.deck_line(compression_lines(job), METRIC) == ""
    for word in ("valve-to-piston", "chamber wall", "cam timing", "engine builder"):
        assert word in power_words.DECK_CAUTION


# --- entry -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "one", "units", "value"),
    [
        ("320", RUNNER, METRIC, 0.32),
        ("320,5", RUNNER, METRIC, 0.3205),
        ("12.6 in", RUNNER, METRIC, 0.32004),
        ("12.6", RUNNER, US, 0.32004),
        ("35", WARM, METRIC, 308.15),
        ("95", WARM, US, 308.15),
        ("35 degC", WARM, US, 308.15),
        ("1.2", FRICTION, METRIC, 1.2),
    ],
)
def test_what_is_typed_is_read_in_the_unit_shown_or_its_own(text, one, units, value) -> None:
    assert power_entry.read_value(text, one, units) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "one", "says"),
    [
        ("3000", RUNNER, r"'3000' is not possible here\. Allowed: 50 mm to 1 000 mm"),
        ("-20", RUNNER, r"not possible"),
        ("32O", RUNNER, r"letter O"),
        ("35 hPa", RUNNER, r"pressure"),
        ("nan", WARM, r"nan"),
        ("about 30", WARM, r"does not begin with a number"),
        ("9", FRICTION, r"Allowed: 0\.50* to 2"),
    ],
)
def test_nonsense_is_refused_with_what_is_allowed(text, one, says) -> None:
    with pytest.raises(UnitError, match=says.replace(" ", r"\s")):
        power_entry.read_value(text, one, METRIC)


@pytest.mark.parametrize("units", [METRIC, US])
def test_a_limit_may_be_typed_as_it_is_shown(units) -> None:
    for one in (RUNNER, WARM, FRICTION):
        for end in (one.least, one.greatest):
            shown = power_tables.value_text(end, one, units)
            assert power_entry.read_value(shown, one, units) == pytest.approx(end, rel=5e-3)


def test_what_was_set_can_be_kept_in_the_job_file() -> None:
    known = {one.key: one for one in (RUNNER, WARM, FRICTION)}
    anchor = Anchor(95e3, 'as "cast"', "SAE J1349")
    lines = power_entry.power_lines({"runner_length_m": 0.32, "intake_temperature_k": 308.15}, known)
    stated = tomllib.loads(lines + "\n" + power_entry.dyno_lines(anchor))
    assert stated == {
        "power": {"runner_length": "320 mm", "intake_temperature": "35 °C"},
        "dyno": {"power": "95 kW", "stage": 'as "cast"', "standard": "SAE J1349"},
    }
    assert power_entry.power_lines({}, known) == power_entry.dyno_lines(None) == ""


# --- charts ----------------------------------------------------------------------------


def texts(spec: dict) -> list[str]:
    return [row["text"] for row in spec["datasets"]["rows"] if "text" in row]


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_bars_show_ranges_and_say_what_is_open(mode: str) -> None:
    spec = power_ranges(make_model(), METRIC, THEMES[mode])
    written = [plain(text) for text in texts(spec)]
    assert {"seat cut", "throat and bowl", "port exit", "all work", "about 8 to 20 kW"} <= set(written)
    assert "port exit about -0.5 to 3.5, too close to call" in plain(spec["description"])
    dashed = [layer for layer in spec["layer"] if layer["mark"].get("strokeDash") == [3, 2]]
    assert len(dashed) == 1  # the open one is hollow


def test_parts_are_the_largest_and_the_rest_together() -> None:
    parts = tuple(Contribution(f"k{i}", f"source {i}", "unknown", 1000.0 - 90 * i) for i in range(10))
    gain = replace(make_gain(5e3), contributions=parts)
    shown = power_tables.largest_parts(gain)
    assert [name for name, _ in shown] == [*(f"source {i}" for i in range(6)), "4 others together"]
    # The root of the squares of 460, 370, 280 and 190 W.
    assert shown[-1][1] == pytest.approx((460**2 + 370**2 + 280**2 + 190**2) ** 0.5)
    assert len(power_tables.parts(gain, METRIC).rows) == 10
    json.dumps(power_parts(gain, METRIC, THEMES["light"]))


def test_bands_are_of_the_first_and_the_last_stage() -> None:
    model = make_model()
    for chart, unit in ((power_bands, "kW"), (torque_bands, "N·m")):
        spec = chart(model, METRIC, THEMES["light"])
        assert {"as cast", "port exit", unit} <= set(texts(spec))
        assert "seat cut" not in texts(spec)
    for kind, unit in (("power", "kW"), ("torque", "N·m")):
        table = power_tables.bands(model, kind, METRIC)
        assert table.columns == ("Speed, rpm", f"as cast, {unit}", f"port exit, {unit}")
        assert len(table.rows) == 8 and all("to" in cell for row in table.rows for cell in row[1:])


def test_nothing_to_compare_draws_no_bar() -> None:
    assert power_tables.range_rows(make_model(("only",), (0.0,), None)) == ()


# --- ladder and PDF --------------------------------------------------------------------


@pytest.fixture(scope="module")
def shown_review() -> Review:
    return replace(make_review(), power=make_model())


def test_the_ladder_has_a_range_a_stage(shown_review: Review) -> None:
    rows = ladder(shown_review, METRIC)
    assert [plain(row.power) for row in rows] == [
        "baseline",
        "about 1.8 to 4.8",
        "about 5 to 13",
        "about -0.5 to 3.5, too close to call",
        "about 8 to 20",
    ]
    assert {row.power for row in ladder(make_review(), METRIC)} == {""}  # not worked out


def pdf_text(data: bytes, tmp_path: Path) -> str:
    file = tmp_path / "summary.pdf"
    file.write_bytes(data)
    ran = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True)
    return " ".join(plain(ran.stdout.decode()).split())


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_the_pdf_says_what_the_screen_says(demo_runs: Path, tmp_path: Path) -> None:
    done = review(load_job([demo_runs / "sprint-four"]).job)
    names = tuple(stage.name for stage in done.stages)
    model = make_model(names, prices=tuple(stage.price for stage in done.stages), open_stages=())
    done = replace(done, power=model)
    data = summary_pdf(done, METRIC)
    text = pdf_text(data, tmp_path)
    # under the answer of the first page, with its caveat; and again where all of it stands
    assert text.count(plain(power_words.answer(model, METRIC))) == 2
    assert plain(f"{power_words.answer(model, METRIC)} {words.CAVEAT}") in text.partition("Flow against")[0]
    for row in power_tables.ranges(power_tables.range_rows(model), done, METRIC).rows:
        assert all(plain(cell) in text for cell in row), row
    for line in (*model.disclosures, *model.notes, plain(power_words.ledger_line(done))):
        assert line in text
    for one in model.assumptions:
        assert plain(power_tables.value_text(one.value, one, METRIC)) in text
    assert power_words.DECK_CAUTION in text
    assert data == summary_pdf(done, METRIC)
    assert "per kW" not in pdf_text(summary_pdf(done, METRIC, Choice(prices=False)), tmp_path)


# --- screen ----------------------------------------------------------------------------


def power_alone() -> None:
    """Draw Rough power as the app does; the test tool cannot choose among screens that are functions."""
    from dashboard.screens import power, sidebar

    sidebar.draw()
    power.draw()


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Iterator[list]:
    """Put a quick, invented model in the place of the real one; return the settings that it was given."""
    given_settings = []

    def quick(job, done, settings, progress, kept) -> PowerModel:
        assert kept is power_state._kept()  # runs are kept from one known peak to the next
        given_settings.append(settings)
        progress(0.5)
        if job.engine is None:
            return PowerModel("the job has no engine", "Give [engine].")
        names = tuple(stage.name for stage in job.stages)
        mids = tuple(4000.0 * i for i in range(len(names)))
        model = make_model(names, mids, tuple(stage.price for stage in job.stages), open_stages=())
        if settings.anchor is None:
            return model
        return replace(model, anchor=settings.anchor, anchor_factor=1.1)

    monkeypatch.setattr(power_state, "power_model", quick)
    power_state._store.clear()
    yield given_settings
    power_state._store.clear()


@pytest.fixture
def start(open_screen: OpenScreen, asked: list) -> Start:
    def started(screen: Callable | None = power_alone, **address: str) -> AppTest:
        return open_screen(screen, **({"job": "sprint-four"} | address))

    return started


def opened(app: AppTest, *folds: str) -> AppTest:
    for fold in folds:
        app.session_state[f"fold-{fold}"] = True
    return app.run()


def field(app: AppTest, label: str):
    return next(one for one in app.text_input if one.label.startswith(label))


def click(app: AppTest, label: str) -> AppTest:
    return next(one for one in app.button if one.label == label).click().run()


def test_the_screen_answers_first_and_never_without_its_caveat(start: Start) -> None:
    app = start()
    assert not app.exception
    assert app.title[0].value == "Rough power"
    assert plain(app.header[0].value).startswith("All work together may be worth about")
    assert words.CAVEAT in said(app)
    assert len(charts(app)) == 2
    assert [table.value.columns[0] for table in app.table] == ["Stage"]
    assert len(app.get("progress")) == 0  # gone when it is done


def test_units_change_the_figures(start: Start) -> None:
    app = start()
    assert "kW" in said(app)
    app.segmented_control(key="units").set_value("US").run()
    assert "hp" in app.header[0].value
    assert not re.search(r"\bkW\b", said(app))


def test_the_second_look_works_nothing_out(start: Start, asked: list) -> None:
    app = start()
    app.segmented_control(key="units").set_value("US").run()
    start()
    assert len(asked) == 1


def test_a_job_without_an_engine_says_why(start: Start) -> None:
    app = start(job="bare-sheets")
    assert app.header[0].value == "No power figure, because the job has no engine."
    assert "Give" in said(app)
    assert not charts(app)


def test_folds_hold_what_it_rests_on(start: Start) -> None:
    app = opened(start(), "assumed", "compression", "bands", "limits", "anchor", "parts")
    assert not app.exception
    text = said(app)
    for expected in (
        "runner length",
        "300 mm",
        "One lumped runner.",
        power_words.DECK_CAUTION,
        "The flow above",
    ):
        assert expected in text
    assert len(charts(app)) == 4


def test_a_value_is_set_and_kept(start: Start, asked: list) -> None:
    app = opened(start(), "assumed")
    field(app, "Runner length").set_value("320")
    app = click(app, power_words.SETTINGS_BUTTON)
    assert asked[-1].runner_length_m == pytest.approx(0.32)
    assert "set on this page" not in said(app)  # the invented model does not say so
    assert any('runner_length = "320 mm"' in block.value for block in app.code)
    # Another unit shows the same value; it is not read anew in the other unit.
    app.segmented_control(key="units").set_value("US").run()
    assert field(app, "Runner length").value == "12.598"
    assert len({one.runner_length_m for one in asked}) == 2


def test_nonsense_is_said_at_its_field_and_changes_nothing(start: Start, asked: list) -> None:
    app = opened(start(), "assumed")
    field(app, "Runner length").set_value("9000")
    field(app, "Friction").set_value("x")
    app = click(app, power_words.SETTINGS_BUTTON)
    errors = [plain(error.value) for error in app.error]
    assert len(errors) == 2
    assert "Allowed" in errors[0]
    assert power_words.NOT_TAKEN in said(app)
    assert {one.runner_length_m for one in asked} == {None}


def test_a_known_peak_scales_and_can_be_taken_away(start: Start, asked: list) -> None:
    app = opened(start(), "anchor")
    field(app, "Corrected peak").set_value("95")
    app = click(app, power_words.ANCHOR_BUTTON)
    assert asked[-1].anchor == Anchor(pytest.approx(95e3), "as cast", "SAE J1349")
    assert "percent gain times known power" in said(app)
    assert any('power = "95 kW"' in block.value for block in app.code)
    field(app, "Corrected peak").set_value("nonsense")
    app = click(app, power_words.ANCHOR_BUTTON)
    assert app.error and "number" in app.error[0].value
    field(app, "Corrected peak").set_value("")
    app = click(app, power_words.ANCHOR_BUTTON)
    assert "percent gain times known power" not in "".join(one.value for one in app.markdown[:4])


def test_the_plan_area_is_asked_and_not_guessed(start: Start) -> None:
    app = opened(start(), "compression")
    assert "Off the deck" not in said(app)
    field(app, "Plan area").set_value("50 cm2").run()
    assert "Off the deck to bring it back" in said(app)
    assert "0.08 mm" in said(app)
    field(app, "Plan area").set_value("50 mm").run()
    assert "length" in app.error[0].value


def test_a_customer_sees_everything_and_sets_nothing(start: Start) -> None:
    app = opened(start(reader="customer"), "assumed", "compression", "limits")
    assert "runner length" in said(app)
    assert words.CAVEAT in said(app)
    assert not app.text_input
    assert not any(one.label == power_words.SETTINGS_BUTTON for one in app.button)


def test_results_have_the_column_and_wait_for_it_last(start: Start, asked: list) -> None:
    app = start(None)
    assert list(app.table[0].value.columns)[-1] == "Rough power, kW"
    assert plain(app.table[0].value.iloc[-1, -1]).startswith("about")
    (line,) = [one.value for one in app.markdown if words.CAVEAT in one.value]  # above the column, once
    assert "near peak power" in plain(line)
    assert words.CAVEAT not in app.caption[1].value
    assert len(asked) == 1
    app.run()
    assert len(asked) == 1


def test_results_without_a_figure_say_why(start: Start) -> None:
    app = start(None, job="bare-sheets")
    assert "Rough power, kW" not in app.table[0].value.columns
    assert "No rough power, because the job has no engine." in said(app)


def test_a_person_s_words_stay_words(start: Start, tmp_path: Path, demo_runs: Path) -> None:
    folder = tmp_path / "hostile"
    shutil.copytree(demo_runs / "sprint-four", folder)
    hostile = "![x](http://198.51.100.7/a.png) **b**"
    for path in (folder / "job.toml", *folder.glob("*.csv")):
        text = path.read_text("utf-8").replace("bowl blend", hostile)
        path.write_text(text, "utf-8", newline="\n")
    app = opened(start(folder=tmp_path, job="hostile"), "assumed", "compression", "bands", "limits", "parts")
    assert not app.exception
    assert hostile in said(app)  # as it reads, and nothing in the page's source can be an image
    raw = "\n".join(str(cell) for table in app.table for cell in table.value.to_numpy().ravel())
    assert "![x](" not in raw
    stages = next(one for one in opened(app, "anchor").selectbox if one.label == "At which stage")
    assert hostile in stages.options
