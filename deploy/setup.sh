# Sourced by try.sh, test.sh and pin.sh; the sourcing script sets $root, the checkout.
# A bench machine may be old, shared and without a compiler: only wheels are installed, by hash, into $root/.venv.
# shellcheck shell=sh disable=SC2154

venv="$root/.venv"
stamps="$venv/keysoak-stamps"
unfinished="$venv/keysoak-unfinished"

say() {
    printf 'keysoak: %s\n' "$*"
}

stop() {
    say "$*" >&2
    exit 1
}

# as_root COMMAND...: run it as root; false where this user can't without being asked for a password
as_root() {
    if [ "$(id -u)" -eq 0 ]; then
        "$@"
    elif sudo -n true 2>/dev/null; then
        sudo -n "$@"
    else
        return 1
    fi
}

# need_debian WHY PACKAGE...: bring the packages, or say the one line to type and stop
need_debian() {
    why=$1
    shift
    if ! command -v apt-get >/dev/null; then
        stop "$why Install what Debian calls $* by your system's own means, and start this again."
    fi
    if ! as_root true; then
        line="apt-get install -y --no-install-recommends $*"
        if command -v sudo >/dev/null; then
            line="sudo $line"
        else
            line="su -c '$line'"
        fi
        stop "$why Type this line, and start this again:
    $line"
    fi
    say "$why Installing by apt: $*"
    {
        as_root env DEBIAN_FRONTEND=noninteractive apt-get update -qq &&
            as_root env DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends "$@"
    } >/dev/null || stop "apt could not install $*: see its words above"
}

# new_enough PYTHON: it runs, and it is 3.11 or later
new_enough() {
    "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null
}

# find_python: print a Python that can build a venv with pip in it; false where none can
find_python() {
    for python in python3 python3.11 python3.12 python3.13 python3.14 /usr/bin/python3; do
        # Debian splits ensurepip off into python3-venv
        if new_enough "$python" && "$python" -c 'import ensurepip, venv' 2>/dev/null; then
            echo "$python"
            return
        fi
    done
    return 1
}

need_python() {
    python=$(find_python) && return
    need_debian "Python 3.11 or later with its venv module is not here." python3-venv
    python=$(find_python) && return
    stop "no Python 3.11 or later that can build a venv was found; this system's is $(python3 -V 2>&1)"
}

hash_of() {
    sha256sum | cut -d ' ' -f 1
}

# a moved checkout or another Python under it makes a venv useless: its scripts hold absolute paths
venv_hash() {
    { echo "$root"; "$venv/bin/python" -V 2>&1; } | hash_of
}

stamped() {
    grep -qsx "$1 $2" "$stamps"
}

stamp() {
    echo "$1 $2" >>"$stamps"
}

pip_install() {
    quiet=-q
    [ -t 1 ] && quiet=
    # --no-compile: most of what is installed is never imported, and to compile it took half the time (measured)
    # shellcheck disable=SC2086 # an empty $quiet is no word
    "$venv/bin/python" -m pip --disable-pip-version-check --no-input install --no-compile $quiet "$@"
}

# set_up LIST...: .venv with the pinned lists of this folder and the checkout itself, editable. What is stamped as
# done is left alone; what was interrupted is built anew, since pip can't tell half a package from a whole one.
set_up() {
    if [ -e "$unfinished" ] || ! stamped venv "$(venv_hash)"; then
        need_python
        say "building .venv with $("$python" -V)"
        rm -f "$stamps"
        "$python" -m venv --clear "$venv"
        stamp venv "$(venv_hash)"
    fi
    for list in "$@"; do
        hash=$(hash_of <"$root/deploy/$list")
        if ! stamped "$list" "$hash"; then
            say "installing the pinned packages of deploy/$list (a minute or two, once)"
            : >"$unfinished"
            pip_install --require-hashes --only-binary :all: -r "$root/deploy/$list" ||
                stop "the packages of deploy/$list could not be installed: see pip's words above"
            stamp "$list" "$hash"
            rm "$unfinished"
        fi
    done
    hash=$(hash_of <"$root/pyproject.toml")
    if ! stamped project "$hash"; then
        : >"$unfinished"
        pip_install --no-deps --no-build-isolation --editable "$root" ||
            stop "the checkout itself could not be installed: see pip's words above"
        stamp project "$hash"
        rm "$unfinished"
    fi
}
