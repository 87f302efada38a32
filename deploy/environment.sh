# Shared by start.sh and test.sh: find a Python, make a virtual environment, install pinned packages into it.

find_python() {
    for candidate in ${PYTHON:-} python3.13 python3.12 python3.11 python3; do
        if command -v "$candidate" >/dev/null 2>&1 &&
            "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$candidate"
            return
        fi
    done
    echo "paneltide needs Python 3.11 or newer: install it (Debian: apt-get install python3 python3-venv; macOS: brew install python)" >&2
    exit 3
}

# prepare_environment FOLDER REQUIREMENT: installs only when the project's declarations have changed since.
prepare_environment() {
    python=$(find_python)
    if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
        if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
            apt-get update -qq && apt-get install -y -qq python3-venv
        else
            echo "this Python has no venv module: as root, run apt-get install python3-venv" >&2
            exit 3
        fi
    fi
    [ -x "$1/bin/python" ] || "$python" -m venv "$1"
    wanted=$(cat pyproject.toml deploy/constraints.txt | cksum)$2
    if [ ! -f "$1/installed" ] || [ "$(cat "$1/installed")" != "$wanted" ]; then
        echo "Installing packages into $1 …"
        "$1/bin/python" -m pip install --quiet --disable-pip-version-check -c deploy/constraints.txt -e "$2"
        printf '%s' "$wanted" >"$1/installed"
    fi
}
