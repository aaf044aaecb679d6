# make demo   sets everything up and runs the demo
# make test   sets everything up, checks the style, types and import contract, and runs the tests
# make check  the checks alone        make benchmark  the benchmarks
# make coverage        which lines and branches all tests run, as a table and as pages in build/coverage
# make docs   builds the documentation as a site into build/site: strict links, nothing loaded from elsewhere
# make schemas         writes the JSON Schemas of what is printed, and the tables of docs/json.md, from the types of the code
# make wheel  builds the wheel into dist/
# make hardware        writes the hardware notes' pages, drawings, lists, KiCad project, case from hardware_notes/builds.py
# make hardware-check  compares them, byte for byte, and runs KiCad's rules where kicad-cli is installed

PYTHON ?= python3
VENV   ?= .venv
BIN    := $(VENV)/bin
JOBS   ?= auto

.PHONY: demo test check tests docs schemas benchmark wheel format clean hardware hardware-check tests-all coverage

demo: $(VENV)/.installed
	$(BIN)/firstcrank demo

test: check tests

check: $(VENV)/.installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python -m tests.firmware.check_types
	$(BIN)/lint-imports

tests: $(VENV)/.installed-dev
	$(BIN)/python -m pytest -n $(JOBS) --dist worksteal -m "not slow"

tests-all: $(VENV)/.installed-dev
	$(BIN)/python -m pytest -n $(JOBS) --dist worksteal

coverage: $(VENV)/.installed-dev
	$(BIN)/python -m pytest -n $(JOBS) --dist worksteal --cov --cov-report=term --cov-report=html -q tests

benchmark: $(VENV)/.installed-dev
	$(BIN)/python -m tests.host.benchmarks_host

docs: $(VENV)/.installed-dev
	$(BIN)/python docs/site/reference.py
	$(BIN)/python -m sphinx -q -W --keep-going -b html -c docs/site . build/site

schemas: $(VENV)/.installed-dev
	$(BIN)/python docs/json_schemas.py

wheel: $(VENV)/.installed-dev
	$(BIN)/python -m pip wheel --no-deps --wheel-dir dist .

hardware: $(VENV)/.installed-dev
	$(BIN)/python -m hardware_notes.make

hardware-check: $(VENV)/.installed-dev
	$(BIN)/python -m hardware_notes.make --check

format: $(VENV)/.installed-dev
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

clean:
	rm -rf $(VENV) dist build .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "firstcrank needs Python 3.11 or newer: make PYTHON=python3.12 $(MAKECMDGOALS)"; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/.installed: $(VENV)/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[all]'
	touch $@

$(VENV)/.installed-dev: $(VENV)/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[all,dev,hardware]'
	touch $@ $(VENV)/.installed
