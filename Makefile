# Two commands do all set-up: `make demo` and `make test`.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO := fixtures/demo/evidence.json

.PHONY: demo test lint readme bench benchmarks schemas clean

$(VENV)/ready: pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "radiocheck needs Python 3.11 or newer; set PYTHON=python3.12, say" >&2; exit 2; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --editable '.[dev]'
	@touch $@

demo: $(VENV)/ready ## judge shipped evidence with a break in it, then check this machine
	@echo; echo '$$ radiocheck judge $(DEMO)'; echo
	@$(BIN)/radiocheck judge $(DEMO); status=$$?; \
	  echo; echo "exit status $$status (3: broken)"; test $$status -eq 3
	@echo; echo '$$ radiocheck check'; echo
	@$(BIN)/radiocheck check; status=$$?; \
	  echo; echo "exit status $$status (0 sound, 1 weak, 3 broken, 4 not enough evidence)"; test $$status -ne 2

test: $(VENV)/ready ## the tests that need no virtual machine
	$(BIN)/python -m pytest -n auto --dist loadfile

lint: $(VENV)/ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

readme: $(VENV)/ready ## put the demo's real output into README.md
	$(BIN)/python tests/readme_output.py

schemas: $(VENV)/ready ## regenerate schemas/ from the records
	$(BIN)/python -m radiocheck.report.schema

benchmarks: $(VENV)/ready ## every speed claim, as a ratio
	$(BIN)/python -m benchmarks

bench: $(VENV)/ready ## the machine with real faults; ONLY=name plays one scenario, MINUTES=20 as many as begin in that time
	$(BIN)/python -m tests.bench $(if $(ONLY),--only $(ONLY)) $(if $(MINUTES),--minutes $(MINUTES))

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis build dist
