#!/bin/sh
# Makes the screenshots that the README shows, anew, from a demo that has run until two radios have tripped: about seven
# minutes. They go to deploy/shots, or to the folder that is named.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/setup.sh"

if ! command -v chromium >/dev/null; then
    need_debian "The screenshots are taken in Chromium." chromium
fi
set_up requirements.txt requirements-test.txt
exec "$venv/bin/python" "$root/deploy/shots.py" "${1:-$root/deploy/shots}"
