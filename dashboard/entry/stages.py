"""A stage that the job file does not list yet, added to it: a sheet of it would have no stage."""

from __future__ import annotations

from core.files.jobfile import NAME
from core.files.log import folded
from core.files.write_job import UneditableError, edited
from dashboard.entry.draft import Work, job_file_of


def with_stage(work: Work, name: str) -> dict[str, bytes]:
    """Return the job file with a stage more, where it lists stages and not this one; else nothing."""
    job_file = job_file_of(work.files)
    if job_file is None or not job_file.stages:
        return {}  # stages come from the sheets
    if folded(name) in {folded(stage.name) for stage in job_file.stages}:
        return {}
    try:
        return {NAME: edited(work.job_file, {("stage", len(job_file.stages), "name"): name})}
    except UneditableError:
        return {}  # the sheet then says that no stage claims it, and what to do
