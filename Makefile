# make demo   the whole job on an invented song
# make test   everything the tests need, then all checks and tests
# make bench-listen   how well guides are listened to: one table (half an hour)
# make bench-takes    how well takes are placed, read, chosen and joined: one table (a quarter of an hour)
# make bench-record   how exact and how safe recording is, on a loopback without hardware
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test check bench bench-listen bench-takes bench-record clean

demo: $(VENV)/.runtime
	$(BIN)/obbligato demo

test: $(VENV)/.dev
	scripts/system-packages
	scripts/check

check: $(VENV)/.dev
	scripts/check

bench: $(VENV)/.dev
	for table in listen_tempo listen_ear rhythm spelling page ready packs; do echo "== $$table"; $(BIN)/python bench/$$table.py || exit 1; done

bench-listen: $(VENV)/.dev
	cd bench && ../$(BIN)/python -m listen --jobs 2

bench-takes: $(VENV)/.dev
	cd bench && ../$(BIN)/python -m takes --jobs 2

bench-record: $(VENV)/.dev
	cd bench && ../$(BIN)/python -m record

$(VENV)/bin/python:
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or later is needed; set PYTHON=")'
	$(PYTHON) -m venv $(VENV)

$(VENV)/.runtime: $(VENV)/bin/python pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	touch $@

$(VENV)/.dev: $(VENV)/bin/python pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev]'
	touch $@ $(VENV)/.runtime

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .import_linter_cache
