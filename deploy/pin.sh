#!/bin/sh
# Renews requirements.txt and requirements-test.txt from the dependencies in pyproject.toml: newest versions, with the
# hashes of all their files. Run it after a change there, then run test.sh and commit both lists.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/setup.sh"

need_python
new=$(mktemp -d)
trap 'rm -rf "$new"' EXIT
"$python" -m venv "$new/venv"
"$new/venv/bin/python" -m pip -q --disable-pip-version-check install pip-tools==7.6.2

cd "$root"
# a list must not tell where this machine took its packages from: no options of pip are written into it; setuptools is
# needed to install the checkout itself, and pip-tools calls it unsafe
pin() {
    list=$1
    shift
    say "pinning deploy/$list"
    # an old list would hold old versions
    rm -f "deploy/$list"
    "$new/venv/bin/pip-compile" --quiet --generate-hashes --allow-unsafe --strip-extras --no-header \
        --no-emit-options --build-deps-for editable --output-file "deploy/$list" "$@" pyproject.toml
}

pin requirements.txt
# the tests run with what is shipped
pin requirements-test.txt --extra test --constraint deploy/requirements.txt
