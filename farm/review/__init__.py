"""What needs a person's eyes: suspects followed over days, doubtful growth, and the verdicts given on them."""

from farm.review.item import ReviewItem
from farm.review.judging import give_verdict
from farm.review.queue import review_items
from farm.review.suspects import SuspectHistory, follow_suspects

__all__ = [
    "ReviewItem",
    "SuspectHistory",
    "follow_suspects",
    "give_verdict",
    "review_items",
]
