#!/bin/sh
# Builds what is missing, then starts a whole simulated rack with its live page. Words go on to `keysoak demo`.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/setup.sh"

set_up requirements.txt
exec "$venv/bin/keysoak" demo "$@"
