"""What a person should look at: suspects, signs, doubtful growth, and the verdicts on them."""

from farm.review.growth_alerts import drop_in_words
from farm.review.item import ReviewItem, Standing, Urgency
from farm.review.judging import give_verdict, items_to_judge
from farm.review.queue import review_items, standing_verdict, vessels_to_look_at

__all__ = [
    "ReviewItem",
    "Standing",
    "Urgency",
    "drop_in_words",
    "give_verdict",
    "items_to_judge",
    "review_items",
    "standing_verdict",
    "vessels_to_look_at",
]
