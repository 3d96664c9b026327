"""A small demo farm of an invented grower: rendered photos, vessels, events, and the truth."""

__all__: list[str] = []
