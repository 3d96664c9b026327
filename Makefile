# make demo   installs into .venv and goes from the sample photos to a ready list and a report
# make test   runs the tests
# make lock   compiles the locks of versions and hashes from pyproject.toml
# make check  lint, format, types and tests: what a reviewer would run
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
DEMO ?= demo-farm
# Files of tests run on up to four cores at once.
SIDE_BY_SIDE := --numprocesses auto --maxprocesses 4 --dist loadfile --max-worker-restart 1

PIP := -m pip --disable-pip-version-check install --quiet
# Compiles a lock for Linux, macOS and Windows; versions stay as they are unless UPGRADE=--upgrade is given.
COMPILE := uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --only-binary :all: --no-annotate \
	--custom-compile-command "make lock" $(UPGRADE) pyproject.toml

.PHONY: demo test check install lock clean

install: $(VENV)/installed

# Versions and hashes come from the lock; names and lower bounds from pyproject.toml.
$(VENV)/installed: pyproject.toml requirements-dev-lock.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python $(PIP) --only-binary :all: --require-hashes --requirement requirements-dev-lock.txt
	$(BIN)/python $(PIP) --no-deps --no-build-isolation --editable .
	touch $@

# The locks: what the program needs, and that with what tests and checks need.
lock:
	$(PYTHON) -m venv $(VENV)-lock
	$(VENV)-lock/bin/python $(PIP) --only-binary :all: uv==0.13.9
	$(VENV)-lock/bin/$(COMPILE) --extra dev --output-file requirements-dev-lock.txt
	$(VENV)-lock/bin/$(COMPILE) --constraint requirements-dev-lock.txt --output-file requirements-lock.txt

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
	rm -rf $(VENV) $(VENV)-lock build dist *.egg-info .pytest_cache .mypy_cache .ruff_cache
