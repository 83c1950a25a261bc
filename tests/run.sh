#!/usr/bin/env bash
# Install the test tools and run every check.
#
#   bash tests/run.sh              everything
#   bash tests/run.sh --fast       without the outside references and without the linters
#   bash tests/run.sh -k digest    any further words go to pytest, which then runs alone
#
# Tests that need PostgreSQL, the reference data or a browser skip with a line where these are absent.
# MOWALERT_SHARED names the folder of reference data (default ../shared), MOWALERT_TEST_POSTGRES a server.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

fast=""
if [ "${1:-}" = "--fast" ]; then
    fast=yes
    shift
fi

extras="service,plots,web,crews,test"
[ -n "$fast" ] || extras="$extras,reference"
bash deploy/bootstrap.sh "$extras"
[ -n "$fast" ] || bash tests/browser.sh
bin="${MOWALERT_VENV:-.venv}/bin"

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
# Tests marked with a group share a long set-up, and so a process.
"$bin/python" -m pytest -n "${MOWALERT_TEST_WORKERS:-2}" --dist loadgroup --ignore tests/reference
# The report of outside values is filled by one process.
[ -n "$fast" ] || "$bin/python" -m pytest tests/reference
