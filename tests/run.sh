#!/usr/bin/env bash
# Install the test tools and run every check.
#
#   bash tests/run.sh              everything
#   bash tests/run.sh --fast       without the outside references and without the linters
#   bash tests/run.sh --hard       everything is broken in every way, and a table says what that cost
#   bash tests/run.sh -k digest    any further words go to pytest, which then runs alone
#
# Tests that need PostgreSQL, the reference data or a browser skip with a line where these are absent.
# MOWALERT_SHARED names the folder of reference data (default ../shared), MOWALERT_TEST_POSTGRES a server.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

fast="" hard=""
case "${1:-}" in
    --fast) fast=yes; shift ;;
    --hard) hard=yes; fast=yes; shift ;;
esac

extras="service,engine,grid,plots,web,crews,test"
[ -n "$fast" ] || extras="$extras,reference"
bash deploy/bootstrap.sh "$extras"
[ -n "$fast" ] || bash tests/browser.sh
bin="${MOWALERT_VENV:-.venv}/bin"

workers="${MOWALERT_TEST_WORKERS:-2}"
if [ -n "$hard" ]; then
    MOWALERT_HARD_TABLE="$(mktemp)"
    export MOWALERT_HARD=1 MOWALERT_HARD_TABLE
    outcome=0
    "$bin/python" -m pytest -n "$workers" --dist worksteal --durations 10 tests/hard "$@" || outcome=$?
    "$bin/python" tests/hard/table.py "$MOWALERT_HARD_TABLE"
    rm -f "$MOWALERT_HARD_TABLE"
    exit "$outcome"
fi
if [ "$#" -gt 0 ]; then
    exec "$bin/python" -m pytest "$@"
fi
if [ -z "$fast" ]; then
    "$bin/ruff" check .
    "$bin/ruff" format --check .
    "$bin/mypy"
    "$bin/lint-imports"
    "$bin/pydoclint" --quiet mowalert
fi
"$bin/python" -m pytest -n "$workers" --dist worksteal --ignore tests/reference
# The report of outside values is filled by one process.
[ -n "$fast" ] || "$bin/python" -m pytest tests/reference
