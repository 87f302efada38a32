#!/bin/sh
# Sets up a virtual environment beside the project and starts the sample shop.
# Needs no root, except on a Debian whose python3 comes without venv (see deploy/environment.sh).
set -eu
cd "$(dirname "$0")/.."
. deploy/environment.sh
prepare_environment .venv "."
exec .venv/bin/paneltide "${@:-demo}"
