"""The least that Streamlit can do: a title, and a switch that changes a line of text."""

import streamlit as st

st.title("Empty")
units = st.segmented_control("Units", ["metric", "US"], default="metric")
st.caption("Flow in cfm" if units == "US" else "Flow in L/s")
