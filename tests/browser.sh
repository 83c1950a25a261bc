#!/usr/bin/env bash
# Bring what the tests of the pages need: Chromium with its driver, and axe-core, which looks for barriers.
#
# Debian's packages are installed where apt is at hand and we are root; axe-core comes from npm into the
# virtual environment. What cannot be had is left out: those tests then skip, or fail where
# MOWALERT_REQUIRE_BROWSER is set. A second run with nothing missing does nothing.
set -euo pipefail
export DEBIAN_FRONTEND=noninteractive
cd "$(dirname "${BASH_SOURCE[0]}")/.."

axe_version="4.14.1"
folder="${MOWALERT_VENV:-.venv}/share/axe-core"

if ! command -v chromium >/dev/null || ! command -v chromedriver >/dev/null; then
    if command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
        echo "Installing Chromium and its driver …"
        apt-get install -y -qq --no-install-recommends chromium chromium-driver >/dev/null 2>&1 \
            || { apt-get update -qq && apt-get install -y -qq --no-install-recommends chromium chromium-driver; } \
                >/dev/null 2>&1 \
            || echo "Chromium could not be installed." >&2
    fi
fi

if [ "$(cat "$folder/version" 2>/dev/null)" != "$axe_version" ] && command -v npm >/dev/null; then
    echo "Fetching axe-core $axe_version …"
    mkdir -p "$folder"
    if packed="$(npm pack --silent --pack-destination "$folder" "axe-core@$axe_version")"; then
        tar -xzf "$folder/$packed" -C "$folder" --strip-components 1 package/axe.min.js
        rm "$folder/$packed"
        echo "$axe_version" >"$folder/version"
    else
        echo "axe-core could not be fetched." >&2
    fi
fi
