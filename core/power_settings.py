"""The breathing model as a job file wants it: settings from ``[power]`` and ``[dyno]``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from core.job import Job
from core.power_model import PowerSettings, power_model
from core.power_results import Anchor, PowerGain, PowerModel
from core.results import Review


def settings_of(job: Job) -> PowerSettings:
    """Return the settings that a job's ``[power]`` and ``[dyno]`` make.

    Parameters
    ----------
    job : Job
        What was measured.

    Returns
    -------
    PowerSettings
        What the job does not state stays as the model assumes it.
    """
    dyno = job.dyno
    anchor = None if dyno is None else Anchor(dyno.power_w, dyno.stage, dyno.standard)
    return replace(PowerSettings(), anchor=anchor, **dict(job.power))


def with_power(review: Review, progress: Callable[[float], None] | None = None) -> Review:
    """Return a review with the breathing model worked out, as its job wants it.

    Parameters
    ----------
    review : Review
        What was worked out from a job.
    progress : callable, optional
        Called now and then with the share of the work that is done, 0 to 1.

    Returns
    -------
    Review
        The same with ``power``; where there is no figure it says why.
    """
    return replace(review, power=power_model(review.job, review, settings_of(review.job), progress))


def without_prices(model: PowerModel) -> PowerModel:
    """Return a model whose gains say nothing of what they cost.

    Parameters
    ----------
    model : PowerModel
        As worked out.

    Returns
    -------
    PowerModel
        The same ranges without prices.
    """

    def bare(gain: PowerGain | None) -> PowerGain | None:
        return gain and replace(gain, price=None, price_per_w=None)

    stages = tuple(
        replace(
            stage,
            against_baseline=bare(stage.against_baseline),
            against_previous=bare(stage.against_previous),
        )
        for stage in model.stages
    )
    return replace(model, stages=stages)
