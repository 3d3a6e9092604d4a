"""The tabs of fields: job, engine and cams, stages and prices, valves, bench, target."""

from __future__ import annotations

import streamlit as st

from core.files.jobfile import TABLES
from core.files.log import folded
from core.files.names import free_name
from core.files.toml import Path
from core.job import SIDES
from dashboard import entry_words, field_words, state
from dashboard.entry import session
from dashboard.entry.draft import Work, job_file_of
from dashboard.screens.tabs import fields
from dashboard.usertext import inert

Problems = dict[Path, list[str]]

_NEW_STAGE = "field-new-stage"


def stage_names(work: Work) -> list[str]:
    """Return the stages there are, also where the job cannot be read as a whole."""
    job = session.loaded(work.files, work.name).job
    if job is not None:
        return [stage.name for stage in job.stages]
    job_file = job_file_of(work.files)
    return [stage.name for stage in job_file.stages] if job_file else []


def draw_job(work: Work, problems: Problems) -> None:
    """Draw what the job is called, and what its flows are stated at."""
    st.caption(field_words.INTROS["Job"])
    fields.draw_table(work, (), problems)


def draw_engine(work: Work, problems: Problems) -> None:
    """Draw the cams first: gains are weighted by them; then the engine."""
    st.caption(field_words.INTROS["Engine and cams"])
    for side in SIDES:
        st.subheader(f"{side.capitalize()} cam")
        fields.draw_table(work, (side, "cam"), problems)
        st.file_uploader(
            f"{side.capitalize()} lift table (CSV with angle [deg] and lift [mm]), instead of all this",
            key=f"field-cam-{side}",
            on_change=_take_lift_table,
            args=(side,),
        )
    st.subheader("Engine")
    fields.draw_table(work, ("engine",), problems)


def _take_lift_table(side: str) -> None:
    file = st.session_state[f"field-cam-{side}"]
    if file is None:
        return
    work = session.work()
    name = free_name(file.name.rpartition(".")[0] or "cam", work.files, ending=".csv", otherwise="cam")
    session.keep(work.changing({name: file.getvalue()}))
    edits = {(side, "cam", key): None for key in TABLES[side, "cam"]}
    fields.change({**edits, (side, "cam", "lift_table"): name})


def draw_stages(work: Work, problems: Problems) -> None:
    """Draw a row of fields for each stage, in the order of work."""
    st.caption(field_words.INTROS["Stages and prices"])
    names = stage_names(work)
    for place, name in enumerate(names):
        with st.container(border=True):
            with st.container(horizontal=True, vertical_alignment="center"):
                st.subheader(inert(f"{place + 1}. {name}"))
                for text, to in (("Earlier", place - 1), ("Later", place + 1)):
                    st.button(
                        text,
                        key=f"field-{text}-{place}",
                        disabled=not 0 <= to < len(names),
                        on_click=_move,
                        args=(place, to, len(names)),
                    )
                st.button("Take out", key=f"field-out-{place}", on_click=_take_out, args=(place, len(names)))
            fields.draw_table(work, ("stage", place), problems, known={"name": name})
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.text_input("A further stage", key=_NEW_STAGE, placeholder="bowl blend", on_change=_add, width=260)
        st.button("Add it", key="field-add-stage", on_click=_add)


def _add() -> None:
    name = " ".join(st.session_state[_NEW_STAGE].split())
    if not name:
        return
    work = session.work()
    names = stage_names(work)
    if folded(name) in map(folded, names):
        session.say("error", inert(entry_words.stage_is_there(name)))
        return
    if fields.change({**fields.listing(work), ("stage", len(names), "name"): name}):
        st.session_state[_NEW_STAGE] = ""


def _move(place: int, to: int, count: int) -> None:
    order = list(range(count))
    order[place], order[to] = order[to], order[place]
    fields.change(fields.listing(session.work()), {"stage": order})


def _take_out(place: int, count: int) -> None:
    listed = fields.listing(session.work())
    if listed:
        fields.change(listed)
    fields.change({("stage", place): None})


def draw_valves(work: Work, problems: Problems) -> None:
    """Draw the valves of the job, or what one stage changed of them."""
    st.caption(field_words.INTROS["Valves"])
    names = stage_names(work)
    whole = "the job: before any work"
    chosen = st.selectbox("Valves of", [whole, *names], key="field-valves-of", width=320)
    prefix: Path = () if chosen == whole else ("stage", names.index(chosen))
    for side in SIDES:
        st.subheader(side.capitalize())
        fields.draw_table(work, (*prefix, side), problems)


def draw_bench(work: Work, problems: Problems) -> None:
    """Draw the bench, or one of several."""
    st.caption(field_words.INTROS["Bench"])
    benches = fields.stated(work.job_file).get("bench", [])
    count = len(benches) if isinstance(benches, list) else 0
    place = 0
    if count:
        names = [str(one.get("name", f"bench {i + 1}")) for i, one in enumerate(benches)]
        place = st.selectbox(
            "Bench",
            range(count + 1),
            key="field-bench",
            format_func=lambda i: names[i] if i < count else "a further bench",
            width=320,
        )
    fields.draw_table(work, ("bench", place), problems)


def draw_target(work: Work, problems: Problems) -> None:
    """Draw the casting to reach, and its valves."""
    st.caption(field_words.INTROS["Target"])
    fields.draw_table(work, ("target",), problems)
    others = [job for job in state.job_names() if job != work.draft.job]
    if others:
        with st.container(horizontal=True, vertical_alignment="bottom"):
            job = st.selectbox(
                "Take a stage of another job", others, index=None, key="field-target-job", width=260
            )
            stages = _stages_of(job) if job else []
            stage = st.selectbox("Stage", stages, key="field-target-stage", disabled=not stages, width=260)
            st.button("Aim at it", key="field-aim", disabled=not stage, on_click=_aim, args=(job, stage))
    st.subheader("Or type its flows")
    st.caption(field_words.TYPED_INTRO)
    fields.draw_table(work, ("target", "typed"), problems)
    for side in SIDES:
        st.subheader(f"Its {side} valves")
        fields.draw_table(work, ("target", side), problems)


def _stages_of(job: str) -> list[str]:
    opened = state.open_job(job)
    return [stage.name for stage in opened.review.stages] if opened.review else []


def _aim(job: str, stage: str) -> None:
    edits = {("target", "sheets"): None, ("target", "typed"): None}
    stated = fields.stated(session.work().job_file).get("target", {})
    gone = {path: None for path in edits if path[1] in stated}
    fields.change({**gone, ("target", "job"): f"../{job}", ("target", "stage"): stage})
