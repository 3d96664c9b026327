# make demo   installs into .venv and goes from the sample photos to a ready list and a report
# make test   runs the tests
# make check  lint, format, types and tests: what a reviewer would run
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
DEMO ?= demo-farm
# Files of tests run on up to four cores at once.
SIDE_BY_SIDE := --numprocesses auto --maxprocesses 4 --dist loadfile

.PHONY: demo test check install clean

install: $(VENV)/installed

# Versions come from the lock; the names and lower bounds from pyproject.toml.
$(VENV)/installed: pyproject.toml requirements-lock.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --only-binary :all: --constraint requirements-lock.txt --editable ".[dev]"
	touch $@

demo: install
	$(BIN)/spawnrun demo $(DEMO) --replace

test: install
	$(BIN)/python -m pytest -q $(SIDE_BY_SIDE)

check: install
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python -m pytest -q $(SIDE_BY_SIDE)

clean:
	rm -rf $(VENV) build dist *.egg-info .pytest_cache .mypy_cache .ruff_cache
