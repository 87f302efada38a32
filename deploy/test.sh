#!/bin/sh
# Sets up a virtual environment and passes the checks and tests: sh deploy/test.sh [fast] [words for pytest …]
# "fast" leaves out the tests that need a broker, a browser or PostgreSQL, and those marked slow.
# As root on Debian it installs what the tests drive (mosquitto, Chromium, PostgreSQL, poppler). Without root it says what is
# missing and the tests that need it are skipped; with PANELTIDE_NO_SKIPS=1 a skipped test is a failure.
set -eu
cd "$(dirname "$0")/.."
. deploy/environment.sh

missing=""
command -v mosquitto >/dev/null 2>&1 || [ -x /usr/sbin/mosquitto ] || missing="$missing mosquitto"
command -v chromium >/dev/null 2>&1 || command -v google-chrome >/dev/null 2>&1 || [ -d "/Applications/Google Chrome.app" ] || missing="$missing chromium"
command -v chromedriver >/dev/null 2>&1 || missing="$missing chromium-driver"
ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || command -v initdb >/dev/null 2>&1 || missing="$missing postgresql"
command -v pdftoppm >/dev/null 2>&1 || missing="$missing poppler-utils"
command -v openssl >/dev/null 2>&1 || missing="$missing openssl"
if [ -n "$missing" ]; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        echo "Installing$missing …"
        apt-get update -qq
        # shellcheck disable=SC2086
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
    else
        echo "Not installed:$missing. Tests that need them are skipped; as root on Debian this script installs them" >&2
        echo "(macOS: brew install mosquitto postgresql poppler chromedriver, and Google Chrome)." >&2
    fi
fi

prepare_environment .venv ".[dev]"
bin=.venv/bin
# The tests start many processes. Python's files and the solver are compiled once, by one test after all were
# collected, and not again by each process.
unset PYTHONDONTWRITEBYTECODE
"$bin/python" -m pytest -q -k test_the_outlook_document_goes_month_by_month >/dev/null 2>&1 &
compiled=$!
"$bin/ruff" check .
"$bin/ruff" format --check .
"$bin/lint-imports"
wait "$compiled" || true
cores=$(getconf _NPROCESSORS_ONLN)
# Two more at a time than there are cores, as many tests wait for a broker or a browser; the fast ones don't.
workers=$((cores + 2))
if [ "${1:-}" = fast ]; then
    shift
    workers=$cores
    set -- -m "not (broker or browser or postgres or slow)" "$@"
fi
# Types are checked while the tests run.
"$bin/mypy" >.venv/types.txt 2>&1 &
types=$!
# A file's tests run in one process: they share its servers and books.
passed=0
"$bin/python" -m pytest -n "$workers" --dist loadfile --no-loadscope-reorder "$@" || passed=$?
wait "$types" || passed=1
cat .venv/types.txt
exit "$passed"
