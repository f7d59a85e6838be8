#!/bin/sh
# Installs what tests need, then runs every check; ends at the first that fails. Words go on to pytest:
#     sh deploy/test.sh tests/alerts -k keying
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/setup.sh"

# Debian keeps daemons in sbin, off an ordinary user's PATH
here() {
    PATH="$PATH:/usr/local/sbin:/usr/sbin" command -v "$1" >/dev/null
}

missing=
here mosquitto || missing="$missing mosquitto"
here chromium || missing="$missing chromium"
# playwright drives Chromium by a Node.js of its own, which needs this library
PATH="$PATH:/usr/sbin" ldconfig -p | grep -q 'libatomic\.so\.1' || missing="$missing libatomic1"
if [ -n "$missing" ]; then
    # shellcheck disable=SC2086 # one word a package
    need_debian "The tests need a real broker and a real browser." $missing
fi
set_up requirements.txt requirements-test.txt

step() {
    name=$1
    shift
    say "checking: $name"
    "$@" || stop "failed: $name"
}

cd "$root"
step "format (ruff format)" "$venv/bin/ruff" format --check .
step "lint (ruff check)" "$venv/bin/ruff" check .
step "types (mypy, strict)" "$venv/bin/mypy"
step "who imports whom (import-linter)" "$venv/bin/lint-imports"
# without -q, so that the seed of the random order is said: `-p randomly -p "randomly_seed=N"` repeats it
if [ $# -gt 0 ]; then
    step "behaviour (pytest)" "$venv/bin/python" -m pytest "$@"
    exit
fi

# two at a time, about as long each: what waits for a browser, or reckons, beside what runs daemons, links and nodes
said=$(mktemp)
"$venv/bin/python" -m pytest -p no:cacheprovider tests/dashboard tests/alerts tests/standards >"$said" 2>&1 &
beside=$!
# what is no longer there to be killed is no failure
trap 'kill "$beside" 2>/dev/null || :; rm -f "$said"' EXIT
step "behaviour (pytest): daemon, links, journeys" "$venv/bin/python" -m pytest \
    --ignore=tests/dashboard --ignore=tests/alerts --ignore=tests/standards
say "checking: behaviour (pytest): page, rules, standards"
failed=0
wait "$beside" || failed=$?
cat "$said"
[ "$failed" -eq 0 ] || stop "failed: behaviour (pytest): page, rules, standards"
