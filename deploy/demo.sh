#!/usr/bin/env bash
# Install mowalert and play a season of an invented town: no network after the install, no settings.
#
#   bash deploy/demo.sh [FOLDER]    messages and the store go to FOLDER, by default var/demo
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

bash deploy/bootstrap.sh crews
"${MOWALERT_VENV:-.venv}/bin/mowalert" demo --folder "${1:-var/demo}"
