"""The tabs of the Job sheet: what they draw. What becomes of it is in ``dashboard.entry``."""
