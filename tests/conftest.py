"""Mark tests by what they need, so that they can be selected: `pytest -m "not slow and not browser"`."""

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.browser)
