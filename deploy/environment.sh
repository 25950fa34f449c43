# Sourced by deploy/demo and deploy/check from the checkout's folder: looks for what the machine must
# have, and makes the private virtual environment .venv in which everything runs.
# shellcheck shell=bash

say() { printf '%s\n' "$*" >&2; }

_is_usable() { "$1" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info < (3, 14))' 2>/dev/null; }

# Look for Python, venv and git; end with the one line that mends what is missing.
require_machine() {
    local candidate bits missing=()
    python=""
    for candidate in "${PYTHON:-python3}" python3.13 python3.12 python3.11; do
        if command -v "$candidate" >/dev/null && _is_usable "$candidate"; then
            python=$candidate
            break
        fi
    done
    bits=$(getconf LONG_BIT)
    if [[ -n $python ]]; then
        # A 64-bit kernel may carry a 32-bit system: Python knows what it is itself.
        bits=$("$python" -c 'import struct; print(struct.calcsize("P") * 8)')
    fi
    if [[ $bits != 64 ]]; then
        say "This is a $bits-bit system, which Brinebell does not support."
        say "Install the 64-bit edition of Raspberry Pi OS or Debian (12 or newer) and run $0 again."
        exit 1
    fi
    if [[ -z $python ]]; then
        if command -v python3 >/dev/null; then
            say "Brinebell needs Python 3.11, 3.12 or 3.13; here is $(python3 --version 2>&1)."
            say "Debian 12 and 13 and Raspberry Pi OS of the same age bring one; set PYTHON to use another."
        fi
        missing+=(python3)
    fi
    if [[ -z $python ]] || ! "$python" -c 'import venv, ensurepip' 2>/dev/null; then
        missing+=(python3-venv)
    fi
    command -v git >/dev/null || missing+=(git)
    if ((${#missing[@]})); then
        say "Missing: ${missing[*]}. This line mends it:"
        say ""
        say "    sudo apt update && sudo apt install ${missing[*]}"
        say ""
        exit 1
    fi
}

# Make .venv and install the project with the extras named, at the tested versions. What is installed
# stays: only other extras, or a changed pyproject.toml or constraints file, install anew.
install_project() {
    local extras=$1 stamp=.venv/installed-for-$1 wanted
    if ! { [[ -x .venv/bin/python ]] && _is_usable .venv/bin/python; }; then
        say "Making a virtual environment in .venv ..."
        "$python" -m venv --clear .venv
    fi
    wanted=$(.venv/bin/python --version; sha256sum pyproject.toml deploy/constraints.txt; pwd)
    if [[ ! -x .venv/bin/brinebell || ! -f $stamp || $(<"$stamp") != "$wanted" ]]; then
        say "Installing Brinebell into .venv: about a minute, several on a Raspberry Pi ..."
        rm -f "$stamp"
        .venv/bin/python -m pip install --disable-pip-version-check --prefer-binary --no-compile \
            --constraint deploy/constraints.txt --editable ".[$extras]"
        # On all cores, where pip takes one. Some packages bring files that are for other Pythons.
        .venv/bin/python -m compileall -q -j 0 .venv/lib >/dev/null || true
        printf '%s\n' "$wanted" >"$stamp"
    fi
}
