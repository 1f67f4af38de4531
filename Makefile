# Needs make, git and python3-venv. Everything else lands in .venv, or is named by debian-packages.
SHELL := /bin/bash
PYTHON ?= python3
BIN := .venv/bin
PIP := $(BIN)/pip install -qq --disable-pip-version-check
LOCKED := $(PIP) --require-hashes --only-binary :all:
EXAMPLE := examples/narrow-fiddle/instrument.toml

.PHONY: demo test lint format benchmarks docs docs-pictures usual-numbers lock clean debian-packages

demo: .venv/run.stamp
	@$(BIN)/graduale decide $(EXAMPLE) --out out/demo
	@echo "Results: out/demo. For an instrument of your own:"
	@echo "  $(BIN)/graduale new violin --out my.toml && $(BIN)/graduale decide my.toml --out out/my"

test: lint debian-packages
	@$(BIN)/pytest -n 2

lint: .venv/test.stamp
	@$(BIN)/ruff check
	@$(BIN)/ruff format --check -q
	@$(BIN)/mypy
	@$(BIN)/lint-imports --no-logo

format: .venv/test.stamp
	@$(BIN)/ruff check --fix -q
	@$(BIN)/ruff format -q

benchmarks: .venv/test.stamp
	@$(BIN)/pytest benchmarks -o addopts="-q --import-mode=importlib" -o python_files="bench_*.py" -o python_functions="bench_*"

docs: .venv/test.stamp debian-packages
	@$(BIN)/pytest tests/outside --verification docs/verification.md

docs-pictures: .venv/run.stamp debian-packages
	@$(BIN)/python benchmarks/docs_pictures.py

usual-numbers: .venv/run.stamp
	@$(BIN)/python benchmarks/usual_numbers.py

# The two locks: hashes, no addresses. The run-time one holds the same versions as the other.
lock: .venv-lock/stamp
	@.venv-lock/bin/uv pip compile pyproject.toml --extra build --extra test $(COMPILE) -o lock/test.txt
	@.venv-lock/bin/uv pip compile pyproject.toml --extra build -c lock/test.txt $(COMPILE) -o lock/run.txt
COMPILE := --universal --python-version 3.11 --generate-hashes --no-config -q \
	--no-emit-index-url --no-emit-find-links --no-header --no-annotate

.venv-lock/stamp:
	@$(PYTHON) -m venv .venv-lock && .venv-lock/bin/pip install -qq uv && touch $@

.venv/bin/pip:
	@$(PYTHON) -m venv .venv

.venv/run.stamp: lock/run.txt pyproject.toml | .venv/bin/pip
	@test -f .venv/test.stamp -a .venv/test.stamp -nt lock/run.txt || $(LOCKED) -r lock/run.txt
	@$(PIP) --no-deps --no-build-isolation -e .
	@touch $@

.venv/test.stamp: lock/test.txt pyproject.toml | .venv/bin/pip
	@$(LOCKED) -r lock/test.txt
	@$(PIP) --no-deps --no-build-isolation -e .
	@touch $@ .venv/run.stamp

debian-packages:
	@.ci/debian-packages

clean:
	@rm -rf .venv .venv-lock out/demo build dist .mypy_cache .ruff_cache .hypothesis .import_linter_cache
