"""What the racer may see: one choice that every file of the hand-over obeys.

Files are made from the review that ``shown_to`` returns, so nothing withheld can slip through
one of them: a price that is not there cannot be printed. A view then shows all that it finds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from core.job import Job, Side
from core.power_settings import without_prices
from core.results import Review
from dashboard import words


@dataclass(frozen=True)
class Choice:
    """What may leave the shop, and what a still compares.

    ``doubts`` are those that concern no number shown; every other doubt always stays.
    ``stages`` names a still's before and after (None: the first and the last that were
    measured), ``side`` its side (None: both). Neither shortens what the other files hold.
    """

    prices: bool = True
    doubts: bool = True
    customer: bool = True
    stages: tuple[str, ...] | None = None
    side: Side | None = None

    @property
    def withholds(self) -> bool:
        """Return whether anything is kept back: then the job's own files, which hold it all, must stay."""
        return not (self.prices and self.doubts and self.customer)


EVERYTHING = Choice()
FOR_CUSTOMER = Choice(doubts=False)  # what a customer who looks for himself can take away


def shown_to(review: Review, choice: Choice) -> Review:
    """Return a review without what is withheld; the numbers of flow are the same ones."""
    if not choice.prices:
        review = _without_prices(review)
    if not choice.doubts:
        review = replace(review, findings=tuple(words.findings_for(review, customer=True)))
    if not choice.customer:
        review = replace(review, job=replace(review.job, customer=None))
    if choice.withholds:
        review = replace(review, job=replace(review.job, files=()))
    return review


def _without_prices(review: Review) -> Review:
    return replace(
        review,
        job=_unpriced(review.job),
        stages=tuple(replace(stage, price=None) for stage in review.stages),
        gains=tuple(replace(gain, price=None, price_per_flow=None) for gain in review.gains),
        power=review.power and without_prices(review.power),
    )


def _unpriced(job: Job) -> Job:
    return replace(job, currency=None, stages=tuple(replace(stage, price=None) for stage in job.stages))
