# Two commands on a fresh machine with python3 (3.11 to 3.14), pip and make:
#   make demo   assesses the example survey and writes its report
#   make test   runs the checks, in less than a quarter of an hour on two cores
# `make test-long` runs those that take long: crash loops, coverage by simulation, determinism, and
# `make test-all` both at once. Each sets everything up first. README.md gives the steps without make.

PYTHON ?= python3
BIN := .venv/bin
# Compiling every module beforehand takes longer than the rest of the install, and most are never used.
PIP_INSTALL := -m pip install --quiet --disable-pip-version-check --no-compile
# Each module is compiled when it is first read, and kept: else every process would do it again.
unexport PYTHONDONTWRITEBYTECODE
# No wheel of today's numba suits a Mac with an Intel processor: there pip takes the newest that does.
PINS := $(if $(filter Darwin-x86_64,$(shell uname -sm | tr ' ' -)),,-c constraints.txt)
FITS = $(shell $(PYTHON) -c 'import sys; print((3, 11) <= sys.version_info < (3, 15) and "yes" or "")' 2>/dev/null)

.DEFAULT_GOAL := help
.PHONY: help setup demo test test-long test-all lab tidy pictures constraints
# Parts of them, which they have run side by side.
.PHONY: types usual-tests notebook-tests all-tests

help:  ## show this list
	@sed -n 's/^\([a-z-]*\):.*  ## \(.*\)/make \1 | \2/p' Makefile | awk -F' [|] ' '{printf "%-18s %s\n", $$1, $$2}'

setup: .venv/ready  ## make .venv and install all a developer needs

# Debian parts venv from pip; without it pip is put in from outside.
.venv/made:
	$(if $(FITS),,$(error heritagecheck needs Python 3.11, 3.12, 3.13 or 3.14, and "$(PYTHON)" is none of them: name one that is, as in "make demo PYTHON=python3.12"))
	@if $(PYTHON) -c 'import ensurepip' 2>/dev/null; then $(PYTHON) -m venv .venv; else \
	  $(PYTHON) -m venv --clear --without-pip .venv && $(PYTHON) -m pip --python $(BIN)/python install --quiet pip; fi
	@touch $@

# Three sizes of install, each with all of the smaller; made again whenever the lists change.
.venv/demo: .venv/made pyproject.toml constraints.txt
	$(BIN)/python $(PIP_INSTALL) $(PINS) -e .
	@touch $@

.venv/lab: .venv/made pyproject.toml constraints.txt
	$(BIN)/python $(PIP_INSTALL) $(PINS) -e ".[lab]"
	@touch .venv/demo $@

.venv/ready: .venv/made pyproject.toml constraints.txt
	$(BIN)/python $(PIP_INSTALL) $(PINS) -e ".[dev]"
	@touch .venv/demo .venv/lab $@

demo: .venv/demo  ## keep the example survey in a database, assess it and write its report
	$(BIN)/heritagecheck import data/quillmere build/quillmere/survey.db --replace
	$(BIN)/heritagecheck report build/quillmere/survey.db --to build/quillmere

# The same surroundings on every machine, so that dates, sorting and figures come out alike.
CHECKS := test test-long test-all types usual-tests notebook-tests all-tests
$(CHECKS): export TZ := UTC
$(CHECKS): export LC_ALL := C.UTF-8
$(CHECKS): export PYTHONHASHSEED := 0
# Types, tests and notebooks run side by side: each begins slowly, waits for disks and pages, and ends
# with one long piece, so that one after the other they would leave a core idle.
TOGETHER := $(MAKE) --no-print-directory --jobs
test: setup  ## formatting, lint, types, all tests but the long ones, every notebook
	$(BIN)/ruff format --check
	$(BIN)/ruff check
	$(TOGETHER) types usual-tests notebook-tests

# Whatever `make test` leaves out, and the properties once more with all their examples.
test-long: .venv/compiled  ## the long tests: crash loops, coverage by simulation, determinism
	$(BIN)/pytest -n 2 --dist worksteal -m "long or hypothesis" --hypothesis-profile=long

test-all: setup  ## what both of them check, in one go: no test and no notebook is run twice
	$(BIN)/ruff format --check
	$(BIN)/ruff check
	$(TOGETHER) types all-tests notebook-tests

types: setup
	$(BIN)/mypy

# Three workers that begin at once would each compile every module and rewrite every test (24 CPU
# seconds); one goes ahead while mypy looks at the types, and leaves 9 for each of them.
.venv/compiled: .venv/ready
	@$(BIN)/pytest --collect-only -qq > $@ || { cat $@; rm $@; exit 1; }

# Each worker takes neighbouring tests, which share what is computed once, and who is done first takes
# over half of what the other has left.
usual-tests: .venv/compiled
	$(BIN)/pytest -n 2 --dist worksteal

notebook-tests: .venv/compiled
	$(BIN)/pytest --nbval-lax --nbval-current-env --nbval-cell-timeout=120 notebooks

# Each property is tried once, with all its examples; of a test in two sizes the full one, which holds
# the small one. Three workers keep two cores busy: one of them mostly
# waits for a page, a disk, a database or the package index.
all-tests: .venv/compiled
	$(BIN)/pytest -n 3 --dist worksteal -m "not small" --hypothesis-profile=long

# The settings of heritagecheck/screens/jupyter turn off the news and the list of extensions, which would
# ask the network, and let the survey's own pages open beside the notebooks, as `heritagecheck lab` does.
SETTINGS := $(CURDIR)/heritagecheck/screens/jupyter
lab: .venv/lab  ## open the notebooks in JupyterLab, offline
	JUPYTER_CONFIG_PATH="$(SETTINGS)/config" JUPYTER_PATH="$(SETTINGS)$${JUPYTER_PATH:+:$$JUPYTER_PATH}" $(BIN)/jupyter lab notebooks

tidy: setup  ## format the code and empty the notebooks
	$(BIN)/ruff check --fix-only
	$(BIN)/ruff format
	$(BIN)/python tools/tidy_notebooks.py notebooks

# Needs Chromium and poppler-utils. Look at the pictures before you keep them: no test does.
pictures: setup  ## take the pictures of the README and the guide from the running program
	$(BIN)/python tools/take_pictures.py docs/pictures

# From an environment made without the old list, so nothing merely left over in .venv is recorded. Use the
# oldest Python there is (Debian's 3.11.2 at the time): what suits it suits the newer ones, not the reverse.
constraints:  ## record today's versions in constraints.txt
	rm -rf build/fresh
	$(PYTHON) -m venv build/fresh
	build/fresh/bin/python $(PIP_INSTALL) -e ".[dev]"
	build/fresh/bin/python -m pip freeze --exclude-editable > build/fresh/frozen.txt
	grep -v ' @ ' build/fresh/frozen.txt | LC_ALL=C sort -f > constraints.txt
