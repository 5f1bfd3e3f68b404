# Each target does all of its own set-up; the stamps say which extras are installed.
# `make demo` needs only the package itself, `make test` everything.

SHELL := /bin/bash
VENV := .venv
BIN := $(VENV)/bin
RUN_STAMP := $(VENV)/.installed-run
DEV_STAMP := $(VENV)/.installed-dev
PYTEST_ARGS ?=
SURVEY_COUNTS ?= 100,1000,10000

.PHONY: help demo test lint docs bench accuracy real soak clean

help: ## show this list
	@sed -n 's/^\([a-z-]*\):[^#]*## /\1\t/p' $(MAKEFILE_LIST) | column -t -s "$$(printf '\t')"

$(RUN_STAMP): pyproject.toml scripts/set-up
	scripts/set-up $@

$(DEV_STAMP): pyproject.toml scripts/set-up
	scripts/set-up $@ dev,test,docs

demo: $(RUN_STAMP) ## run the finding on a packaged recording and write its report
	@mkdir -p out
	$(BIN)/bellmouth demo --report out/demo.html --overwrite

lint: $(DEV_STAMP) ## style, types and the order of the rooms
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy --strict
	$(BIN)/lint-imports

test: $(DEV_STAMP) lint ## everything: lint, tests, documentation
	$(BIN)/pytest -n 3 --dist worksteal $(PYTEST_ARGS)
	$(MAKE) docs

docs: $(DEV_STAMP) ## build the documentation into docs/_build; a warning is an error
	$(BIN)/sphinx-build -W --keep-going -q -b html docs docs/_build/html
	@echo "Open docs/_build/html/index.html"

bench: $(DEV_STAMP) ## speed and agreement, each row against its reference in the same run
	$(BIN)/python -m measure.bench
	$(BIN)/python -m measure.learning --speed
	$(BIN)/python -m measure.poll_rate
	$(BIN)/python -m measure.cue_times
	$(BIN)/python -m measure.page
	$(BIN)/python -m measure.survey_cost --counts $(SURVEY_COUNTS) --workers 1,2
	$(BIN)/python -m measure.performance_page

accuracy: $(DEV_STAMP) ## right and wrong on simulated cars, the real recordings beside them
	$(BIN)/python -m measure.accuracy
	$(BIN)/python -m measure.proof
	$(BIN)/python -m measure.forecast
	$(BIN)/python -m measure.learning
	$(BIN)/python -m measure.person

real: $(DEV_STAMP) ## the finding on every real recording in ../shared/data
	$(BIN)/python -m measure.real

soak: $(DEV_STAMP) ## the property tests for much longer, hours of capture, kills at random moments, a whole job in the browser
	HYPOTHESIS_PROFILE=soak $(BIN)/pytest -n 2 -m "not browser" $(PYTEST_ARGS)
	HYPOTHESIS_PROFILE=soak $(BIN)/pytest -s tests/pages/site/test_whole_job_browser.py
	$(BIN)/python -m measure.soak_capture
	$(BIN)/python -m measure.kill_capture --times 200
	$(BIN)/python -m measure.kill_book --moments 200
	$(BIN)/python -m measure.chain

clean: ## remove everything that was made, .venv included
	rm -rf $(VENV) build dist out docs/_build .pytest_cache .mypy_cache .ruff_cache .hypothesis \
	  .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
