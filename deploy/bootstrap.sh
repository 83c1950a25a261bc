#!/usr/bin/env bash
# Put a virtual environment with mowalert into .venv, or into $MOWALERT_VENV.
#
#   bash deploy/bootstrap.sh                    the program itself
#   bash deploy/bootstrap.sh service,plots,web  with these extras
#
# Versions are the ones in deploy/constraints.txt. A second run with nothing changed installs nothing.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

extras="${1:-}"
venv="${MOWALERT_VENV:-.venv}"

python=""
for candidate in python3.13 python3.12 python3.11 python3; do
    if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
        python="$candidate"
        break
    fi
done
if [ -z "$python" ]; then
    echo "mowalert needs Python 3.11 or newer; none was found on this machine." >&2
    exit 1
fi

[ -x "$venv/bin/python" ] || "$python" -m venv "$venv"

stamp="$venv/.installed"
wanted="$(cat pyproject.toml deploy/constraints.txt | cksum) [$extras]"
if [ "$(cat "$stamp" 2>/dev/null)" != "$wanted" ]; then
    echo "Installing mowalert${extras:+ with $extras} into $venv …"
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check \
        --constraint deploy/constraints.txt --editable ".${extras:+[$extras]}"
    echo "$wanted" > "$stamp"
fi
