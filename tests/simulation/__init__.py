"""Benches with a known truth: how often the stated intervals hold it, and how many faults are found."""
