#!/bin/sh
# Everything that CI checks, with the tools of the environment on the path.
set -eu
cd "$(dirname "$0")/.."
ruff format --check .
ruff check .
mypy
coverage erase
coverage run -m pytest -q
coverage report
built=$(mktemp -d)
trap 'rm -rf "$built"' EXIT
sphinx-build -q -W -E docs "$built/docs"
python -m pip wheel -q --no-deps -w "$built" .
python tests/check_wheel.py "$built"/dccwire-*.whl
