# `make demo` shows the main job on an invented fleet; `make test` passes the tests. Both need only Python 3.11 and make.
.DEFAULT_GOAL := help
PYTHON ?= python3.11
UV_VERSION := 0.13.9
BIN := .venv/bin
SHELL := /bin/sh
export UV_NO_CONFIG := 1

.PHONY: help demo test check lock words bench serve clean

help: ## list the targets
	@grep -E '^[a-z]+:.*##' Makefile | sed 's/:.*##/\t/' | expand -t 10

$(BIN)/uv:
	$(PYTHON) -m venv .venv
	$(BIN)/pip install --quiet --disable-pip-version-check uv==$(UV_VERSION)

# The stamp of the test set is newer than both locks only where everything is installed; it serves the demo too.
.venv/run.stamp: requirements.txt $(BIN)/uv
	test .venv/test.stamp -nt requirements-dev.txt -a .venv/test.stamp -nt requirements.txt || \
	  $(BIN)/uv pip sync --quiet --require-hashes --python $(BIN)/python requirements.txt
	touch $@

.venv/test.stamp: requirements.txt requirements-dev.txt $(BIN)/uv
	$(BIN)/uv pip sync --quiet --require-hashes --python $(BIN)/python requirements-dev.txt
	touch $@ .venv/run.stamp

demo: .venv/run.stamp ## load the invented fleets, print a condition and a backlog, serve site and API
	$(BIN)/python manage.py demo

serve: .venv/run.stamp ## web, worker and scheduler on port 8000
	$(BIN)/python manage.py serve --port 8000

test: .venv/test.stamp ## the tests, embedded: SQLite, nothing running
	$(BIN)/python -m pytest -n 2 --dist worksteal -m "not slow" $(ARGS)

check: .venv/test.stamp ## format, lint, types, import contracts, migrations, schema
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy fleetcare inspections scheduling
	$(BIN)/lint-imports
	$(BIN)/python manage.py makemigrations --check --dry-run
	$(BIN)/python manage.py spectacular --validate --fail-on-warn --file /dev/null

schema: .venv/test.stamp ## write the OpenAPI description that is committed
	$(BIN)/python manage.py spectacular --validate --fail-on-warn --file openapi.yaml

bench: .venv/test.stamp ## measure; figures as JSON and a table
	$(BIN)/python -m tests.benchmarks

# Without registry addresses, so that the lock says nothing about where it was made.
LOCK := $(BIN)/uv pip compile --universal --quiet --generate-hashes --no-emit-index-url --no-header pyproject.toml
words: .venv/test.stamp ## gather what is to be translated, compile the catalogues; says what is left to do
	$(BIN)/python -m tests.repo.wording

lock: $(BIN)/uv ## compile the locks from pyproject.toml
	$(LOCK) --output-file requirements.txt
	$(LOCK) --group dev --constraint requirements.txt --output-file requirements-dev.txt

clean: ## remove the virtual environment and the embedded database
	rm -rf .venv var
