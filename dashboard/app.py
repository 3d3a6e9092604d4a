"""The app: which screens there are, and which job they show."""

from __future__ import annotations

import sys
from pathlib import Path

# The server puts this script's folder on the path, and not the folder above it.
if (_ROOT := str(Path(__file__).resolve().parents[1])) not in sys.path:
    sys.path.insert(0, _ROOT)

import streamlit as st

from dashboard import state
from dashboard.screens import bench_day, by_lift, hand_over, job_sheet, power, results, shelf, sidebar, target

st.set_page_config(page_title="Gain Ledger", layout="wide", initial_sidebar_state="auto")
pages = [
    st.Page(results.draw, title="Results", url_path="results", default=True),
    st.Page(by_lift.draw, title="By lift", url_path="by-lift"),
    st.Page(target.draw, title="Target", url_path="target"),
    st.Page(power.draw, title="Rough power", url_path="rough-power"),
    st.Page(hand_over.draw, title="Hand-over", url_path="hand-over"),
]
if state.reader() == "shop":
    pages.append(st.Page(bench_day.draw, title="Bench day", url_path="bench-day"))
    pages.append(st.Page(job_sheet.draw, title="Job sheet", url_path="job-sheet"))
if shelf.is_offered():
    pages.append(st.Page(shelf.draw, title="Shelf", url_path="shelf"))
screen = st.navigation(pages)
sidebar.draw()
screen.run()
state.settle()
