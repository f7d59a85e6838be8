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
if [ $# -eq 0 ]; then
    # two at a time, a file's tests on one of them: many wait for a browser, a link or a node most of their time
    set -- --numprocesses 2 --dist loadfile
fi
step "behaviour (pytest)" "$venv/bin/python" -m pytest "$@"
